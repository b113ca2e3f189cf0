"""The bench in this process: every capability of the seam, on a simulated board.

The fixture's hard limits are enforced here once more, as a real adapter would. There is no dead-man: the outputs
cannot outlive the process that the board lives in. Time is the clock's; with a virtual one, waiting costs nothing.
"""

import math
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import benchtest
from benchtest.clock import Clock, VirtualClock
from benchtest.errors import AdapterRefused
from benchtest.faults import Fault, Mishap
from benchtest.fixture.document import Fixture, Harness
from benchtest.instruments import (
    LONGEST_VIRTUAL,
    VIRTUAL,
    BenchAdapter,
    Capture,
    Link,
    Order,
    Recording,
    Role,
    Started,
    SupplyState,
)
from benchtest.profile.fitting import FittedProfile
from benchtest.simulator.converter import Converter, converter
from benchtest.simulator.link import SimulatedLink
from benchtest.simulator.scene import Scene
from benchtest.simulator.unread import Moments, Row, Unread

_OUTPUTS: Final = {Role.DRIVE, Role.RESISTANCE, Role.SUPPLY}
_RECORDED: Final = {Role.SENSE, Role.CONTACT, Role.LIGHT, Role.CURRENT}
_MOST_OHMS: Final = 1e9


@dataclass(frozen=True, kw_only=True, slots=True)
class Opened:
    """A simulated bench with the board on it."""

    bench: BenchAdapter
    link: Link | None
    clock: VirtualClock


@dataclass(kw_only=True, slots=True)
class _Running:
    """A capture that has begun."""

    capture: Capture
    started: float
    pace: float
    """Real over written seconds, by the adapter's clock."""
    done: list[Order]
    aborted: bool = False


