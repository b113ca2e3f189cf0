"""State of a signal against two thresholds.

A sample is *above* at or over `high`, *below* at or under `low`, and neither in between (nor when it is not a number).
The state changes only when the other side is reached, so noise on one threshold makes no edges. Positions and
directions are separate arrays: a sign on an index cannot tell an edge at sample 0.

A change seen as a jump happened anywhere between two samples: its moment is midway and its doubt one gap. A change that
has samples on its slope is where a straight line meets the middle of the thresholds. A stamped change is where it was
stamped.

Records are passed in chunks that stay in the processor's cache: a comparison per threshold, then a search from change
to change. A chunk after a quiet one is asked only whether it reaches the other side at all.

Source: two reference levels with hysteresis and linear interpolation between the straddling samples as in
IEEE 181-2011 (from memory); the chunking is measured practice.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.series import Moments, Positions, Sampled, Series, Stamped, Uneven, Values

CHUNK = 1 << 18
"""Samples per pass: a mebibyte of 32-bit floats, which stays in the cache between the two comparisons."""

FEW = 128
"""Changes that are searched one by one in a chunk; more of them are quicker put in order together (measured)."""

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

    def at(self, moment: float) -> bool | None:
        """Return the state at a moment in seconds, that of a change included; before the begin the first one."""
        changed = int(np.searchsorted(self.moments, moment, side="right"))
        return bool(self.rising[changed - 1]) if changed else self.first


def states(series: Series, *, low: float, high: float) -> States:
    """Return a series as changes of state; thresholds in the unit of its values, not used for stamped changes.

    Raises ValueError unless `low` lies below `high`.
    """
    if isinstance(series, Stamped):
        return _stamped(series)
    found = crossings(series.values, low=low, high=high)
    moments, doubts = _located(series, found, low, high)
    missing = unread(series.values)
    return States(
        moments=moments,
        doubts=doubts,
        rising=found.rising,
        first=found.first,
        begin=series.begin,
        end=series.end,
        gap=_longest_blind(series) if missing else series.gap,
        unread=missing,
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
    values, after = series.values, found.index.copy()
    before = _last_number(values, after - 1)
    on_slope = (values[before] > low) & (values[before] < high)
    middle = (low + high) / 2
    for edge in np.flatnonzero(on_slope):
        before[edge], after[edge] = straddling(values, int(after[edge]), middle, rising=bool(found.rising[edge]))
    start, stop = values[before].astype(float), values[after].astype(float)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.clip((middle - start) / (stop - start), 0.0, 1.0)
    share = np.where(on_slope & np.isfinite(share), share, 0.5)
    begin, end = series.moments(before), series.moments(after)
    return begin + share * (end - begin), np.asarray(end - begin)


def straddling(values: Values, arrived: int, middle: float, *, rising: bool) -> tuple[int, int]:
    """Return the last two samples up to `arrived` with `middle` between them: one on the old side, one on the new.

    Samples that are not numbers are left out; both are `arrived` when no sample before it is on the old side. The look
    back is in stretches that grow, so that a slow slope costs its own length and no more.
    """
    stop, length = arrived, 16
    while stop > 0:
        start = max(0, stop - length)
        part = values[start:stop]
        old = np.flatnonzero(part < middle if rising else part > middle)
        if old.size:
            before = start + int(old[-1])
            new = values[before + 1 : arrived + 1]
            return before, before + 1 + int(np.argmax(~np.isnan(new)))
        stop, length = start, 2 * length
    return arrived, arrived


def _last_number(values: Values, positions: Positions) -> Positions:
    """Return, for each position, itself or the last one before it that is a number; 0 where there is none."""
    found = np.maximum(positions, 0)
    while (missing := np.isnan(values[found]) & (found > 0)).any():
        found = np.where(missing, found - 1, found)
    return found


def _longest_blind(series: Sampled | Uneven) -> float:
    """Return the longest time in seconds without a number, from the first sample to the last."""
    longest, last = 0.0, 0
    for start, part in chunks(series.values):
        seen = np.concatenate(([last], np.flatnonzero(~np.isnan(part)) + start))
        last = int(seen[-1])
        longest = max(longest, float(np.diff(series.moments(seen)).max(initial=0.0)))
    return max(longest, series.end - float(series.moments(last)))


def unread(values: Values) -> int:
    """Return how many samples are not numbers."""
    if not np.issubdtype(values.dtype, np.floating):
        return 0
    # a minimum is not a number when one sample is not, and is quicker than a look at each
    return sum(int(np.isnan(part).sum()) for _, part in chunks(values) if np.isnan(part.min()))


def chunks(values: Values, length: int = CHUNK) -> Iterator[tuple[int, Values]]:
    """Yield stretches of an array with the position of their first sample."""
    for start in range(0, values.size, length):
        yield start, values[start : start + length]


def ends(values: Values) -> tuple[float, float]:
    """Return the lowest and the highest value; (inf, -inf) of none."""
    return (float(values.min()), float(values.max())) if values.size else (np.inf, -np.inf)


def crossings(samples: Values, *, low: float, high: float, chunk: int = CHUNK) -> Crossings:
    """Return every change of state; the first state itself is not a change.

    Raises ValueError unless `low` lies below `high`.
    """
    if not low < high:
        raise ValueError(f"threshold low {low!r} is not below high {high!r}")
    below, above = (_as_stored(threshold, samples.dtype, up=up) for threshold, up in ((low, False), (high, True)))
    if not below < above:
        raise ValueError(f"thresholds {low!r} and {high!r} are one and the same in samples of {samples.dtype}")
    comparator = _Comparator(low=below, high=above, chunk=min(chunk, samples.size))
    for start, part in chunks(samples, chunk):
        comparator.watch(part, start)
    return comparator.changes()


def _as_stored(threshold: float, dtype: np.dtype[Any], *, up: bool) -> Any:
    """Return a threshold as the samples are stored, so that no sample is converted; whole for whole numbers."""
    if not np.issubdtype(dtype, np.floating):
        return threshold if np.isinf(threshold) else math.ceil(threshold) if up else math.floor(threshold)
    with np.errstate(over="ignore"):
        return dtype.type(threshold)


class _Comparator:
    """Two comparisons per sample into bytes of 0 and 1, then from change to change by a search for the next 1.

    The search is the C library's for a byte, the quickest there is over what does not change; where a chunk has many
    changes, the beginnings of all runs are put in order instead.
    """

    def __init__(self, *, low: Any, high: Any, chunk: int) -> None:
        self.low, self.high = low, high
        self.state: bool | None = None
        self.first: bool | None = None
        self.quiet = False
        self.places: list[Positions] = []
        self.above, self.below = bytearray(chunk), bytearray(chunk)

    def watch(self, part: Values, start: int) -> None:
        """Look for changes in the next stretch of samples, which begins at sample `start` of the record."""
        if self.quiet and self._stays(part):
            return
        above, below = (np.frombuffer(flags, np.bool_)[: part.size] for flags in (self.above, self.below))
        np.greater_equal(part, self.high, out=above)
        np.less_equal(part, self.low, out=below)
        few = self._searched(part.size)
        self.quiet = not few
        self.places.append(np.array(few, np.intp) + start)
        if len(few) == FEW:
            self.places.append(self._sorted(above[few[-1] :], below[few[-1] :]) + few[-1] + start)

    def changes(self) -> Crossings:
        """Return what was found; each change is to the other state."""
        index = np.concatenate(self.places) if self.places else np.empty(0, np.intp)
        return Crossings(index=index, rising=(np.arange(index.size) % 2 == 0) != bool(self.first), first=self.first)

    def _stays(self, part: Values) -> bool:
        """Return whether no sample reaches the other side; False also when that cannot be told so quickly."""
        if self.state is None:
            return False
        return bool(part.min() > self.low) if self.state else bool(part.max() < self.high)

    def _searched(self, size: int) -> list[int]:
        """Return the first changes, FEW at most."""
        if self.state is None and not self._begun(size):
            return []
        place, found = 0, list[int]()
        while len(found) < FEW:
            place = (self.below if self.state else self.above).find(1, place, size)
            if place < 0:
                break
            found.append(place)
            self.state = not self.state
            place += 1
        return found

    def _begun(self, size: int) -> bool:
        """Return whether a first state was found, and keep it."""
        ups, downs = (flags.find(1, 0, size) for flags in (self.above, self.below))
        if ups < 0 and downs < 0:
            return False
        self.state = self.first = downs < 0 or 0 <= ups <= downs
        return True

    def _sorted(self, above: NDArray[np.bool_], below: NDArray[np.bool_]) -> Positions:
        """Return the changes after the first sample, whose state is known."""
        ups, downs = (np.flatnonzero(flags[1:] > flags[:-1]) + 1 for flags in (above, below))
        index = np.concatenate((ups, downs))
        order = np.argsort(index, kind="stable")
        sides = order < ups.size
        kept = sides != np.concatenate(([bool(self.state)], sides[:-1]))
        self.state = bool(self.state) ^ bool(kept.sum() % 2)
        return np.asarray(index[order][kept])


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
