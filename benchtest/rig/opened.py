"""The bench as opened: an adapter, perhaps a link, and the clock that belongs to them.

Acting is always inside `with open_rig(…)`: everything is ordered off on the way in and on every way out, loads first,
supplies last, and then read back. While waiting, the adapter is shown that its user is alive; a user that is gone lets
the adapter's dead-man take everything off.
"""

import logging
import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from benchtest.adapters.catalogue import find
from benchtest.adapters.composed import ComposedBench, Part
from benchtest.adapters.finding import Found
from benchtest.adapters.replay import Recalled
from benchtest.clock import Clock, RealClock, VirtualClock
from benchtest.errors import Aborted, PlanError, RigError
from benchtest.faults import Fault, Trip
from benchtest.fixture.adapter import NO_DEAD_MAN
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import RECORDS, adapters_of, channels_of, unread
from benchtest.instruments import VIRTUAL, Asker, BenchAdapter, Capture, Device, Link, Message, Person, SupplyState
from benchtest.interlocks import refused_by_the_bench, to_safe
from benchtest.procedure import LinkPlan, Move, Procedure, Record, Say, Step
from benchtest.profile.fitting import FittedProfile
from benchtest.readings import Evidence, Origin, Recorded
from benchtest.results import SafeState
from benchtest.rig.guard import LOOK_EVERY, NOT_ASKED, Watch
from benchtest.rig.limited import LimitedBench
from benchtest.rig.lock import locks
from benchtest.rig.places import places

