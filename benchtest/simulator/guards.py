"""The guards of a simulated bench, as what their channels see: 24 V or nothing, and the other one from a trip on."""

import math
from collections.abc import Mapping
from typing import Final

import numpy as np

from benchtest.faults import Trip
from benchtest.fixture.document import Guard
from benchtest.simulator.trace import Samples, Signal

CLOSED: Final = 24.0
"""Volts of a closed guard circuit: its own supply, which nothing on the bench switches."""


class Guards:
    """Every guard of a fixture, and when those that trip do so."""

    def __init__(self, guards: Mapping[str, Guard], trips: tuple[Trip, ...]) -> None:
        self._guards = guards
        self._after = {trip.name: trip.after for trip in trips}
        self._at: dict[str, float] = {}
        self._powered = math.inf

    def power(self, now: float) -> None:
        """Note that a supply is on at `now`, scene time; trips count from the first one."""
        self._powered = min(self._powered, now)

    def trip(self, name: str, now: float) -> None:
        """Let a guard trip at `now`, scene time."""
        self._at[name] = now

    @property
    def signals(self) -> dict[int, Signal]:
        """Channel → what it sees."""
        return {guard.channel: self._signal(name, guard) for name, guard in self._guards.items()}

    def _signal(self, name: str, guard: Guard) -> Signal:
        def seen(times: Samples) -> Samples:
            tripped = times >= self._trips_at(name)
            return np.where(tripped == (guard.safe == "low"), CLOSED, 0.0)

        return seen

    def _trips_at(self, name: str) -> float:
        if name in self._at:
            return self._at[name]
        after = self._after.get(name, math.inf)
        return after if math.isinf(after) else self._powered + after
