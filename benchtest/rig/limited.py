"""The last line before hardware: one place that every order of every kind of adapter passes.

Whatever made an order (a profile, a plan, a run file of another day), here it meets the hard limits of the fixture once
more. An order of a schedule is looked at before the schedule is handed over: either all of it may pass, or none.
"""

import math
from collections.abc import Mapping

from benchtest.errors import AdapterRefused
from benchtest.fixture.document import HardLimits
from benchtest.instruments import BenchAdapter, Capture, Recording, Role, Started, SupplyState
from benchtest.interlocks import refused_by_the_bench, refused_order


class LimitedBench:
    """A bench adapter that lets nothing through which the fixture's hard limits forbid."""

    def __init__(
        self, bench: BenchAdapter, *, limits: HardLimits, roles: Mapping[int, Role], by_hand: bool = False
    ) -> None:
        """`by_hand`: a person puts the ohmmeter where it is asked for, also across a contact of a board with power."""
        self._bench = bench
        self._limits = limits
        self._roles = roles
        self._by_hand = by_hand

    def identity(self) -> str:
        return self._bench.identity()

    def beat(self) -> None:
        self._bench.beat()

    def check(self) -> None:
        self._bench.check()

    def set(self, channel: int, value: float) -> None:
        if self._roles.get(channel) is Role.SUPPLY and value != 0.0:  # off is off; only what comes on needs a limit
            raise AdapterRefused(f"channel {channel} is a supply (source it, with a current limit)")
        self._permit(channel, value)
        self._bench.set(channel, value)

    def off(self, channel: int) -> None:
        self._bench.off(channel)

    def all_off(self) -> None:
        self._bench.all_off()

    def energised(self) -> frozenset[int]:
        return self._bench.energised()

    def source(self, channel: int, *, volts: float, amps: float) -> None:
        most = self._limits
        refused = refused_by_the_bench(volts, amps, most_volts=most.voltage, most_amps=most.current)
        if self._roles.get(channel) is not Role.SUPPLY:
            refused = "it is not a supply in the harness"
        if refused:
            raise AdapterRefused(f"channel {channel}: {refused}; nothing was sent to the adapter")
        self._bench.source(channel, volts=volts, amps=amps)

    def supply_state(self, channel: int) -> SupplyState:
        return self._bench.supply_state(channel)

    def measure(self, channel: int) -> float:
        if self._roles.get(channel) is Role.OHMS and not self._by_hand and (on := self._supplies_on()):
            refused = f"ohms are read without power only, and supply {on[0]} is on"
            raise AdapterRefused(f"channel {channel}: {refused} (read them before power, or after everything off)")
        return self._bench.measure(channel)

    def _supplies_on(self) -> list[int]:
        """Return the supplies that are on, as the adapters say, whichever of them has the ohmmeter."""
        return sorted(one for one in self._bench.energised() if self._roles.get(one) is Role.SUPPLY)

    def begin(self, capture: Capture) -> Started:
        if not 0.0 < capture.duration < math.inf or not 0.0 < capture.rate < math.inf:
            raise AdapterRefused(f"a recording of {capture.duration:g} s at {capture.rate:g} samples per second")
        for order in capture.orders:
            if not 0.0 <= order.at <= capture.duration:
                raise AdapterRefused(f"channel {order.channel}: an order at {order.at:g} s of {capture.duration:g} s")
            self._permit(order.channel, order.value)
        return self._bench.begin(capture)

    def fetch(self) -> Recording:
        return self._bench.fetch()

    def _permit(self, channel: int, value: float) -> None:
        refused = refused_order(self._roles.get(channel), value, most_volts=self._limits.voltage)
        if refused:
            raise AdapterRefused(f"channel {channel}: {refused}; nothing was sent to the adapter")
