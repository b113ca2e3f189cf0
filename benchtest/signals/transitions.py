"""State levels, reference levels and transitions of a record with two states.

State levels come from a histogram over the record's whole range, split at mid-range: of each half the middle of its
fullest bin (`mode`, which overshoot does not move) or its mean. The bin count is part of the answer, since the mode
moves by up to half a bin with it. Reference levels are shares of the swing from low (0 %) to high (100 %); a crossing
lies on the straight line between the two samples that straddle it.

What is no number or lies outside the given range of the converter is left out and counted. A record with one level has
no second one to measure a swing with; that is said, not guessed.

Source: IEEE 181-2011, waveform state levels, percent reference levels, transition duration (clauses from memory);
how many spreads keep two levels apart is our choice.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import accumulate
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.found import Found
from benchtest.signals.levels import chunks, crossings, ends, straddling
from benchtest.signals.series import Sampled, Series, Stamped, Uneven, Values

Method = Literal["mode", "mean"]

BINS: Final = 100
"""Bins of the histogram, even so that mid-range is an edge."""
APART: Final = 6.0
"""Spreads between two levels at least. A sine shows 3.9, noise around one level 2.7, a ramp 2.7 (computed)."""
FEWEST: Final = 3
"""Samples that make a level; one alone may be a spike."""
SITTING: Final = 10
"""Times that the extreme value occurs more often than the next one where a record is clipped; a sine, which is slow at
its peak, shows 2.4 in codes of a converter (computed)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Levels:
    """The two states of a record."""

    low: float | None
    """Level of 0 %, in the unit of the samples; None when there are not two levels."""
    high: float | None
    """Level of 100 %."""
    method: Method
    bins: int
    used: int
    """Samples that were counted."""
    unread: int
    """Samples left out because they were not numbers."""
    saturated: int
    """Samples left out because they were at or beyond the ends of the converter."""
    clipped: bool
    """The samples used sit at their own lowest or highest value: what lies beyond it was not seen."""
    reason: str = ""
    """Why there are not two levels."""

    def reference(self, percent: float) -> float:
        """Return the reference level at a percentage of the swing. Raises ValueError when there are not two levels."""
        if self.low is None or self.high is None:
            raise ValueError(f"no reference level of {percent:g} %: {self.reason}")
        return self.low + (self.high - self.low) * percent / 100


