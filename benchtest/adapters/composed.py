"""Several adapters as one bench: a relay box, an input module, a bench supply, a meter.

Every channel belongs to one device; what is asked of a channel goes there. At most one device records in hardware. What
it cannot record is *polled* by the host while the recording runs, and what it cannot order the host orders when it is
due; both are put on the recording's time base, held from one look to the next. How well that is known is the fixture's
statement (`stamp` of the device), which the plan turns into an uncertainty or a refusal: from the beginning of one look
to the end of the next, and from the moment planned for an order to the end of its exchange, may pass no more than that,
the doubt about the recording's beginning included. What came later makes the recording an overrun, and nothing is
judged from it.

The host's part is done in `tend`, which whoever waits must call when `due` says so: no threads, one line at a time.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeVar

import numpy as np

from benchtest.adapters.host_timed import Look, held, latest_gap
from benchtest.clock import Clock
from benchtest.errors import AdapterRefused, PlanError, RigError
from benchtest.instruments import Capture, Device, Order, Recording, Started, SupplyState, Switched

BEATS: Final = 0.1
"""Longest time in seconds without a sign of life while a recording is waited for."""
FASTEST: Final = 1e5
"""Samples per second of a recording that the host alone makes: its looks come some tens of times in a second."""
Capability = TypeVar("Capability")


@dataclass(frozen=True, kw_only=True, slots=True)
class Part:
    """One device of the bench and what belongs to it."""

    name: str
    device: Device
    channels: frozenset[int]
    stamp: float
    """Seconds that a host-timed order or look of this device may be late."""
    every: float
    """Seconds between looks of the host while it polls this device."""


@dataclass(slots=True)
class _Running:
    """A recording under way."""

    capture: Capture
    started: Started
    orders: list[Order]
    """Host orders still to do, in order of time."""
    done: list[Order] = field(default_factory=list)
    looks: dict[int, list[Look]] = field(default_factory=dict)
    """Polled channel → what was seen of it."""
    next_look: dict[str, float] = field(default_factory=dict)
    late: bool = False

    @property
    def ends(self) -> float:
        """Its last moment by the rig's clock."""
        return self.started.at + self.capture.duration


