"""Small devices written out for the composed bench: they do what they are told, in a given time, or not at all."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from benchtest.clock import VirtualClock
from benchtest.errors import AdapterRefused, AdapterSilent
from benchtest.instruments import Capture, Device, Order, Recording, Started, SupplyState


@dataclass
class Box:
    """A relay box: drives, each order takes `takes` seconds of the clock; `dead` answers nothing."""

    clock: VirtualClock
    takes: float = 0.004
    dead: bool = False
    on: set[int] = field(default_factory=set)
    log: list[str] = field(default_factory=list)

    def _spend(self, what: str) -> None:
        self.log.append(what)
        self.clock.sleep_until(self.clock.now() + self.takes)
        if self.dead:
            raise AdapterSilent("the box answers nothing")

    def identity(self) -> str:
        return "A,Box,1,1"

    def beat(self) -> None:
        self.log.append("beat")

    def check(self) -> None:
        self.log.append("check")

    def set(self, channel: int, value: float) -> None:
        if value not in {0, 1}:
            raise AdapterRefused(f"channel {channel} cannot be {value:g}")
        self._spend(f"set {channel} {value:g}")
        (self.on.add if value else self.on.discard)(channel)

    def off(self, channel: int) -> None:
        self._spend(f"off {channel}")
        self.on.discard(channel)

    def all_off(self) -> None:
        self._spend("all off")
        self.on.clear()

    def energised(self) -> frozenset[int]:
        if self.dead:
            raise AdapterSilent("the box answers nothing")
        return frozenset(self.on)

    def device(self) -> Device:
        return Device(identified=self, outputs=self)


@dataclass
class Psu:
    """A bench supply with one output that draws 0.1 A."""

    clock: VirtualClock
    log: list[str] = field(default_factory=list)
    volts: dict[int, float] = field(default_factory=dict)

    def identity(self) -> str:
        return "A,Supply,1,1"

    def beat(self) -> None:
        self.log.append("beat")

    def check(self) -> None:
        self.log.append("check")

    def off(self, channel: int) -> None:
        self.log.append(f"off {channel}")
        self.volts.pop(channel, None)

    def all_off(self) -> None:
        self.log.append("all off")
        self.volts.clear()

    def energised(self) -> frozenset[int]:
        return frozenset(self.volts)

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self.log.append(f"source {channel} {volts:g} V {amps:g} A")
        self.volts[channel] = volts

    def supply_state(self, channel: int) -> SupplyState:
        return SupplyState(on=channel in self.volts, volts=self.volts.get(channel, 0.0), amps=0.1, limiting=False)

    def device(self) -> Device:
        return Device(identified=self, supplies=self)


@dataclass
class Panel:
    """Inputs that follow a function of time; one exchange for all of them, or one each."""

    clock: VirtualClock
    seen: Callable[[int, float], float]
    takes: float = 0.004
    exchanges: int = 0
    stall: tuple[float, float] = (math.inf, 0.0)
    """From this moment, once, an exchange takes so much longer."""

    def identity(self) -> str:
        return "A,Panel,1,1"

    def beat(self) -> None:
        """Say nothing."""

    def check(self) -> None:
        """Say nothing."""

    def look(self, channels: Sequence[int]) -> Sequence[float]:
        self.exchanges += 1
        begun = self.clock.now()
        extra = 0.0
        if begun >= self.stall[0]:
            extra, self.stall = self.stall[1], (math.inf, 0.0)
        self.clock.sleep_until(begun + self.takes / 2 + extra)
        values = [self.seen(channel, self.clock.now()) for channel in channels]
        self.clock.sleep_until(begun + self.takes + extra)
        return values

    def measure(self, channel: int) -> float:
        return self.look([channel])[0]

    def device(self, *, at_once: bool = True) -> Device:
        return Device(identified=self, meter=self, panel=self if at_once else None)


@dataclass
class Recorder:
    """A device that records in hardware: every sample is its number."""

    clock: VirtualClock
    doubt: float = 0.0
    capture: Capture | None = None
    began: float = 0.0

    def identity(self) -> str:
        return "A,Recorder,1,1"

    def beat(self) -> None:
        """Say nothing."""

    def check(self) -> None:
        """Say nothing."""

    def begin(self, capture: Capture) -> Started:
        self.capture, self.began = capture, self.clock.now()
        return Started(at=self.began, uncertainty=self.doubt)

    def fetch(self) -> Recording:
        assert self.capture is not None
        capture, self.capture = self.capture, None
        self.clock.sleep_until(self.began + capture.duration)
        samples = round(capture.duration * capture.rate)
        return Recording(
            rate=capture.rate,
            channels=capture.channels,
            codes=np.tile(np.arange(samples, dtype=np.int16), (len(capture.channels), 1)),
            scale=(1.0,) * len(capture.channels),
            offset=(0.0,) * len(capture.channels),
            done=tuple(Order(at=order.at, channel=order.channel, value=order.value) for order in capture.orders),
        )

    def device(self) -> Device:
        return Device(identified=self, recorder=self)
