"""The guards of a simulated bench, as what their channels see: 24 V or nothing, and the other one from a trip on."""

import math
from collections.abc import Mapping
from typing import Final

from benchtest.faults import Trip
from benchtest.fixture.document import Guard
from benchtest.simulator.signal import Signal
from benchtest.simulator.trace import Samples, Trace

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
        return {guard.channel: _Circuit(self, name, guard) for name, guard in self._guards.items()}

    def trips_at(self, name: str) -> float:
        """Return when a guard trips, as far as that is known now; infinite for never, minus infinite for ever."""
        if name in self._at:
            return self._at[name]
        after = self._after.get(name, math.inf)
        return after if math.isinf(after) else self._powered + after


class _Circuit:
    """The circuit of one guard, as its channel sees it."""

    def __init__(self, guards: Guards, name: str, guard: Guard) -> None:
        self._guards, self._name, self._guard = guards, name, guard

    def during(self, begin: float, end: float) -> Signal | float:
        """Return what it is between two moments."""
        return self._volts().during(begin, end)

    def sample(self, times: Samples) -> Samples | float:
        """Return the volts at moments."""
        return self._volts().sample(times)

    def _volts(self) -> Trace:
        safe, tripped = (CLOSED, 0.0) if self._guard.safe == "high" else (0.0, CLOSED)
        volts, moment = Trace(safe), self._guards.trips_at(self._name)
        if moment < math.inf:  # minus infinite is tripped from the first
            volts.set(moment, tripped)
        return volts
