"""Several adapters as one bench: a relay box, an input module, a bench supply, a meter.

Every channel belongs to one device; what is asked of a channel goes there. At most one device records in hardware. What
it cannot record is *polled* by the host while the recording runs, and what it cannot order the host orders when it is
due; both are put on the recording's time base, held from one look to the next. How late that may be is the fixture's
statement (`stamp` of the device), which the plan turns into an uncertainty or a refusal; a look or an order that came
later than stated makes the recording an overrun, and nothing is judged from it.

The host's part is done in `tend`, which whoever waits must call when `due` says so: no threads, one line at a time.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeVar

import numpy as np

from benchtest.clock import Clock
from benchtest.errors import AdapterRefused, PlanError, RigError
from benchtest.instruments import Capture, Device, Order, Recording, Started, SupplyState, Switched

SPAN: Final = 32000
"""Codes of a polled channel's extremes: within sixteen bits, and none of them looks like a converter at its end."""
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
    looks: dict[int, list[tuple[float, float]]] = field(default_factory=dict)
    """Polled channel → moments and values."""
    next_look: dict[str, float] = field(default_factory=dict)
    late: bool = False


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
        self._can(channel, "be set", lambda device: device.outputs).set(channel, value)

    def off(self, channel: int) -> None:
        self._can(channel, "be switched", lambda device: device.switched).off(channel)

    def all_off(self) -> None:
        self._forget_recording()
        _all_of(self._switched(), lambda switched: switched.all_off())

    def energised(self) -> frozenset[int]:
        return frozenset().union(*(switched.energised() for switched in self._switched()))

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self._can(channel, "source", lambda device: device.supplies).source(channel, volts=volts, amps=amps)

    def supply_state(self, channel: int) -> SupplyState:
        return self._can(channel, "source", lambda device: device.supplies).supply_state(channel)

    def measure(self, channel: int) -> float:
        return self._can(channel, "be read", lambda device: device.meter).measure(channel)

    # ------------------------------------------------------------ recordings

    def begin(self, capture: Capture) -> Started:
        if self._running is not None:
            raise AdapterRefused("a recording is running (fetch it first)")
        mine = self._recording.channels if self._recording is not None else frozenset[int]()
        for channel in (*capture.channels, *(order.channel for order in capture.orders)):
            self._part(channel)
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
        self.tend()
        return started

    def _begin_hardware(self, hardware: Capture) -> Started:
        recorder = self._recording.device.recorder if self._recording is not None else None
        if recorder is None or not (hardware.channels or hardware.orders):
            return Started(at=self._clock.now(), uncertainty=0.0)  # the host's own clock is the time base
        return recorder.begin(hardware)

    def _polled(self, capture: Capture, mine: frozenset[int]) -> Iterable[Part]:
        asked = {channel for channel in capture.channels if channel not in mine}
        return (part for part in self._parts if asked & part.channels)

    def due(self) -> float:
        """Return when the host must tend to the running recording next; infinite when it need not."""
        if self._running is None:
            return np.inf
        ordered = [self._running.started.at + order.at for order in self._running.orders[:1]]
        return min([*ordered, *self._running.next_look.values()], default=np.inf)

    def tend(self) -> None:
        """Carry out the host orders that are due, and look at the polled channels whose turn it is."""
        running = self._running
        if running is None:
            return
        while running.orders and running.started.at + running.orders[0].at <= self._clock.now():
            self._carry_out(running, running.orders.pop(0))
        for part in self._parts:
            if running.next_look.get(part.name, np.inf) <= self._clock.now():
                self._look(running, part)

    def _carry_out(self, running: _Running, order: Order) -> None:
        part = self._part(order.channel)
        begun = self._clock.now()
        supplies = part.device.supplies
        if supplies is not None and (state := _state(supplies.supply_state, order.channel)) is not None:
            supplies.source(order.channel, volts=order.value, amps=state.amps)
        else:
            self.set(order.channel, order.value)
        at = (begun + self._clock.now()) / 2 - running.started.at
        running.done.append(Order(at=at, channel=order.channel, value=order.value))
        running.late |= at - order.at > part.stamp

    def _look(self, running: _Running, part: Part) -> None:
        """Read every polled channel of a device once; the moment of a reading is the middle of its exchange."""
        due = running.next_look[part.name]
        for channel in running.looks:
            if channel in part.channels:
                begun = self._clock.now()
                value = self.measure(channel)
                running.looks[channel].append(((begun + self._clock.now()) / 2 - running.started.at, value))
        running.next_look[part.name] = max(due + part.every, self._clock.now())

    def fetch(self) -> Recording:
        running = self._running
        if running is None:
            raise AdapterRefused("nothing is being recorded (begin comes before fetch)")
        self._wait_for_end(running)
        self._running = None
        recorder = self._recording.device.recorder if self._recording is not None else None
        mine = [channel for channel in running.capture.channels if channel not in running.looks]
        recorded = recorder.fetch() if recorder is not None and (mine or self._ordered_there(running)) else None
        return _merged(running, recorded, late=running.late or self._looked_too_late(running))

    def _ordered_there(self, running: _Running) -> bool:
        part = self._recording
        return part is not None and any(order.channel in part.channels for order in running.capture.orders)

    def _wait_for_end(self, running: _Running) -> None:
        end = running.started.at + running.capture.duration
        while (now := self._clock.now()) < end:
            self._clock.sleep_until(max(now, min(end, self.due())))
            self.tend()

    def _looked_too_late(self, running: _Running) -> bool:
        """Return whether any polled channel went unwatched for longer than its device's statement."""
        for channel, looks in running.looks.items():
            moments = np.array([0.0, *(at for at, _ in looks), running.capture.duration])
            if np.diff(moments).max() > self._part(channel).stamp:
                return True
        return False

    def _forget_recording(self) -> None:
        self._running = None

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
        """Return all that switches: whatever is no supply first, supplies last."""
        loads: list[Switched] = [p.device.outputs for p in self._parts if p.device.outputs is not None]
        supplies: list[Switched] = [p.device.supplies for p in self._parts if p.device.supplies is not None]
        return [*loads, *(supply for supply in supplies if supply not in loads)]


