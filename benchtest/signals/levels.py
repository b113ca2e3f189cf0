"""State of a signal against two thresholds.

A sample is *above* at or over `high`, *below* at or under `low`, and neither in between (nor when it is not a number).
The state changes only when the other side is reached, so noise on one threshold makes no edges. Positions and
directions are separate arrays: a sign on an index cannot tell an edge at sample 0.

A change seen as a jump happened anywhere between two samples: its moment is midway and its doubt one gap. A change that
has samples on its slope is where a straight line meets the middle of the thresholds. A stamped change is where it was
stamped.

Records are passed in chunks that stay in the processor's cache: a comparison per threshold and a search for changes of
each, so that the work beyond reading the samples does not grow with what stays on one side.

Source: two reference levels with hysteresis and linear interpolation between the straddling samples as in
IEEE 181-2011 (from memory); the chunking is measured practice.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.series import Moments, Positions, Sampled, Series, Stamped, Uneven, Values

CHUNK = 1 << 17
"""Samples per pass: half a mebibyte of 32-bit floats."""

SLOPE = 1 << 16
"""Samples that a slope is followed back at most; a slower one is taken at its last samples."""

Samples = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Crossings:
    """Where a signal changed its state."""

    index: Positions
    """First sample in the new state."""
    rising: NDArray[np.bool_]
    """True where the new state is above."""
    first: bool | None
    """State of the first decided sample: True above, False below, None when no sample is decided."""

    @property
    def last(self) -> bool | None:
        """State at the end."""
        return bool(self.rising[-1]) if self.rising.size else self.first


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class States:
    """A signal as times of one state and the other, however it was recorded."""

    moments: Moments
    """Seconds of the changes."""
    doubts: Moments
    """Full width in seconds of the interval in which each change lies."""
    rising: NDArray[np.bool_]
    """State after each change: True is above."""
    first: bool | None
    """State at the begin: True above, False below, None when it is not known."""
    begin: float
    """Seconds from which it was watched."""
    end: float
    """Seconds until which it was watched."""
    gap: float
    """Seconds of the longest time without a look: something shorter may have been missed. 0 where stamps tell all."""
    unread: int = 0
    """Samples that were not numbers."""

    @property
    def last(self) -> bool | None:
        """State at the end."""
        return bool(self.rising[-1]) if self.rising.size else self.first


def states(series: Series, *, low: float, high: float) -> States:
    """Return a series as changes of state; thresholds in the unit of its values, not used for stamped changes.

    Raises ValueError unless `low` lies below `high`.
    """
    if isinstance(series, Stamped):
        return _stamped(series)
    found = crossings(series.values, low=low, high=high)
    moments, doubts = _located(series, found, low, high)
    return States(
        moments=moments,
        doubts=doubts,
        rising=found.rising,
        first=found.first,
        begin=series.begin,
        end=series.end,
        gap=series.gap,
        unread=unread(series.values),
    )


def _stamped(series: Stamped) -> States:
    """Drop stamps that change nothing."""
    known = series.first
    if known is None and series.rising.size:
        known = not series.rising[0]
    changed = series.rising != np.concatenate(([bool(known)], series.rising))[:-1]
    times = series.times[changed]
    return States(
        moments=times,
        doubts=np.full(times.shape, series.resolution),
        rising=series.rising[changed],
        first=known,
        begin=series.begin,
        end=series.end,
        gap=series.resolution,
    )


def _located(series: Sampled | Uneven, found: Crossings, low: float, high: float) -> tuple[Moments, Moments]:
    """Return seconds and doubts of changes: midway of a jump, on the line of a slope that has samples on it.

    The straight line is an assumption, so the doubt of a slope is that of a jump: the gap it lies in.
    """
    values, after = series.values, found.index
    before = _last_number(values, after - 1)
    on_slope = (values[before] > low) & (values[before] < high)
    middle = (low + high) / 2
    for _ in range(SLOPE):  # back to the two samples that straddle the middle
        beyond = on_slope & ((values[before] >= middle) == found.rising) & (before > 0)
        if not beyond.any():
            break
        after = np.where(beyond, before, after)
        before = np.where(beyond, _last_number(values, before - 1), before)
    start, stop = values[before].astype(float), values[after].astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip((middle - start) / (stop - start), 0.0, 1.0)
    share = np.where(on_slope & np.isfinite(share), share, 0.5)
    begin, end = series.moments(before), series.moments(after)
    return begin + share * (end - begin), np.asarray(end - begin)


def _last_number(values: Values, positions: Positions) -> Positions:
    """Return, for each position, itself or the last one before it that is a number; 0 where there is none."""
    found = np.maximum(positions, 0)
    while (missing := np.isnan(values[found]) & (found > 0)).any():
        found = np.where(missing, found - 1, found)
    return found


def unread(values: Values) -> int:
    """Return how many samples are not numbers."""
    if not np.issubdtype(values.dtype, np.floating):
        return 0
    return sum(int(np.isnan(part).sum()) for _, part in chunks(values))


def chunks(values: Values, length: int = CHUNK) -> Iterator[tuple[int, Values]]:
    """Yield stretches of an array with the position of their first sample."""
    for start in range(0, values.size, length):
        yield start, values[start : start + length]


def crossings(samples: Values, *, low: float, high: float, chunk: int = CHUNK) -> Crossings:
    """Return every change of state; the first state itself is not a change.

    Raises ValueError unless `low` lies below `high`.
    """
    if not low < high:
        raise ValueError(f"threshold low {low!r} is not below high {high!r}")
    state = 0  # 1 above, -1 below, 0 not decided yet
    was_above = was_below = False
    positions: list[Positions] = []
    directions: list[NDArray[np.int8]] = []
    for start, part in chunks(samples, chunk):
        above, below = part >= high, part <= low
        index, sides = _arrivals(above, below, was_above=was_above, was_below=was_below)
        was_above, was_below = bool(above[-1]), bool(below[-1])
        if not index.size:
            continue
        kept = sides != np.concatenate(([state], sides[:-1]))
        state = int(sides[-1])
        positions.append(index[kept] + start)
        directions.append(sides[kept])
    return _without_the_first(positions, directions)


def _arrivals(
    above: NDArray[np.bool_], below: NDArray[np.bool_], *, was_above: bool, was_below: bool
) -> tuple[Positions, NDArray[np.int8]]:
    """Return where a sample is on a side and the one before was not, in order, and which side: 1 above, -1 below."""
    ups, downs = _begins(above, before=was_above), _begins(below, before=was_below)
    index = np.concatenate((ups, downs))
    sides = np.repeat(np.array([1, -1], np.int8), (ups.size, downs.size))
    order = np.argsort(index, kind="stable")
    return index[order], sides[order]


def _begins(flags: NDArray[np.bool_], *, before: bool) -> Positions:
    """Return where flags become true."""
    begins = np.flatnonzero(flags[1:] > flags[:-1]) + 1
    return np.concatenate(([0], begins)) if flags[0] and not before else begins


def _without_the_first(positions: list[Positions], directions: list[NDArray[np.int8]]) -> Crossings:
    """Return the changes; the first arrival says the first state."""
    if not positions:
        return Crossings(index=np.empty(0, np.intp), rising=np.empty(0, np.bool_), first=None)
    index, rising = np.concatenate(positions), np.concatenate(directions) > 0
    return Crossings(index=index[1:], rising=rising[1:], first=bool(rising[0]))


def interpolated(samples: Values, index: int, threshold: float) -> float:
    """Return where the straight line from the sample before `index` to it meets the threshold, in samples.

    For signals that pass slowly; a contact jumps, and its moment is anywhere between the two samples.
    Returns `index` itself when there is no sample before it or the line does not meet the threshold.
    """
    if index == 0:
        return 0.0
    before, after = float(samples[index - 1]), float(samples[index])
    if before == after or not min(before, after) <= threshold <= max(before, after):
        return float(index)
    return index - 1 + (threshold - before) / (after - before)
