"""One physical quantity over time: constant pieces and exponential approaches, kept as segments and not as samples.

Strategy: the world only says when a quantity changes and whither. Sample values are worked out afterwards, for the
moments that somebody asks for, in a few passes. History older than the longest capture is dropped.
"""

import math
from bisect import bisect_right
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from benchtest.instruments import LONGEST_VIRTUAL

Samples = NDArray[np.float64]

HISTORY: Final = 2 * LONGEST_VIRTUAL
"""Seconds that are kept; no capture may last longer."""
SETTLED: Final = 40.0
"""Time constants after which an approach has ended: exp(-40) is below the last bit of a double."""
_PRUNE_AT: Final = 512


class Segment(NamedTuple):
    """value(t) = target + (start - target)·exp(-(t - moment)/tau), from its moment to that of the next."""

    start: float
    target: float
    tau: float
    """Seconds; 0 for a step."""


class Trace:
    """A quantity made of segments."""

    __slots__ = ("_moments", "_segments")

    def __init__(self, value: float = 0.0) -> None:
        self._moments = [-math.inf]
        self._segments = [Segment(value, value, 0.0)]

    def set(self, moment: float, target: float, *, tau: float = 0.0, start: float | None = None) -> None:
        """From `moment` (never before the last one) go to `target`, at once or with time constant `tau` in seconds.

        `start` makes the quantity jump before it begins to approach.
        """
        start = target if tau == 0.0 else self.at(moment) if start is None else start
        if moment == self._moments[-1]:
            self._moments.pop()
            self._segments.pop()
        self._moments.append(moment)
        self._segments.append(Segment(start, target, tau))
        if len(self._moments) > _PRUNE_AT:
            self._forget(moment - HISTORY)

    def cut(self, moment: float) -> None:
        """Forget what was to come after `moment`."""
        while self._moments[-1] > moment:
            self._moments.pop()
            self._segments.pop()

    def at(self, moment: float) -> float:
        """Return the value at one moment."""
        row = -1 if moment >= self._moments[-1] else bisect_right(self._moments, moment) - 1
        start, target, tau = self._segments[row]
        return target if tau == 0.0 else target + (start - target) * math.exp(-(moment - self._moments[row]) / tau)

    @property
    def target(self) -> float:
        """Where the quantity is going."""
        return self._segments[-1].target

    @property
    def tau(self) -> float:
        """Time constant of the last segment in seconds; 0 for a step."""
        return self._segments[-1].tau

    def during(self, begin: float, end: float) -> "Trace | float":
        """Return what it is between two moments, whatever is set afterwards; a number where it rests."""
        first = last = -1
        if begin < self._moments[-1]:
            first, last = self._rows(begin, end)
        if first == last and self._settled(first, begin):
            return self._segments[first].target
        part = Trace()
        rows = slice(first, last + 1 or None)
        part._moments, part._segments = self._moments[rows], self._segments[rows]
        return part

    def sample(self, times: Samples) -> "Samples | float":
        """Return the values at `times`, or one number when the quantity rests all the while."""
        first, last = self._rows(float(times[0]), float(times[-1]))
        if first == last and self._settled(first, float(times[0])):
            return self._segments[first].target
        moments, segments = self._moments[first : last + 1], self._segments[first : last + 1]
        begins = times.searchsorted(moments)
        begins[0] = 0
        ends = np.concatenate((begins[1:], (times.size,)))
        values: Samples = np.array([segment.target for segment in segments]).repeat(ends - begins)
        if any(segment.tau for segment in segments):
            taus = np.array([segment.tau for segment in segments])
            gaps = np.array([segment.start - segment.target for segment in segments])
            # what still approaches is a few samples after each change, numbered here one segment after the other
            settled = np.minimum(times.searchsorted(moments + SETTLED * taus, side="right"), ends)
            counts = np.where(taus > 0.0, np.maximum(settled - begins, 0), 0)
            rows = np.arange(counts.size).repeat(counts)
            places = np.arange(rows.size) + (begins + counts - counts.cumsum())[rows]
            decay = np.exp((np.array(moments)[rows] - times[places]) / taus[rows])
            values[places] += gaps[rows] * decay
        return values

    def changes(self, since: float, until: float) -> list[tuple[float, float]]:
        """Return (moment, target) of every change in the half-open interval, for whoever wants edges, not samples."""
        known = zip(self._moments, self._segments, strict=True)
        return [(moment, segment.target) for moment, segment in known if since <= moment < until]

    def _rows(self, begin: float, end: float) -> tuple[int, int]:
        """Return the segments that two moments are in."""
        return bisect_right(self._moments, begin) - 1, bisect_right(self._moments, end) - 1

    def _settled(self, row: int, moment: float) -> bool:
        tau = self._segments[row].tau
        return tau == 0.0 or moment - self._moments[row] > SETTLED * tau

    def _forget(self, before: float) -> None:
        first = max(bisect_right(self._moments, before) - 1, 0)
        del self._moments[:first], self._segments[:first]
