"""Alternating signals over whole cycles: r.m.s., frequency, crest factor.

Cycles are cut where the signal rises through the middle between its extremes, with hysteresis, so that noise cuts
none, and a d.c. offset moves the middle with it. A whole number of cycles has no error of its window but for its two
ends. `alternating` serves every series: each sample stands for the time nearest to it, so that an uneven time column
weighs right, and the ends lie between samples. `effective` does it for the bare samples of a recording.

Source: IEC 61000-4-30 measures over whole cycles from zero crossings (second hand); the factors of the waveforms follow
from their definition.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from benchtest.metrology.uncertainty import scatter_of_mean
from benchtest.signals.found import Found
from benchtest.signals.levels import Samples, chunks, crossings, ends, states
from benchtest.signals.series import Sampled, Uneven, stretch

HYSTERESIS: Final = 0.2
"""Of half the swing, on each side of the middle: over the noise, under every waveform's slope (common practice)."""

UNSTEADY: Final = 1.5
"""Times the usual cycle that one may last; a longer one hides a drop-out (common practice)."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Effective:
    """R.m.s. of a stretch of signal."""

    value: float
    cycles: int
    """Whole cycles that it was taken over; 0 when the stretch has none and was taken whole."""
    scatter: float
    """Standard uncertainty from the differences between cycles."""
    ends: float
    """Half-width of what the broken samples at both ends may change."""
    alternating: float
    """R.m.s. of the stretch without its mean."""


def effective(samples: Samples) -> Effective:
    """Return the r.m.s. over all whole cycles in `samples`, which are not empty."""
    starts = _cycle_starts(samples)
    alternating = float(samples.std())
    if starts.size < 2:
        value = float(np.sqrt(np.mean(samples * samples)))
        return Effective(value=value, cycles=0, scatter=0.0, ends=0.0, alternating=alternating)
    first, last = int(starts[0]), int(starts[-1])
    squares = samples[first:last] ** 2
    value = float(np.sqrt(squares.mean()))
    lengths = np.diff(starts)
    each = np.sqrt(np.add.reduceat(squares, starts[:-1] - first) / lengths)
    ends = value * 0.5 / (last - first)  # one sample more or less changes the mean square by its share
    return Effective(
        value=value, cycles=lengths.size, scatter=scatter_of_mean(each), ends=ends, alternating=alternating
    )


def _cycle_starts(samples: Samples) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    low, high = float(samples.min()), float(samples.max())
    middle, band = (low + high) / 2, (high - low) / 2 * HYSTERESIS
    if not band > 0:
        return np.empty(0, np.intp)
    changes = crossings(samples, low=middle - band, high=middle + band)
    return changes.index[changes.rising]


@dataclass(frozen=True, kw_only=True, slots=True)
class Turns:
    """The whole cycles in a stretch."""

    begin: float
    """Seconds of the first rise through the middle; -inf when the stretch has fewer than one cycle."""
    end: float
    """Seconds of the last; inf likewise."""
    count: int
    doubt: float
    """Seconds in which begin and end lie, together."""
    longest: float
    """Of the cycles, as a multiple of the usual one."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Extremes:
    """Lowest and highest sample of a stretch; the lowest is above the highest when none could be read."""

    lowest: float
    highest: float
    unread: int
    """Samples that were not finite numbers."""

    @property
    def middle(self) -> float:
        """Half-way between them."""
        return self.lowest / 2 + self.highest / 2

    def reaches(self, saturation: tuple[float, float] | None) -> bool:
        """Return whether a sample is at or beyond an end of the converter."""
        return saturation is not None and (self.lowest <= saturation[0] or self.highest >= saturation[1])


@dataclass(frozen=True, kw_only=True, slots=True)
class Sums:
    """Time-weighted mean, root mean square deviation from it, and largest sample of either sign."""

    mean: float
    deviation: float
    peak: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Alternating:
    """An alternating voltage or current over its whole cycles."""

    effective: Found
    """R.m.s., its mean included."""
    mean: Found
    """The d.c. part."""
    alternating: Found
    """R.m.s. without the mean."""
    peak: Found
    """Largest deviation from zero, either sign."""
    crest: Found
    """Peak over r.m.s."""
    frequency: Found
    """Hertz."""
    cycles: int
    unread: int
    """Samples left out because they were not numbers."""