LOG = logging.getLogger(__name__)
BEATS_PER_DEAD_MAN = 5  # an adapter may miss four beats to a stalled host before it takes everything off
LONGEST_WAIT = 0.2  # s until a stop is heeded, where no dead-man wants a sign of life sooner
LATEST = 0.05
"""Seconds that an order on the link may be late; the plan's windows (`plan.timeline.Pace`) have room for it."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Virtual:
    """What makes a simulated board this one and no other."""

    seed: int = 1
    faults: tuple[Fault, ...] = ()
    trips: tuple[Trip, ...] = ()
    """Guards of the simulated bench that trip during the run."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Company:
    """Who and what takes part beside the adapters."""

    asker: Asker | None = None
    """How a person is talked with, for driver `manual`."""
    recalled: Recalled | None = None
    """The recorded run, for driver `replay`."""


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
    person: Person | None = None
    """Who works the bench by hand, if anybody does."""
    recall: Callable[[Move], Evidence | None] | None = None
    """What a recorded run saw at a move; stands in for the bench."""
    stopped: Callable[[], str] = lambda: ""
    """Why the run shall stop; empty while it shall go on. A signal may come at any moment and is heeded at these."""

    watch: Watch = field(default_factory=Watch)
    """Where the watching of guards, current limits and step deadline stands."""

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
        used = adapters_of(self.fixture, self.harness)
        self.watch.asked_freely = not any(self.fixture.adapters[name].driver in NOT_ASKED for name in used)
        self.watch.begins(step, self.clock.now())
        self.look()

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
            said = []
            for order in move.link_orders:
                self.wait_until(started.at + order.at)
                said.append(self._say(order if isinstance(order, Say) else order.alive, link) - started.at)
                _in_time(order.at, said[-1], most=self._latest())
            self.wait_until(started.at + move.duration)
            recording = self.bench.fetch()
        return Recorded(
            recording=recording,
            messages=tuple(self._messages(started.at)),
            said=tuple(said),
            start_uncertainty=started.uncertainty + self.watch.overslept,
        )

    def _latest(self) -> float:
        """Return how late an order on the link may be, in seconds; a bench that the host polls was planned for more."""
        if self.person is not None:
            return math.inf  # nothing is timed while a person works the bench
        used = (self.fixture.adapters[name] for name in adapters_of(self.fixture, self.harness))
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

    def _messages(self, start: float) -> Iterator[Message]:
        for message in self.link.messages() if self.link is not None else ():
            if message.at >= start:
                yield Message(
                    at=message.at - start,
                    name=message.name,
                    signals=message.signals,
                    frame=message.frame,
                    sent=message.sent,
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
        names = adapters_of(self.fixture, self.harness)
        without = [name for name in names if self.fixture.adapters[name].dead_man == NO_DEAD_MAN]
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


@contextmanager
def open_rig(
    procedure: Procedure,
    fitted: FittedProfile,
    *,
    fixture: Fixture,
    harness: Harness,
    ports: Mapping[str, str],
    virtual: Virtual,
    company: Company | None = None,
) -> Iterator[Rig]:
    """Open every adapter that the harness names; everything is off when this returns and when it ends.

    `company` is who and what takes part beside the adapters, where drivers `manual` or `replay` ask for it.
    Raises RigError when an adapter is not there, is not who it must be, or does not answer.
    """
    with ExitStack() as stack:
        match fixture.adapters[harness.adapter].driver:
            case "simulated":
                rig = _simulated(procedure, fitted, fixture, harness, virtual)
            case "replay":
                rig = _replayed(fixture, harness, company.recalled if company else None)
            case _:
                rig = _real(stack, procedure, fixture, harness, ports, company.asker if company else None)
        roles = {number: channel.role for number, channel in procedure.channels.items()}
        rig = replace(rig, bench=LimitedBench(rig.bench, limits=fixture.limits, roles=roles))
        stack.callback(rig.make_safe, procedure)
        rig.bench.all_off()
        yield rig


def _in_time(planned: float, done: float, *, most: float) -> None:
    """Raise RigError when the host was too late with an order: what follows it was recorded at another moment."""
    if done - planned > most:
        late = done - planned
        raise RigError(
            f"the host was {late:.3f} s late with an order on the link, more than {most:g} s: nothing may be judged "
            "from this recording (close other programs on this computer; look at the adapter's line)"
        )


def _simulated(
    procedure: Procedure, fitted: FittedProfile, fixture: Fixture, harness: Harness, virtual: Virtual
) -> Rig:
    database = procedure.link.database if procedure.link else None
    opened = find("simulated")(
        fitted=fitted,
        harness=harness,
        fixture=fixture,
        database=database,
        seed=virtual.seed,
        faults=virtual.faults,
        trips=virtual.trips,
    )
    return Rig(
        bench=opened.bench,
        link=opened.link if procedure.link else None,
        clock=opened.clock,
        origin=Origin.SIMULATED,
        identities={harness.adapter: opened.bench.identity()},
        fixture=fixture,
        harness=harness,
        beat_every=LOOK_EVERY if fixture.guards else 1e9,  # nobody has to be shown alive; guards are looked at
    )


def _replayed(fixture: Fixture, harness: Harness, recalled: Recalled | None) -> Rig:
    if recalled is None:
        raise PlanError([f"adapter {harness.adapter} replays a run folder (give one: --port {harness.adapter}=runs/…)"])
    opened = find("replay")(recalled)
    return Rig(
        bench=opened,
        link=None,
        clock=VirtualClock(),
        origin=Origin.REPLAYED,
        identities={harness.adapter: opened.identity()},
        fixture=fixture,
        harness=harness,
        beat_every=1e9,
        recall=opened.recall,
    )


def _real(  # what makes a rig is five documents and choices
    stack: ExitStack,
    procedure: Procedure,
    fixture: Fixture,
    harness: Harness,
    ports: Mapping[str, str],
    asker: Asker | None,
) -> Rig:
    clock = RealClock()
    held = stack.enter_context(locks(fixture.bench.name))  # given back after the last port is closed
    linked = [harness.link] if procedure.link is not None and harness.link is not None else []
    found = places([*adapters_of(fixture, harness), *linked], fixture, ports, held=held, clock=clock)
    ports = {name: place.port for name, place in found.items()}
    told = _Told(procedure=procedure, fixture=fixture, ports=ports, clock=clock, asker=asker)
    devices = {name: stack.enter_context(_opened(name, told)) for name in adapters_of(fixture, harness)}
    link: Link | None = None
    if procedure.link is not None and harness.link is not None:
        about = fixture.adapters[harness.link]
        port = _port(harness.link, fixture, ports)
        link = stack.enter_context(find(about.driver)(adapter=about, port=port, plan=procedure.link, clock=clock))
    identities = {name: _who(name, device.identified.identity(), found) for name, device in devices.items()}
    person = next((device.person for device in devices.values() if device.person is not None), None)
    bench, due = _one_bench(devices, fixture, harness, clock)
    return Rig(
        bench=bench,
        link=link,
        clock=clock,
        origin=_origin(identities, person),
        identities=identities,
        fixture=fixture,
        harness=harness,
        beat_every=min(LONGEST_WAIT, *(fixture.adapters[name].dead_man / BEATS_PER_DEAD_MAN for name in devices)),
        due=due,
        person=person,
    )


def _origin(identities: Mapping[str, str], person: Person | None) -> Origin:
    if any(who.startswith(VIRTUAL) for who in identities.values()):
        return Origin.SIMULATED
    return Origin.MEASURED if person is None else Origin.BY_HAND


@dataclass(frozen=True, kw_only=True, slots=True)
class _Told:
    """What drivers are told when they are opened."""

    procedure: Procedure
    fixture: Fixture
    ports: Mapping[str, str]
    clock: Clock
    asker: Asker | None


@contextmanager
def _opened(name: str, told: _Told) -> Iterator[Device]:
    """Open one adapter; one that can do everything is a device too. A person is told of the procedure as well."""
    adapter, about = told.fixture.adapters[name], dict[str, Any]()
    if adapter.driver == "manual":
        if told.asker is None:
            raise PlanError([f"adapter {name} is a person, and there is no way to talk with one here"])
        about = {"port": "", "procedure": told.procedure, "asker": told.asker}
    else:
        about = {"port": _port(name, told.fixture, told.ports)}
    limits, clock = told.fixture.limits, told.clock
    with find(adapter.driver)(adapter=adapter, limits=limits, clock=clock, **about) as opened:
        yield opened if isinstance(opened, Device) else Device.whole(opened)


def _one_bench(
    devices: Mapping[str, Device], fixture: Fixture, harness: Harness, clock: Clock
) -> tuple[BenchAdapter, Callable[[], float]]:
    """Return the devices as one bench adapter, and when the host must tend to it."""
    whole = next(iter(devices.values()))
    if len(devices) == 1 and whole.recorder is not None:
        bench: Any = whole.recorder  # an adapter that can do everything needs no host to help it
        return bench, lambda: math.inf
    parts = [
        Part(
            name=name,
            device=device,
            channels=channels_of(name, fixture, harness),
            stamp=fixture.adapters[name].stamp,
            every=1 / fixture.adapters[name].rate,
        )
        for name, device in devices.items()
    ]
    composed = ComposedBench(parts, clock)
    return composed, composed.due


def _port(name: str, fixture: Fixture, ports: Mapping[str, str]) -> str:
    port = ports.get(name) or fixture.adapters[name].port
    if not port:
        raise PlanError([f"adapter {name} has no port (give one: --port {name}=/dev/…, or 'port:' in the fixture)"])
    return port


def _who(name: str, answer: str, found: Mapping[str, Found]) -> str:
    """Return what an adapter answered when asked who it is, and how it was found, for the record of the run."""
    return f"{answer}; at {found[name].port}, {found[name].how}" if name in found else answer
