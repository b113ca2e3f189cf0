"""A rig in use: orders, waiting, recording, and the way to safety.

While waiting, the adapter is shown that its user is alive; a user that is gone lets the adapter's dead-man take
everything off.
"""

import logging
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import pairwise

from benchtest.clock import Clock
from benchtest.errors import Aborted, PlanError, RigError
from benchtest.fixture.adapter import NO_DEAD_MAN
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import RECORDS, adapters_of, unread
from benchtest.instruments import BenchAdapter, Capture, Identified, Link, Message, Person, SupplyState, Ticking
from benchtest.interlocks import refused_by_the_bench, to_safe
from benchtest.procedure import Heartbeat, LinkPlan, Move, Procedure, Record, Say, Step
from benchtest.readings import Evidence, Origin, Recorded
from benchtest.results import SafeState
from benchtest.rig.guard import LOOK_EVERY, NOT_ASKED, Watch

LOG = logging.getLogger(__name__)
LATEST = 0.05
"""Seconds that an order on the link may be late; the plan's windows (`plan.timeline.Pace`) have room for it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Rig:
    """A handful of capabilities and a clock."""

    bench: BenchAdapter
    link: Link | None
    clock: Clock
    origin: Origin
    identities: Mapping[str, str]
    """Adapter → what it answered when asked who it is, and then where it was and what had matched."""
    fixture: Fixture
    harness: Harness
    beat_every: float
    """Seconds between signs of life while waiting."""
    due: Callable[[], float] = lambda: math.inf
    """When the host must tend to a running recording next, by the rig's clock; `bench.beat` tends to it."""
    sides: Mapping[str, Identified] = field(default_factory=dict)
    """Adapter → who answers there, for those that answer a question with an exchange on a wire."""
    ticking: Ticking | None = None
    """The adapter that records, where its clock can be read."""
    peer: Link | None = None
    """A second adapter on the board's link, which only the self-check uses."""
    person: Person | None = None
    """Who works the bench by hand, if anybody does."""
    recall: Callable[[Move], Evidence | None] | None = None
    """What a recorded run saw at a move; stands in for the bench."""
    stopped: Callable[[], str] = lambda: ""
    """Why the run shall stop; empty while it shall go on. A signal may come at any moment and is heeded at these."""

    watch: Watch = field(default_factory=Watch)
    """Where the watching of guards, current limits and step deadline stands."""
    used: tuple[str, ...] = field(init=False)
    """The adapters that serve this bench, the harness's own first."""

    def __post_init__(self) -> None:
        """Look up once what every step wants to know."""
        object.__setattr__(self, "used", adapters_of(self.fixture, self.harness))

    def heed(self) -> None:
        """Raise Aborted when somebody has said stop or a guard has tripped, RigError when the step takes too long."""
        if reason := self.stopped():
            raise Aborted(reason)
        now = self.clock.now()
        self.watch.check_deadline(now)
        if now >= self.watch.next_look:
            self.watch.next_look = now + min(self.beat_every, LOOK_EVERY)
            self.look()

    def look(self) -> None:
        """Look at the guards now, and at the supplies where that delays no host-polled recording."""
        self.watch.look_at_guards(self.bench, self.fixture.guards)
        if self.watch.asked_freely and math.isinf(self.due()):
            self.watch.look_at_supplies(self.bench)

    def begins(self, step: Step) -> None:
        """Note that a step begins; its time counts from here, and the guards are looked at before anything else."""
        self.watch.asked_freely = not any(self.fixture.adapters[name].driver in NOT_ASKED for name in self.used)
        self.watch.begins(step, self.clock.now())
        self.look()
        if self.link is not None:
            self.link.check()
            self._remarked(self.link)

    def wait_until(self, deadline: float) -> None:
        """Wait, keep the adapter's dead-man content, and heed a stop."""
        while (now := self.clock.now()) < deadline:
            self.heed()
            wanted = min(deadline, now + self.beat_every, max(now, self.due()))
            self.clock.sleep_until(wanted)
            self.watch.overslept = max(self.watch.overslept, self.clock.now() - wanted)
            self.bench.beat()
        self.heed()

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        """Set a supply, after a last look at the bench's hard limits and guards; `powered` ends its power-up.

        Raises PlanError when the limits forbid it, Aborted when a guard has tripped.
        """
        limits = self.fixture.limits
        reason = refused_by_the_bench(volts, amps, most_volts=limits.voltage, most_amps=limits.current)
        if reason:
            raise PlanError([f"supply channel {channel}: {reason}"])
        self.look()  # the last moment before power
        self.watch.spared.add(channel)
        self.watch.on[channel] = next((str(pair) for pair, c in self.harness.supply.items() if c == channel), "?")
        self.bench.source(channel, volts=volts, amps=amps)

    def powered(self, channel: int) -> SupplyState:
        """Return what a supply says of itself after its power-up; from now on it may not be in current limit."""
        state = self.bench.supply_state(channel)
        self.watch.spared.discard(channel)
        return state

    def record(self, move: Record, link: LinkPlan | None) -> Recorded:
        """Carry out a recording's orders, on the bench and on the link, and return what was seen."""
        if self.link is not None:
            self.link.messages()  # what came before belongs to no recording
        capture = Capture(orders=move.orders, duration=move.duration, rate=move.rate, channels=move.channels)
        with self.watch.sparing({order.channel for order in move.orders}):
            started = self.bench.begin(capture)
            self.watch.overslept = 0.0
            said, latest = [], self._latest()
            for order in move.link_orders:
                self.wait_until(started.at + order.at)
                said.append(self._say(order if isinstance(order, Say) else order.alive, link) - started.at)
                _in_time(order.at, self.clock.now() - started.at, most=latest)
            self.wait_until(started.at + move.duration)
            recording = self.bench.fetch()
        messages = self._messages(started.at)
        if link is not None and not any(isinstance(order, Heartbeat) for order in move.link_orders):
            _kept_alive(messages, link)
        return Recorded(
            recording=recording,
            messages=messages,
            said=tuple(said),
            start_uncertainty=started.uncertainty + self.watch.overslept + self._remarked(self.link),
        )

    def _remarked(self, link: Link | None) -> float:
        """Note what the link has to remark; return for how many seconds it was deaf."""
        remarks = link.remarks() if link is not None else ()
        self.watch.remarks += [remark.text for remark in remarks]
        return sum(remark.deaf for remark in remarks)

    def _latest(self) -> float:
        """Return how late an order on the link may be, in seconds; a bench that the host polls was planned for more."""
        if self.person is not None:
            return math.inf  # nothing is timed while a person works the bench
        used = (self.fixture.adapters[name] for name in self.used)
        return LATEST + max((adapter.stamp for adapter in used if adapter.driver not in RECORDS), default=0.0)

    def _say(self, order: Say | bool, plan: LinkPlan | None) -> float:
        """Send a message, or start or stop the heartbeat; return when it happened, by the rig's clock."""
        if self.link is None or plan is None:
            raise RigError("the procedure speaks on a link that this rig does not have (name it in the harness)")
        if isinstance(order, Say):
            return self.link.send(order.message, order.signals)
        if order:
            self.link.heartbeat(plan.heartbeat, every=plan.every)
        else:
            self.link.silence()
        return self.clock.now()

    def _messages(self, start: float) -> tuple[Message, ...]:
        """Return what was said on the link since then, in seconds from then."""
        said = self.link.messages() if self.link is not None else ()
        return tuple(
            [Message(at - start, name, signals, frame, sent) for at, name, signals, frame, sent in said if at >= start]
        )

    def make_safe(self, procedure: Procedure) -> SafeState:
        """Take everything off, loads first, and read back; raises nothing, since it runs on every way out."""
        self.watch.on.clear()
        try:
            if self.link is not None:
                self.link.silence()
        except RigError as problem:
            LOG.info("the link could not be silenced: %s", problem)
        refused = self._all_off(procedure)
        try:
            left = sorted(self.bench.energised())
        except RigError as silent:
            note = f"the adapter could not be asked: {refused or silent}; {self._by_itself()}"
            return SafeState(reached=False, verified=False, note=note)
        if self.recall is not None:
            return SafeState(reached=True, verified=True, note="nothing was on the bench: a recorded run was replayed")
        if left and self.person is not None:
            where = ", ".join(procedure.channels[channel].terminals for channel in left)
            return SafeState(reached=False, verified=False, note=f"nobody confirmed that everything is off: {where}")
        if self.person is not None:
            return SafeState(reached=True, verified=True, note="everything off, confirmed by the person at the bench")
        if left:
            return SafeState(reached=True, verified=False, note=f"still on: channels {', '.join(map(str, left))}")
        if blind := unread(self.fixture, self.harness):
            ordered = "everything ordered off" if refused is None else f"not everything could be ordered off: {refused}"
            note = f"{ordered}; what adapter {' and '.join(blind)} does cannot be read back"
            return SafeState(reached=refused is None, verified=False, note=note)
        return SafeState(reached=True, verified=True, note="everything off, read back from the adapter")

    def _by_itself(self) -> str:
        """Return what becomes of the outputs when nobody can reach them."""
        without = [name for name in self.used if self.fixture.adapters[name].dead_man == NO_DEAD_MAN]
        if not without:
            return "its dead-man takes everything off by itself"
        return f"adapter {' and '.join(without)} has no dead-man: cut the supply of the bench by hand"

    def _all_off(self, procedure: Procedure) -> RigError | None:
        """Order everything off, loads first, then all at once; a refusal of one keeps none of the others on."""
        first: RigError | None = None
        try:
            on = to_safe(self.bench.energised(), loads=procedure.loads, supplies=procedure.supplies)
        except RigError as problem:
            first, on = problem, ()
        acts: list[Callable[[], None]] = [partial(self.bench.off, channel) for channel in on]
        for act in (*acts, self.bench.all_off):
            try:
                act()
            except RigError as problem:
                first = first or problem
        return first


def _kept_alive(messages: Iterable[Message], plan: LinkPlan) -> None:
    """Raise RigError when our heartbeat was away for so long that a good board may have called the link lost."""
    beats = [message.at for message in messages if message.sent and message.name == plan.heartbeat]
    longest = max((later - earlier for earlier, later in pairwise(beats)), default=0.0)
    if 0 < plan.bears < longest:
        raise RigError(
            f"the heartbeat on the link was away for {longest:.3f} s, and a good board bears {plan.bears:g} s: nothing "
            "may be judged from this recording (close other programs on this computer)"
        )


def _in_time(planned: float, done: float, *, most: float) -> None:
    """Raise RigError when the host was too late with an order: what follows it was recorded at another moment."""
    if done - planned > most:
        late = done - planned
        raise RigError(
            f"the host was {late:.3f} s late with an order on the link, more than {most:g} s: nothing may be judged "
            "from this recording (close other programs on this computer; look at the adapter's line)"
        )