@dataclass(frozen=True, kw_only=True, slots=True)
class Transition:
    """One change from state to state; moments are seconds of the series."""

    rising: bool
    begin: float
    """Crossing of the first reference level on the way."""
    middle: float
    """Crossing of 50 %."""
    end: float
    """Crossing of the other reference level."""
    duration: Found
    """Seconds from begin to end; undecided when no sample lies on the slope."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Thresholds:
    """Two thresholds for a record whose levels nobody stated."""

    low: float | None
    """None when the record does not show two levels."""
    high: float | None
    percent: tuple[float, float]
    levels: Levels


@dataclass(frozen=True, kw_only=True, slots=True)
class _Range:
    lowest: float
    highest: float
    used: int
    unread: int
    saturated: int
    sitting: bool


def state_levels(
    series: Series,
    *,
    method: Method = "mode",
    bins: int = BINS,
    saturation: tuple[float, float] | None = None,
    resolution: float = 0.0,
) -> Levels:
    """Return the levels of a record's two states, in the unit of its samples.

    `saturation` is where the converter ends: samples at or beyond are left out. `resolution` is its step: a swing of
    less than four steps is none. Raises ValueError unless `bins` is even and positive.
    """
    if bins < 2 or bins % 2:
        raise ValueError(f"{bins} bins (expected an even number, so that mid-range is an edge between two)")
    if isinstance(series, Stamped):
        return _no_levels("stamped changes carry no levels", None, method, bins)
    span = _range(series.values, saturation)
    if span is None:
        return _no_levels("no sample could be read", None, method, bins)
    swing = span.highest - span.lowest
    if not swing > 4 * resolution:
        return _no_levels("one level only", span, method, bins)
    counts, means = _histogram(series.values, saturation, span, bins)
    if why := _one_level(counts, bins):
        return _no_levels(why, span, method, bins)
    low, high = means if method == "mean" else _modes(counts, span)
    return Levels(
        low=low,
        high=high,
        method=method,
        bins=bins,
        used=span.used,
        unread=span.unread,
        saturated=span.saturated,
        clipped=span.sitting,
    )


def _no_levels(reason: str, span: _Range | None, method: Method, bins: int) -> Levels:
    return Levels(
        low=None,
        high=None,
        method=method,
        bins=bins,
        used=span.used if span else 0,
        unread=span.unread if span else 0,
        saturated=span.saturated if span else 0,
        clipped=span.sitting if span else False,
        reason=reason,
    )


def _usable(values: Values, saturation: tuple[float, float] | None) -> Iterator[tuple[Values, int, int]]:
    """Yield usable samples in stretches, with how many were no numbers and how many saturated."""
    for _, part in chunks(values):
        numbers = part[np.isfinite(part)]
        inside = numbers
        if saturation is not None:
            inside = numbers[(numbers > saturation[0]) & (numbers < saturation[1])]
        yield inside, part.size - numbers.size, numbers.size - inside.size


def _range(values: Values, saturation: tuple[float, float] | None) -> _Range | None:
    """Return the extremes of what can be used; None when nothing can."""
    used = unread = saturated = 0
    lowest, highest = np.inf, -np.inf
    for inside, missing, beyond in _usable(values, saturation):
        used, unread, saturated = used + inside.size, unread + missing, saturated + beyond
        low, high = ends(inside)
        lowest, highest = min(lowest, low), max(highest, high)
    if not used:
        return None
    sitting = any(_sits(values, saturation, lowest, highest, sign=sign) for sign in (1.0, -1.0))
    return _Range(lowest=lowest, highest=highest, used=used, unread=unread, saturated=saturated, sitting=sitting)


def _sits(
    values: Values, saturation: tuple[float, float] | None, lowest: float, highest: float, *, sign: float
) -> bool:
    """Return whether the extreme value is far more common than the next one, in a record that has others between."""
    extreme = highest if sign > 0 else lowest
    counts: dict[float, int] = {}
    between = 0
    for inside, _, _ in _usable(values, saturation):
        counts[extreme] = counts.get(extreme, 0) + int(np.count_nonzero(inside == extreme))
        rest = inside[(inside > lowest) & (inside < highest)]
        between += rest.size
        if rest.size:
            nearest = float(rest.max() if sign > 0 else rest.min())
            counts[nearest] = counts.get(nearest, 0) + int(np.count_nonzero(rest == nearest))
    if between < BINS // 10 or len(counts) < 2:
        return False
    others = [value for value in counts if value != extreme]
    nearest = max(others) if sign > 0 else min(others)
    return counts[extreme] >= SITTING * counts[nearest]


def _histogram(
    values: Values, saturation: tuple[float, float] | None, span: _Range, bins: int
) -> tuple[NDArray[np.int64], tuple[float, float]]:
    """Return the counts of all bins, and the mean of each half."""
    counts, middle = np.zeros(bins, np.int64), (span.lowest + span.highest) / 2
    sums, sizes = [0.0, 0.0], [0, 0]
    for inside, _, _ in _usable(values, saturation):
        counts += np.histogram(inside, bins=bins, range=(span.lowest, span.highest))[0]
        upper = inside >= middle
        for half, part in enumerate((inside[~upper], inside[upper])):
            sums[half] += float(part.sum(dtype=np.float64))
            sizes[half] += part.size
    low, high = (total / max(size, 1) for total, size in zip(sums, sizes, strict=True))
    return counts, (low, high)


def _modes(counts: NDArray[np.int64], span: _Range) -> tuple[float, float]:
    """Return the middles of the fullest bin below and above mid-range; of equal ones the lowest."""
    half, width = counts.size // 2, (span.highest - span.lowest) / counts.size
    lower, upper = int(np.argmax(counts[:half])), half + int(np.argmax(counts[half:]))
    return span.lowest + (lower + 0.5) * width, span.lowest + (upper + 0.5) * width


def _one_level(counts: NDArray[np.int64], bins: int) -> str:
    """Return why a histogram does not show two levels; empty when it does."""
    halves = counts[: bins // 2], counts[bins // 2 :]
    if min(int(half.sum()) for half in halves) < FEWEST:
        return f"one level only: fewer than {FEWEST} samples on one side of mid-range"
    quartiles = [_quartiles(half) for half in halves]
    spread = max((upper - lower) / 1.349 for lower, _, upper in quartiles)  # of a normal distribution
    apart = bins // 2 + quartiles[1][1] - quartiles[0][1]
    return "" if apart >= APART * spread else f"no two separate levels: only {apart / spread:.1f} spreads apart"


def _quartiles(counts: NDArray[np.int64]) -> tuple[int, int, int]:
    """Return the bins in which the quartiles lie."""
    filled = list(accumulate(counts.tolist()))
    first, second, third = (int(np.searchsorted(filled, filled[-1] * share)) for share in (0.25, 0.5, 0.75))
    return first, second, third


def suggest_thresholds(
    series: Series,
    *,
    percent: tuple[float, float] = (30.0, 70.0),
    saturation: tuple[float, float] | None = None,
    resolution: float = 0.0,
) -> Thresholds:
    """Return thresholds at two percentages of the swing, 30 and 70 or 10 and 90 for instance.

    None where the record shows one level only: then the levels must come from who knows the signal. Raises ValueError
    unless 0 < first < second < 100.
    """
    if not 0 < percent[0] < percent[1] < 100:
        raise ValueError(f"thresholds at {percent[0]:g} % and {percent[1]:g} % (expected 0 < low < high < 100)")
    levels = state_levels(series, saturation=saturation, resolution=resolution)
    if levels.reason:
        return Thresholds(low=None, high=None, percent=percent, levels=levels)
    low, high = map(levels.reference, percent)
    return Thresholds(low=low, high=high, percent=percent, levels=levels)


def transitions(
    series: Sampled | Uneven, levels: Levels, *, percent: tuple[float, float] = (10.0, 90.0)
) -> tuple[Transition, ...]:
    """Return every whole transition between two percent reference levels, in order.

    Raises ValueError when `levels` has no two levels.
    """
    low, middle, high = (levels.reference(share) for share in (percent[0], 50.0, percent[1]))
    found = crossings(series.values, low=low, high=high)
    return tuple(
        _transition(series, int(index), (low, middle, high), rising=bool(rising))
        for index, rising in zip(found.index, found.rising, strict=True)
    )


def _transition(
    series: Sampled | Uneven, arrived: int, references: tuple[float, float, float], *, rising: bool
) -> Transition:
    """Return the transition that reaches the new state at sample `arrived`."""
    on_the_way = references if rising else references[::-1]
    pairs = [straddling(series.values, arrived, level, rising=rising) for level in on_the_way]
    begin, middle, end = (_met(series, *pair, level) for pair, level in zip(pairs, on_the_way, strict=True))
    gaps = [float(np.diff(series.moments(pair)).item()) for pair in (pairs[0], pairs[-1])]
    if pairs[0] == pairs[-1]:
        duration = Found.unknown(f"no sample on the slope: shorter than {gaps[0]:g} s")
    else:
        duration = Found.known(end - begin, sum(gaps))
    return Transition(rising=rising, begin=begin, middle=middle, end=end, duration=duration)


def _met(series: Sampled | Uneven, before: int, after: int, level: float) -> float:
    """Return the seconds at which the straight line between two samples meets a level."""
    start, stop = float(series.values[before]), float(series.values[after])
    first, last = (float(moment) for moment in series.moments((before, after)))
    return first if start == stop else first + (last - first) * (level - start) / (stop - start)