class ComposedBench:
    """A bench adapter made of several devices. One thread."""

    def __init__(self, parts: Sequence[Part], clock: Clock) -> None:
        self._parts = tuple(parts)
        self._clock = clock
        self._owner: Mapping[int, Part] = {channel: part for part in parts for channel in part.channels}
        recorders = [part for part in parts if part.device.recorder is not None]
        if len(recorders) > 1:
            names = " and ".join(part.name for part in recorders)
            raise PlanError([f"{names} both record in hardware, on clocks of their own (leave one in this fixture)"])
        self._recording = recorders[0] if recorders else None
        self._running: _Running | None = None
        self._limits: dict[int, float] = {}
        """Supply → current limit that it was given."""

    # ------------------------------------------------------------ who they are, and that we live

    def identity(self) -> str:
        return "; ".join(f"{part.name}: {part.device.identified.identity()}" for part in self._parts)

    def beat(self) -> None:
        for part in self._parts:
            part.device.identified.beat()
        self.tend()

    def check(self) -> None:
        for part in self._parts:
            part.device.identified.check()

    # ------------------------------------------------------------ outputs, supplies, readings

    def set(self, channel: int, value: float) -> None:
        device = self._part(channel).device
        if value == 0.0 and device.person is None and (channel in self._limits or device.outputs is None):
            self.off(channel)  # a supply at 0 is one that is off; a person is told so in the words of the order
        else:
            self._can(channel, "be set", lambda device: device.outputs).set(channel, value)

    def off(self, channel: int) -> None:
        self._can(channel, "be switched", lambda device: device.switched).off(channel)

    def all_off(self) -> None:
        self._running = None
        _all_of(self._switched(), lambda switched: switched.all_off())

    def energised(self) -> frozenset[int]:
        return frozenset[int]().union(*(switched.energised() for switched in self._switched()))

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self._can(channel, "source", lambda device: device.supplies).source(channel, volts=volts, amps=amps)
        self._limits[channel] = amps

    def supply_state(self, channel: int) -> SupplyState:
        return self._can(channel, "source", lambda device: device.supplies).supply_state(channel)

    def measure(self, channel: int) -> float:
        return self._can(channel, "be read", lambda device: device.meter).measure(channel)

    # ------------------------------------------------------------ recordings

    def begin(self, capture: Capture) -> Started:
        if self._running is not None:
            raise AdapterRefused("a recording is running (fetch it first)")
        mine = self._recording.channels if self._recording is not None else frozenset[int]()
        self._permit(capture, mine)
        hardware = Capture(
            orders=tuple(order for order in capture.orders if order.channel in mine),
            duration=capture.duration,
            rate=capture.rate,
            channels=tuple(channel for channel in capture.channels if channel in mine),
        )
        started = self._begin_hardware(hardware)
        self._running = _Running(
            capture=capture,
            started=started,
            orders=[order for order in capture.orders if order.channel not in mine],
            looks={channel: [] for channel in capture.channels if channel not in mine},
            next_look={part.name: started.at for part in self._polled(capture, mine)},
        )
        try:
            self.tend()
        except RigError:  # such as a channel that its device cannot read: nothing is being recorded then
            self._running = None
            raise
        return started

    def _permit(self, capture: Capture, mine: frozenset[int]) -> None:
        """Refuse a capture whole that could not be carried out to its end."""
        if not (0 < capture.duration < math.inf and 0 < capture.rate < math.inf):
            raise AdapterRefused(f"a recording of {capture.duration!r} s at {capture.rate!r} S/s is not possible")
        asked = {*capture.channels, *(order.channel for order in capture.orders)}
        if not asked & mine and capture.rate > FASTEST:
            raise AdapterRefused(f"a recording by the host at {capture.rate:g} S/s (up to {FASTEST:g} S/s)")
        before = 0.0
        for order in capture.orders:
            if not before <= order.at <= capture.duration:
                raise AdapterRefused(f"order at {order.at!r} s is out of turn (in order of time, within the duration)")
            before = order.at
            if order.channel not in mine:
                self._can(order.channel, "be switched", lambda device: device.switched)
                if math.isnan(order.value):
                    raise AdapterRefused(f"channel {order.channel} cannot be set to a value computed from nothing")
        for channel in capture.channels:
            if channel not in mine:
                self._can(channel, "be read", lambda device: device.panel or device.meter)

    def _begin_hardware(self, hardware: Capture) -> Started:
        if self._recording is None or self._recording.device.recorder is None or not _wanted(hardware):
            return Started(at=self._clock.now(), uncertainty=0.0)  # the host's own clock is the time base
        return self._recording.device.recorder.begin(hardware)

    def _polled(self, capture: Capture, mine: frozenset[int]) -> Iterable[Part]:
        asked = set(capture.channels) - mine
        return (part for part in self._parts if asked & part.channels)

    def due(self) -> float:
        """Return when the host must tend to the running recording next; infinite when it need not."""
        running = self._running
        if running is None:
            return math.inf
        ordered = [running.started.at + order.at for order in running.orders[:1]]
        looks = [at for at in running.next_look.values() if at <= running.ends]
        return min([*ordered, *looks], default=math.inf)

    def tend(self) -> None:
        """Carry out the host orders that are due, and look at the polled channels whose turn it is."""
        running = self._running
        if running is None:
            return
        while running.orders and running.started.at + running.orders[0].at <= self._clock.now():
            self._carry_out(running, running.orders.pop(0))
        for part in self._parts:
            if running.next_look.get(part.name, math.inf) <= self._clock.now():
                self._look(running, part)

    def _carry_out(self, running: _Running, order: Order) -> None:
        """Give one order; its moment is the middle of its exchange."""
        part = self._part(order.channel)
        begun = self._clock.now() - running.started.at
        if order.channel in self._limits:
            self._resupply(order)
        else:
            self.set(order.channel, order.value)
        ended = self._clock.now() - running.started.at
        running.done.append(Order(at=(begun + ended) / 2, channel=order.channel, value=order.value))
        running.late |= ended - order.at + running.started.uncertainty > part.stamp

    def _resupply(self, order: Order) -> None:
        """Set a supply to another voltage under the current limit that it has; nothing is off."""
        if order.value:
            self.source(order.channel, volts=order.value, amps=self._limits[order.channel])
        else:
            self.off(order.channel)

    def _look(self, running: _Running, part: Part) -> None:
        """Read every polled channel of a device once."""
        due = running.next_look[part.name]
        watched = [channel for channel in running.looks if channel in part.channels]
        for some in [watched] if part.device.panel is not None else [[channel] for channel in watched]:
            begun = self._clock.now() - running.started.at
            values = part.device.panel.look(some) if part.device.panel is not None else [self.measure(some[0])]
            ended = self._clock.now() - running.started.at
            for channel, value in zip(some, values, strict=True):
                running.looks[channel].append(Look(begun=begun, ended=ended, value=value))
        running.next_look[part.name] = max(due + part.every, self._clock.now())

    def fetch(self) -> Recording:
        running = self._running
        if running is None:
            raise AdapterRefused("nothing is being recorded (begin comes before fetch)")
        self._wait_for_end(running)
        self._running = None
        recorder = self._recording.device.recorder if self._recording is not None else None
        recorded = recorder.fetch() if recorder is not None and self._recorded_there(running) else None
        return _merged(running, recorded, late=running.late or self._looked_too_late(running))

    def _recorded_there(self, running: _Running) -> bool:
        part, capture = self._recording, running.capture
        asked = {*capture.channels, *(order.channel for order in capture.orders)}
        return part is not None and bool(asked & part.channels)

    def _wait_for_end(self, running: _Running) -> None:
        while (now := self._clock.now()) < running.ends:
            self._clock.sleep_until(min(running.ends, now + BEATS, max(now, self.due())))
            self.beat()
        self.tend()

    def _looked_too_late(self, running: _Running) -> bool:
        """Return whether any polled channel went unwatched for longer than its device's statement."""
        doubt, duration = running.started.uncertainty, running.capture.duration
        return any(
            latest_gap(looks, duration) + doubt > self._part(channel).stamp for channel, looks in running.looks.items()
        )

    # ------------------------------------------------------------ routing

    def _part(self, channel: int) -> Part:
        if channel not in self._owner:
            raise AdapterRefused(f"there is no channel {channel} on this bench")
        return self._owner[channel]

    def _can(self, channel: int, what: str, capability: Callable[[Device], Capability | None]) -> Capability:
        part = self._part(channel)
        found = capability(part.device)
        if found is None:
            raise AdapterRefused(f"channel {channel} of adapter {part.name} cannot {what}")
        return found

    def _switched(self) -> list[Switched]:
        """Return all that switches: whatever has no supply first, then the rest of the loads, supplies last."""
        devices = sorted((part.device for part in self._parts), key=lambda device: device.supplies is not None)
        loads: list[Switched] = [device.outputs for device in devices if device.outputs is not None]
        supplies: list[Switched] = [device.supplies for device in devices if device.supplies is not None]
        return [*loads, *(supply for supply in supplies if not any(supply is load for load in loads))]


