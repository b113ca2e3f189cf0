"""A bench with nothing on it: it remembers what it was told, and its channels read what was put on them."""

from dataclasses import dataclass, field

import numpy as np

from benchtest.clock import Clock
from benchtest.errors import AdapterRefused
from benchtest.instruments import Capture, Order, Recording, Started, SupplyState

SUPPLIES = range(201, 210)
DRIVES = range(101, 200)
RESISTANCES = range(601, 610)


@dataclass
class TableBench:
    """Drives 101 to 199, supplies 201 to 209, resistances 601 to 609; sense channel 300 + n reads supply 200 + n."""

    clock: Clock
    values: dict[int, float] = field(default_factory=dict)
    log: list[str] = field(default_factory=list)
    readings: dict[int, float] = field(default_factory=dict)
    finished_at: float | None = None
    _capture: Capture | None = None

    def identity(self) -> str:
        return "Benchtest,Table bench,0,1"

    def beat(self) -> None:
        self.log.append("beat")

    def check(self) -> None:
        self.log.append("check")

    def set(self, channel: int, value: float) -> None:
        if channel not in DRIVES and channel not in RESISTANCES:
            raise AdapterRefused(f"channel {channel} is no output")
        self.log.append(f"set {channel} {value:g}")
        self.values[channel] = value

    def off(self, channel: int) -> None:
        self.values.pop(channel, None)

    def all_off(self) -> None:
        self.log.append("all off")
        self.values.clear()
        self.finished_at = None

    def energised(self) -> frozenset[int]:
        idle = {channel: float("inf") if channel in RESISTANCES else 0.0 for channel in self.values}
        return frozenset(channel for channel, value in self.values.items() if value != idle[channel])

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self.log.append(f"source {channel} {volts:g} V {amps:g} A")
        self.values[channel] = volts

    def supply_state(self, channel: int) -> SupplyState:
        volts = self.values.get(channel, 0.0)
        return SupplyState(on=channel in self.values, volts=volts, amps=0.125, limiting=volts > 24)

    def measure(self, channel: int) -> float:
        return self.readings.get(channel, self.values.get(channel - 100, 0.0))

    def begin(self, capture: Capture) -> Started:
        self._capture = capture
        self.finished_at = self.clock.now() + capture.duration
        return Started(at=self.clock.now(), uncertainty=0.0)

    def fetch(self) -> Recording:
        capture = self._capture
        if capture is None or self.finished_at is None:
            raise AdapterRefused("nothing was begun")
        self.clock.sleep_until(self.finished_at)
        samples = round(capture.duration * capture.rate)
        codes = np.arange(len(capture.channels) * samples).reshape(len(capture.channels), samples) - 3
        return Recording(
            rate=capture.rate,
            channels=capture.channels,
            codes=codes.astype(np.int16),
            scale=tuple(0.0005 * (row + 1) for row in range(len(capture.channels))),
            offset=tuple(0.1 * row for row in range(len(capture.channels))),
            done=tuple(Order(at=o.at + 1e-6, channel=o.channel, value=o.value) for o in capture.orders),
        )
