"""One physical quantity over time: constant pieces and exponential approaches, kept as segments and not as samples.

Strategy: the world only says when a quantity changes and whither. Sample values are worked out afterwards, for the
moments that somebody asks for, in one pass per segment. History older than the longest capture is dropped.
"""

import math
from bisect import bisect_right
from typing import Final

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

HISTORY: Final = 120.0
"""Seconds that are kept; no capture may last longer (`bench.LONGEST`)."""
SETTLED: Final = 40.0
"""Time constants after which an approach has ended: exp(-40) is below the last bit of a double."""
_PRUNE_AT: Final = 512


class Trace:
    """A quantity made of segments value(t) = target + (start - target)·exp(-(t - moment)/tau)."""

    __slots__ = ("_moments", "_starts", "_targets", "_taus")

    def __init__(self, value: float = 0.0) -> None:
        self._moments = [-math.inf]
        self._starts = [value]
        self._targets = [value]
        self._taus = [0.0]

    def set(self, moment: float, target: float, *, tau: float = 0.0, start: float | None = None) -> None:
        """From `moment` (never before the last one) go to `target`, at once or with time constant `tau` in seconds.

        `start` makes the quantity jump before it begins to approach.
        """
        start = target if tau == 0.0 else self.at(moment) if start is None else start
        if moment == self._moments[-1]:
            for part in (self._moments, self._starts, self._targets, self._taus):
                part.pop()
        self._moments.append(moment)
        self._starts.append(start)
        self._targets.append(target)
        self._taus.append(tau)
        if len(self._moments) > _PRUNE_AT:
            self._forget(moment - HISTORY)

    def cut(self, moment: float) -> None:
        """Forget what was to come after `moment`."""
        while self._moments[-1] > moment:
            for part in (self._moments, self._starts, self._targets, self._taus):
                part.pop()

    def at(self, moment: float) -> float:
        """Return the value at one moment."""
        row = -1 if moment >= self._moments[-1] else bisect_right(self._moments, moment) - 1
        tau = self._taus[row]
        if tau == 0.0:
            return self._targets[row]
        decay = math.exp(-(moment - self._moments[row]) / tau)
        return self._targets[row] + (self._starts[row] - self._targets[row]) * decay

    @property
    def target(self) -> float:
        """Where the quantity is going."""
        return self._targets[-1]

    @property
    def tau(self) -> float:
        """Time constant of the last segment in seconds; 0 for a step."""
        return self._taus[-1]

    def during(self, begin: float, end: float) -> "Trace | float":
        """Return what it is between two moments, whatever is set afterwards; a number where it rests."""
        if begin >= self._moments[-1] and self._settled(-1, begin):
            return self._targets[-1]
        first, last = self._rows(begin, end)
        if first == last and self._settled(first, begin):
            return self._targets[first]
        part = Trace.__new__(Trace)
        for name in Trace.__slots__:
            setattr(part, name, getattr(self, name)[first : last + 1])
        return part

    def sample(self, times: Samples) -> "Samples | float":
        """Return the values at `times`, or one number when the quantity rests all the while."""
        first, last = self._rows(float(times[0]), float(times[-1]))
        if first == last and self._settled(first, float(times[0])):
            return self._targets[first]
        values = np.empty_like(times)
        begins = [0, *np.searchsorted(times, self._moments[first + 1 : last + 1]).tolist(), len(times)]
        for row, begin, end in zip(range(first, last + 1), begins, begins[1:], strict=False):
            values[begin:end] = self._targets[row]
            if end > begin and not self._settled(row, float(times[begin])):
                settled = self._moments[row] + SETTLED * self._taus[row]
                moving = slice(begin, begin + int(np.searchsorted(times[begin:end], settled, side="right")))
                decay = np.exp((self._moments[row] - times[moving]) / self._taus[row])
                values[moving] += (self._starts[row] - self._targets[row]) * decay
        return values

    def changes(self, since: float, until: float) -> list[tuple[float, float]]:
        """Return (moment, target) of every change in the half-open interval, for whoever wants edges, not samples."""
        return [(m, v) for m, v in zip(self._moments, self._targets, strict=True) if since <= m < until]

    def _rows(self, begin: float, end: float) -> tuple[int, int]:
        """Return the segments that two moments are in."""
        return bisect_right(self._moments, begin) - 1, bisect_right(self._moments, end) - 1

    def _settled(self, row: int, moment: float) -> bool:
        return self._taus[row] == 0.0 or moment - self._moments[row] > SETTLED * self._taus[row]

    def _forget(self, before: float) -> None:
        first = max(bisect_right(self._moments, before) - 1, 0)
        for part in (self._moments, self._starts, self._targets, self._taus):
            del part[:first]