def _all_of(switched: Iterable[Switched], act: Callable[[Switched], None]) -> None:
    """Act on every one, whatever becomes of the others; raise the first problem at the end."""
    problems: list[RigError] = []
    for one in switched:
        try:
            act(one)
        except RigError as problem:
            problems.append(problem)
    if problems:
        raise problems[0]


def _state(ask: Callable[[int], SupplyState], channel: int) -> SupplyState | None:
    try:
        return ask(channel)
    except AdapterRefused:
        return None  # this channel of the device is no supply


def _merged(running: _Running, recorded: Recording | None, *, late: bool) -> Recording:
    """Return hardware rows and polled rows as one recording."""
    capture = running.capture
    samples = recorded.codes.shape[1] if recorded is not None else round(capture.duration * capture.rate)
    codes = np.zeros((len(capture.channels), samples), np.int16)
    scale, offset = np.ones(len(capture.channels)), np.zeros(len(capture.channels))
    for row, channel in enumerate(capture.channels):
        if channel in running.looks:
            codes[row], scale[row], offset[row] = _held(running.looks[channel], samples, capture.rate)
        elif recorded is not None:
            there = recorded.channels.index(channel)
            codes[row], scale[row], offset[row] = recorded.codes[there], recorded.scale[there], recorded.offset[there]
    done = [*running.done, *(recorded.done if recorded is not None else ())]
    return Recording(
        rate=capture.rate,
        channels=capture.channels,
        codes=codes,
        scale=tuple(scale),
        offset=tuple(offset),
        done=tuple(sorted(done, key=lambda order: order.at)),
        overrun=late or (recorded is not None and recorded.overrun),
    )


def _held(looks: Sequence[tuple[float, float]], samples: int, rate: float) -> tuple[np.ndarray, float, float]:
    """Return looks as codes held from one look to the next, with their scale and offset."""
    moments = np.array([at for at, _ in looks])
    values = np.array([value for _, value in looks])
    finite = values[np.isfinite(values)]
    low, high = (float(finite.min()), float(finite.max())) if finite.size else (0.0, 0.0)
    scale = (high - low) / (2 * SPAN) if high > low else max(abs(high), 1.0) / SPAN
    offset = (high + low) / 2
    ends = np.iinfo(np.int16)
    read = np.nan_to_num((values - offset) / scale, nan=ends.max, posinf=ends.max, neginf=ends.min)
    position = np.clip(np.searchsorted(moments, np.arange(samples) / rate, side="right") - 1, 0, max(0, len(looks) - 1))
    return np.round(read).clip(ends.min, ends.max).astype(np.int16)[position], scale, offset
