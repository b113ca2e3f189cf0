"""The part of the simulated bench that one adapter serves: it sees and switches its own channels and no other.

So that an adapter which forgets to switch off is not covered by its neighbour's all-off.
"""

from benchtest.errors import AdapterRefused
from benchtest.instruments import Capture, Recording, Role, Started, SupplyState
from benchtest.simulator.bench import SimulatedBench
from benchtest.simulator.scene import Scene


class Section:
    """Some channels of a simulated bench, as a bench of their own."""

    def __init__(self, bench: SimulatedBench, scene: Scene, channels: frozenset[int], *, records: bool = False) -> None:
        """With `records` its all-off ends a running recording; the recording of a neighbour it leaves alone."""
        outputs = [c for c in channels if scene.roles.get(c) in {Role.DRIVE, Role.RESISTANCE, Role.SUPPLY}]
        self.outputs = sorted(outputs, key=lambda c: (scene.roles[c] is Role.SUPPLY, c))
        """Its outputs, loads first, supplies last."""
        self._bench, self._channels, self._records = bench, channels, records

    def identity(self) -> str:
        return self._bench.identity()

    def beat(self) -> None:
        self._bench.beat()

    def check(self) -> None:
        self._bench.check()

    def set(self, channel: int, value: float) -> None:
        self._bench.set(self._mine(channel), value)

    def off(self, channel: int) -> None:
        self._bench.off(self._mine(channel))

    def all_off(self) -> None:
        """Take its own outputs to safety, loads first."""
        if self._records:
            self._bench.end_recording()
        for channel in self.outputs:
            self._bench.off(channel)

    def energised(self) -> frozenset[int]:
        return self._bench.energised() & self._channels

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        self._bench.source(self._mine(channel), volts=volts, amps=amps)

    def supply_state(self, channel: int) -> SupplyState:
        return self._bench.supply_state(self._mine(channel))

    def measure(self, channel: int) -> float:
        return self._bench.measure(self._mine(channel))

    def begin(self, capture: Capture) -> Started:
        for channel in (*capture.channels, *(order.channel for order in capture.orders)):
            self._mine(channel)
        return self._bench.begin(capture)

    def elapsed(self) -> float:
        return self._bench.elapsed()

    def fetch(self) -> Recording:
        return self._bench.fetch()

    @property
    def finished_at(self) -> float | None:
        return self._bench.finished_at

    def _mine(self, channel: int) -> int:
        if channel not in self._channels:
            raise AdapterRefused(f"there is no channel {channel} on this adapter")
        return channel