def _wanted(hardware: Capture) -> bool:
    return bool(hardware.channels or hardware.orders)


def _all_of(switched: Iterable[Switched], act: Callable[[Switched], None]) -> None:
    """Act on every one, whatever becomes of the others; raise the first problem at the end."""
    problems: list[RigError] = []
    for one in switched:
        try:
            act(one)
        except RigError as problem:
            problems.append(problem)
    if problems:
        for other in problems[1:]:
            problems[0].add_note(str(other))
        raise problems[0]


def _merged(running: _Running, recorded: Recording | None, *, late: bool) -> Recording:
    """Return hardware rows and polled rows as one recording."""
    capture = running.capture
    rate = capture.rate if recorded is None else recorded.rate
    samples = max(1, round(capture.duration * rate)) if recorded is None else recorded.codes.shape[1]
    codes = np.zeros((len(capture.channels), samples), np.int16)
    scale, offset = np.ones(len(capture.channels)), np.zeros(len(capture.channels))
    for row, channel in enumerate(capture.channels):
        if channel in running.looks:
            codes[row], scale[row], offset[row] = held(running.looks[channel], samples, rate)
        elif recorded is not None:
            there = recorded.channels.index(channel)
            codes[row], scale[row], offset[row] = recorded.codes[there], recorded.scale[there], recorded.offset[there]
    done = [*running.done, *(recorded.done if recorded is not None else ())]
    return Recording(
        rate=rate,
        channels=capture.channels,
        codes=codes,
        scale=tuple(float(one) for one in scale),
        offset=tuple(float(one) for one in offset),
        done=tuple(sorted(done, key=lambda order: order.at)),
        overrun=late or bool(running.orders) or (recorded is not None and recorded.overrun),
    )
