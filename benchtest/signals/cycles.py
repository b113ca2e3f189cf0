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
from benchtest.signals.levels import Samples, crossings, states
from benchtest.signals.series import Moments, Sampled, Uneven, cut, positions

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
    part = positions(series, since=since, until=until)
    moments, values = cut(series, since=since, until=until)
    unread = part.stop - part.start - values.size
    turns = whole(moments, values)
    if why := _no_cycles(turns, values):
        return _undecided(turns, unread, Found.unknown(why), why)
    frequency = turns.count / (turns.end - turns.begin)
    steady = Found.known(frequency, frequency * turns.doubt / (turns.end - turns.begin))
    if saturation is not None and (values.min() <= saturation[0] or values.max() >= saturation[1]):
        return _undecided(turns, unread, steady, "the peaks are clipped: the converter was at its end")
    return _measured(turns, unread, steady, moments, values)


def _no_cycles(turns: Turns, values: Moments) -> str:
    """Return why cycles cannot be used; empty when they can."""
    if not values.size:
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


def _measured(turns: Turns, unread: int, frequency: Found, moments: Moments, values: Moments) -> Alternating:
    weights = shares(moments, turns.begin, turns.end)
    mean, square = float(weights @ values), float(weights @ (values * values))
    root, peak = math.sqrt(square), float(np.abs(values[weights > 0]).max())
    return Alternating(
        effective=Found.known(root, root * turns.doubt / 2 / (turns.end - turns.begin)),
        mean=Found.known(mean),
        alternating=Found.known(math.sqrt(float(weights @ (values - mean) ** 2))),
        peak=Found.known(peak),
        crest=Found.known(peak / root),
        frequency=frequency,
        cycles=turns.count,
        unread=unread,
    )


def whole(moments: Moments, values: Moments) -> Turns:
    """Return the whole cycles of samples at moments in seconds."""
    none = Turns(begin=-np.inf, end=np.inf, count=0, doubt=0.0, longest=1.0)
    if values.size < 3:
        return none
    low, high = float(values.min()), float(values.max())
    middle, band = (low + high) / 2, (high - low) / 2 * HYSTERESIS
    if not middle - band < middle + band:
        return none
    found = states(Uneven(values=values, times=moments), low=middle - band, high=middle + band)
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


def shares(moments: Moments, begin: float, end: float) -> Moments:
    """Return the share of the time from `begin` to `end` that each sample stands for: what is nearest to it.

    Outside the samples the first and the last stand for half an interval.
    """
    if moments.size < 2:
        return np.ones(moments.size)
    between = (moments[1:] + moments[:-1]) / 2
    first, last = moments[0] - (between[0] - moments[0]), moments[-1] + (moments[-1] - between[-1])
    borders = np.clip(np.concatenate(([first], between, [last])), begin, end)
    lengths = np.diff(borders)
    return np.asarray(lengths / lengths.sum())
