"""The bench as opened: an adapter, perhaps a link, and the clock that belongs to them.

Acting is always inside `with open_rig(…)`: everything is ordered off on the way in and on every way out, loads first,
supplies last, and then read back. While waiting, the adapter is shown that its user is alive; a user that is gone lets
the adapter's dead-man take everything off.
"""

import logging
import math
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from typing import Any

from benchtest.adapters.catalogue import find
from benchtest.adapters.composed import ComposedBench, Part
from benchtest.clock import Clock, RealClock
from benchtest.errors import Aborted, PlanError, RigError
from benchtest.faults import Fault
from benchtest.fixture.adapter import NO_DEAD_MAN
from benchtest.fixture.document import Fixture, Harness
from benchtest.fixture.wiring import adapters_of, channels_of
from benchtest.instruments import VIRTUAL, BenchAdapter, Capture, Device, Link, Message
from benchtest.interlocks import refused_by_the_bench, to_safe
from benchtest.procedure import LinkPlan, Procedure, Record, Say
from benchtest.profile.fitting import FittedProfile
from benchtest.readings import Origin, Recorded
from benchtest.results import SafeState

LOG = logging.getLogger(__name__)
BEATS_PER_DEAD_MAN = 5  # an adapter may miss four beats to a stalled host before it takes everything off
LONGEST_WAIT = 0.2  # s until a stop is heeded, where no dead-man wants a sign of life sooner


@dataclass(frozen=True, kw_only=True, slots=True)
class Virtual:
    """What makes a simulated board this one and no other."""

    seed: int = 1
    faults: tuple[Fault, ...] = ()


@dataclass(frozen=True, kw_only=True, slots=True)
class Rig:
    """A handful of capabilities and a clock."""

    bench: BenchAdapter
    link: Link | None
    clock: Clock
    origin: Origin
    identities: Mapping[str, str]
    """Adapter → what it answered when asked who it is."""
    fixture: Fixture
    harness: Harness
    beat_every: float
    """Seconds between signs of life while waiting."""
    due: Callable[[], float] = lambda: math.inf
    """When the host must tend to a running recording next, by the rig's clock; `bench.beat` tends to it."""
    stopped: Callable[[], str] = lambda: ""
    """Why the run shall stop; empty while it shall go on. A signal may come at any moment and is heeded at these."""

    def heed(self) -> None:
        """Raise Aborted when somebody has said stop."""
        if reason := self.stopped():
            raise Aborted(reason)

    def wait_until(self, deadline: float) -> None:
        """Wait, keep the adapter's dead-man content, and heed a stop."""
        while (now := self.clock.now()) < deadline:
            self.heed()
            self.clock.sleep_until(min(deadline, now + self.beat_every, max(now, self.due())))
            self.bench.beat()
        self.heed()

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        """Set a supply, after a last look at the bench's hard limits. Raises PlanError when they forbid it."""
        limits = self.fixture.limits
        reason = refused_by_the_bench(volts, amps, most_volts=limits.voltage, most_amps=limits.current)
        if reason:
            raise PlanError([f"supply channel {channel}: {reason}"])
        self.bench.source(channel, volts=volts, amps=amps)

    def record(self, move: Record, link: LinkPlan | None) -> Recorded:
        """Carry out a recording's orders, on the bench and on the link, and return what was seen."""
        if self.link is not None:
            self.link.messages()  # what came before belongs to no recording
        capture = Capture(orders=move.orders, duration=move.duration, rate=move.rate, channels=move.channels)
        started = self.bench.begin(capture)
        said = []
        for order in move.link_orders:
            self.wait_until(started.at + order.at)
            said.append(self._say(order if isinstance(order, Say) else order.alive, link) - started.at)
        self.wait_until(started.at + move.duration)
        recording = self.bench.fetch()
        return Recorded(
            recording=recording,
            messages=tuple(self._messages(started.at)),
            said=tuple(said),
            start_uncertainty=started.uncertainty,
        )

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
        if left:
            return SafeState(reached=True, verified=False, note=f"still on: channels {', '.join(map(str, left))}")
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
) -> Iterator[Rig]:
    """Open every adapter that the harness names; everything is off when this returns and when it ends.

    Raises RigError when an adapter is not there, is not who it must be, or does not answer.
    """
    with ExitStack() as stack:
        if fixture.adapters[harness.adapter].driver == "simulated":
            rig = _simulated(procedure, fitted, fixture, harness, virtual)
        else:
            rig = _real(stack, procedure, fixture, harness, ports)
        stack.callback(rig.make_safe, procedure)
        rig.bench.all_off()
        yield rig


def _simulated(
    procedure: Procedure, fitted: FittedProfile, fixture: Fixture, harness: Harness, virtual: Virtual
) -> Rig:
    database = procedure.link.database if procedure.link else None
    opened = find("simulated")(
        fitted=fitted, harness=harness, fixture=fixture, database=database, seed=virtual.seed, faults=virtual.faults
    )
    return Rig(
        bench=opened.bench,
        link=opened.link if procedure.link else None,
        clock=opened.clock,
        origin=Origin.SIMULATED,
        identities={harness.adapter: opened.bench.identity()},
        fixture=fixture,
        harness=harness,
        beat_every=1e9,  # virtual time waits for nobody, and nobody has to be shown alive
    )


def _real(stack: ExitStack, procedure: Procedure, fixture: Fixture, harness: Harness, ports: Mapping[str, str]) -> Rig:
    clock = RealClock()
    devices = {
        name: stack.enter_context(_opened(name, fixture, ports, clock)) for name in adapters_of(fixture, harness)
    }
    link: Link | None = None
    if procedure.link is not None and harness.link is not None:
        about = fixture.adapters[harness.link]
        port = _port(harness.link, fixture, ports)
        link = stack.enter_context(find(about.driver)(adapter=about, port=port, plan=procedure.link, clock=clock))
    identities = {name: device.identified.identity() for name, device in devices.items()}
    bench, due = _one_bench(devices, fixture, harness, clock)
    return Rig(
        bench=bench,
        link=link,
        clock=clock,
        origin=Origin.SIMULATED if any(who.startswith(VIRTUAL) for who in identities.values()) else Origin.MEASURED,
        identities=identities,
        fixture=fixture,
        harness=harness,
        beat_every=min(LONGEST_WAIT, *(fixture.adapters[name].dead_man / BEATS_PER_DEAD_MAN for name in devices)),
        due=due,
    )


@contextmanager
def _opened(name: str, fixture: Fixture, ports: Mapping[str, str], clock: Clock) -> Iterator[Device]:
    """Open one adapter; one that can do everything is a device too."""
    adapter, port = fixture.adapters[name], _port(name, fixture, ports)
    with find(adapter.driver)(adapter=adapter, port=port, limits=fixture.limits, clock=clock) as opened:
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