def alternating(
    series: Sampled | Uneven,
    *,
    since: float = -np.inf,
    until: float = np.inf,
    saturation: tuple[float, float] | None = None,
) -> Alternating:
    """Return what an alternating signal is over its whole cycles between two moments in seconds.

    Where samples are at or beyond `saturation` the peaks are clipped: frequency and cycles stand, the rest is
    undecided. So is everything for less than one whole cycle, and where one cycle is longer than UNSTEADY usual ones.
    """
    part = stretch(series, since=since, until=until)
    span = extremes(part)
    turns = whole(part, span)
    if why := _no_cycles(turns, span):
        return _undecided(turns, span.unread, Found.unknown(why), why)
    frequency = turns.count / (turns.end - turns.begin)
    steady = Found.known(frequency, frequency * turns.doubt / (turns.end - turns.begin))
    if span.reaches(saturation):
        return _undecided(turns, span.unread, steady, "the peaks are clipped: the converter was at its end")
    return _measured(turns, span.unread, steady, summed(part, begin=turns.begin, end=turns.end, around=span.middle))


def _no_cycles(turns: Turns, span: Extremes) -> str:
    """Return why cycles cannot be used; empty when they can."""
    if not span.lowest <= span.highest:
        return "no sample could be read"
    if not turns.count:
        return "less than one whole cycle"
    return f"one cycle is {turns.longest:.1f} times the usual one" if turns.longest > UNSTEADY else ""


def _undecided(turns: Turns, unread: int, frequency: Found, why: str) -> Alternating:
    none = Found.unknown(why)
    return Alternating(
        effective=none,
        mean=none,
        alternating=none,
        peak=none,
        crest=none,
        frequency=frequency,
        cycles=turns.count,
        unread=unread,
    )


def _measured(turns: Turns, unread: int, frequency: Found, sums: Sums) -> Alternating:
    root = math.hypot(sums.mean, sums.deviation)
    return Alternating(
        effective=Found.known(root, root * turns.doubt / 2 / (turns.end - turns.begin)),
        mean=Found.known(sums.mean),
        alternating=Found.known(sums.deviation),
        peak=Found.known(sums.peak),
        crest=Found.known(sums.peak / root),
        frequency=frequency,
        cycles=turns.count,
        unread=unread,
    )


def extremes(series: Sampled | Uneven) -> Extremes:
    """Return the lowest and highest finite sample, and how many were not."""
    lowest, highest, unread = np.inf, -np.inf, 0
    for _, part in chunks(series.values):
        finite = part[np.isfinite(part)]
        unread += part.size - finite.size
        low, high = ends(finite)
        lowest, highest = min(lowest, low), max(highest, high)
    return Extremes(lowest=lowest, highest=highest, unread=unread)


def summed(series: Sampled | Uneven, *, begin: float, end: float, around: float) -> Sums:
    """Return mean and deviation between two moments in seconds; each sample stands for the time nearest to it.

    What is no number stands for nothing. Sums are taken `around` a value near the mean, where they lose no digits.
    """
    time = first = second = peak = 0.0
    for start, part in chunks(series.values):
        borders = series.moments(np.arange(start, start + part.size + 1) - 0.5)
        lengths = np.diff(np.clip(borders, begin, end))
        used = np.isfinite(part) & (lengths > 0)
        lengths, away = lengths[used], part[used].astype(float) - around
        time += float(lengths.sum())
        first += float(lengths @ away)
        second += float(lengths @ (away * away))
        peak = max(peak, float(np.abs(away + around).max(initial=0.0)))
    shift = first / time
    return Sums(mean=around + shift, deviation=math.sqrt(max(0.0, second / time - shift * shift)), peak=peak)


def whole(series: Sampled | Uneven, span: Extremes) -> Turns:
    """Return the whole cycles of a series with these extremes."""
    none = Turns(begin=-np.inf, end=np.inf, count=0, doubt=0.0, longest=1.0)
    band = (span.highest - span.lowest) / 2 * HYSTERESIS
    low, high = span.middle - band, span.middle + band
    if not low < high:
        return none
    found = states(series, low=low, high=high)
    rises, doubts = found.moments[found.rising], found.doubts[found.rising]
    if rises.size < 2:
        return none
    lengths = np.diff(rises)
    return Turns(
        begin=float(rises[0]),
        end=float(rises[-1]),
        count=lengths.size,
        doubt=float(doubts[0] + doubts[-1]),
        longest=float(lengths.max() / np.median(lengths)),
    )