class SimulatedBench:
    """One bench adapter, simulated."""

    def __init__(self, scene: Scene, clock: Clock) -> None:
        self._scene, self._clock = scene, clock
        self._fixture = scene.fixture
        self._adapter = scene.fixture.adapters[scene.harness.adapter]
        self._rng = scene.chance.stream("bench adapter")
        self._converters: dict[tuple[int, Role], Converter] = {}
        self._limits: dict[int, float] = {}
        self._running: _Running | None = None

    # ---- identity

    def identity(self) -> str:
        """Return maker, model, serial number and version."""
        return f"{VIRTUAL},{self._scene.chance.seed},{benchtest.__version__}"

    def beat(self) -> None:
        """Do nothing: in one process there is no dead-man to keep quiet."""
        self._catch_up()

    def check(self) -> None:
        """Do nothing: what is refused is refused at once."""
        self._catch_up()

    # ---- outputs

    def set(self, channel: int, value: float) -> None:
        """Set one drive or one resistance."""
        self._catch_up()
        if self._role(channel) not in {Role.DRIVE, Role.RESISTANCE}:
            raise AdapterRefused(f"channel {channel} is not a drive or a resistance (it is: {self._role(channel)})")
        self._permit(channel, value)
        self._scene.set(channel, value)

    def off(self, channel: int) -> None:
        """Take one output to its safe state."""
        self._catch_up()
        if self._role(channel) not in _OUTPUTS:
            raise AdapterRefused(f"channel {channel} is not an output (it is: {self._role(channel)})")
        self._scene.off(channel)

    def all_off(self) -> None:
        """Take everything to its safe state; a running recording ends."""
        self._catch_up()
        self.end_recording()
        self._scene.all_off()

    def end_recording(self) -> None:
        """End a running recording; no order of it is carried out any more."""
        if self._running is not None:
            self._running.aborted = True
            self._running = None

    def energised(self) -> frozenset[int]:
        """Return the channels that are not in their safe state."""
        self._catch_up()
        return self._scene.energised()

    # ---- supplies

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        """Set the current limit, then the voltage, then switch on."""
        self._catch_up()
        if self._role(channel) is not Role.SUPPLY:
            raise AdapterRefused(f"channel {channel} is not a supply (it is: {self._role(channel)})")
        ceiling = self._fixture.limits.current
        if not 0 < amps <= ceiling:
            raise AdapterRefused(f"current limit {amps!r} A is not permitted (above 0 A and up to {ceiling:g} A)")
        self._permit_volts(volts)
        self._limits[channel] = amps
        self._switch(channel, volts)

    def supply_state(self, channel: int) -> SupplyState:
        """Read one supply back."""
        self._catch_up()
        if self._role(channel) is not Role.SUPPLY:
            raise AdapterRefused(f"channel {channel} is not a supply (it is: {self._role(channel)})")
        true = self._scene.supply_state(channel)
        return SupplyState(
            on=true.on,
            volts=self._converter(channel, Role.SENSE).true_to_read(true.volts),
            amps=self._converter(channel, Role.CURRENT).true_to_read(true.amps),
            limiting=true.limiting,
        )

    # ---- readings

    def measure(self, channel: int) -> float:
        """Return one reading, averaged over a mains cycle; inf is over-range."""
        self._catch_up()
        role = self._role(channel)
        if role in _RECORDED:
            return self._converter(channel, role).true_to_read(self._scene.reading(channel))
        if role is not Role.OHMS:
            raise AdapterRefused(f"channel {channel} cannot be measured (it is: {role})")
        if on := self._scene.supplied():
            raise AdapterRefused(f"channel {channel} reads ohms without power only (switch off supply {min(on)} first)")
        ohms = self._converter(channel, role).true_to_read(self._scene.ohms(channel))
        return ohms if ohms < _MOST_OHMS else math.inf

    # ---- recording

    def begin(self, capture: Capture) -> Started:
        """Load the schedule, start, and return at once."""
        self._catch_up()
        self._permit_capture(capture)
        started = self._scene.now
        pace = self._scene.own.pace * (1 + self._adapter.clock * 0.5 * float(self._rng.uniform(-1, 1)))
        running = _Running(capture=capture, started=started, pace=pace, done=[])
        due = started
        for order in capture.orders:
            late = self._adapter.stamp * 0.5 * float(self._rng.uniform(0, 1))
            due = max(due, started + order.at * pace + late)  # never out of turn
            self._scene.at(due, partial(self._carry_out, running, order))
        self._running = running
        return Started(at=started, uncertainty=self._adapter.stamp)

    @property
    def finished_at(self) -> float:
        """Moment of the clock from which `fetch` does not wait; long ago when nothing is being recorded."""
        running = self._running
        if running is None:
            return -math.inf
        return running.started + running.capture.duration * running.pace + self._adapter.stamp

    def elapsed(self) -> float:
        """Return the seconds since the start of the running recording, by the adapter's clock."""
        self._catch_up()
        if self._running is None:
            raise AdapterRefused("nothing is being recorded (begin first)")
        return (self._scene.now - self._running.started) / self._running.pace

    def fetch(self) -> Recording:
        """Wait for the end of the running recording and return it."""
        self._catch_up()
        running = self._running
        if running is None:
            raise AdapterRefused("nothing is being recorded (begin first)")
        self._clock.sleep_until(self.finished_at)
        self._catch_up()
        self._running = None
        return self._sampled(running)

    def _sampled(self, running: _Running) -> Recording:
        capture = running.capture
        count = round(capture.duration * capture.rate)
        moments = Moments(running.started, running.pace / capture.rate, count)
        begin, end, signal = moments.at(0), moments.at(-1), self._scene.signal
        converters = [self._converter(channel, self._role(channel)) for channel in capture.channels]
        seen = [signal(channel).during(begin, end) for channel in capture.channels]
        rows = list(map(Row, seen, converters, self._rng.random(len(seen)).tolist()))
        return Recording(
            rate=capture.rate,
            channels=capture.channels,
            codes=Unread(rows, moments, self._scene.chance),
            scale=tuple(converter.scale for converter in converters),
            offset=(0.0,) * len(rows),
            done=tuple(running.done),
        )

    def _carry_out(self, running: _Running, order: Order) -> None:
        if running.aborted:
            return
        if self._role(order.channel) is Role.SUPPLY:
            self._switch(order.channel, order.value)
        else:
            self._scene.set(order.channel, order.value)
        running.done.append(replace(order, at=(self._scene.now - running.started) / running.pace))

    # ---- what is permitted

    def _permit_capture(self, capture: Capture) -> None:
        if self._running is not None:
            raise AdapterRefused("a recording is running (fetch it first)")
        if not 0 < capture.duration <= LONGEST_VIRTUAL:
            raise AdapterRefused(
                f"a recording of {capture.duration!r} s is not permitted (up to {LONGEST_VIRTUAL:g} s)"
            )
        if not 0 < capture.rate <= self._adapter.rate:
            raise AdapterRefused(f"rate {capture.rate!r} S/s is not permitted (up to {self._adapter.rate:g} S/s)")
        if round(capture.duration * capture.rate) < 1:
            raise AdapterRefused(f"no sample fits into {capture.duration!r} s at {capture.rate!r} S/s")
        for channel in capture.channels:
            if self._role(channel) not in _RECORDED:
                raise AdapterRefused(f"channel {channel} cannot be recorded (it is: {self._role(channel)})")
        before = 0.0
        for order in capture.orders:
            if not before <= order.at <= capture.duration:
                raise AdapterRefused(f"order at {order.at!r} s is out of turn (in order of time, within the duration)")
            before = order.at
            self._permit(order.channel, order.value)

    def _permit(self, channel: int, value: float) -> None:
        match self._role(channel):
            case Role.DRIVE if value not in {0, 1}:
                raise AdapterRefused(f"drive {channel} cannot be {value!r} (0 or 1)")
            case Role.RESISTANCE if not value >= 0:
                raise AdapterRefused(f"resistance {channel} cannot be {value!r} ohm (0 or more, inf is open)")
            case Role.SUPPLY:
                self._permit_volts(value)
                if value > 0 and channel not in self._limits:
                    raise AdapterRefused(f"supply {channel} has no current limit yet (source it first)")
            case Role.DRIVE | Role.RESISTANCE:
                pass
            case role:
                raise AdapterRefused(f"channel {channel} cannot be set (it is: {role})")

    def _permit_volts(self, volts: float) -> None:
        ceiling = self._fixture.limits.voltage
        if not 0 <= volts <= ceiling:
            raise AdapterRefused(f"{volts!r} V is not permitted (from 0 V to {ceiling:g} V on this bench)")

    # ---- the rest

    def _switch(self, channel: int, volts: float) -> None:
        if volts > 0:
            self._scene.source(channel, volts=volts, amps=self._limits[channel])
        else:
            self._scene.off(channel)

    def _role(self, channel: int) -> Role:
        try:
            return self._scene.roles[channel]
        except KeyError:
            known = f"{min(self._scene.roles)} to {max(self._scene.roles)}"
            raise AdapterRefused(f"there is no channel {channel} (this harness has some from {known})") from None

    def _converter(self, channel: int, role: Role) -> Converter:
        key = channel, role
        if key not in self._converters:
            self._converters[key] = converter(channel, role, self._fixture, self._scene.chance)
        return self._converters[key]

    def _catch_up(self) -> None:
        self._scene.advance(self._clock.now())


def open_simulated(
    *,
    fitted: FittedProfile,
    harness: Harness,
    fixture: Fixture,
    database: str | None,
    seed: int,
    faults: tuple[Fault, ...] = (),
    mishaps: tuple[Mishap, ...] = (),
) -> Opened:
    """Return a bench in this process with one specimen of the board on it, on virtual time.

    `database` is the text of a CAN link's DBC file; the same seed gives the same board and the same noise.
    """
    scene = Scene(
        fitted=fitted, harness=harness, fixture=fixture, database=database, seed=seed, faults=faults, mishaps=mishaps
    )
    clock = VirtualClock(scene.advance)
    link = SimulatedLink(scene, clock, scene.codec) if scene.codec is not None else None
    return Opened(bench=SimulatedBench(scene, clock), link=link, clock=clock)
