"""Brightness becomes light and dark, each with its evidence.

The record is averaged down to a few means per shortest flash, each over whole periods of any carrier. The two levels
are found from the record itself and followed as they drift: the dark one from place to place, the step as one. Every
mean then says, in nats, how much likelier it is lit than dark; their running sum rises while the lamp is lit and falls
while it is dark. Its turns are where the lamp may have changed, and the sum between two turns is the evidence for that
state. The noise is that of means as long as a flash, so that a slow disturbance counts as what it is.

A record in which two levels cannot be told apart (the means of a flash scatter too much beside the step) has one level,
or none that can be named. Stamped changes are taken as they are.

Source: the logarithm of a likelihood ratio, summed over independent samples (A. Wald, 1947; E. S. Page, 1954).
"""

from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from benchtest.signals.averages import Means, averaged, smoothed
from benchtest.signals.flicker import carriers
from benchtest.signals.series import Moments, Sampled, Series, Stamped, Uneven, Values

SEPARATE: Final = 3.4
"""Step over the scatter of means as long as a flash: two levels. White noise has 2 and in short records up to 3.4; a
wave has 4.1 and passes, but it has no pauses, so that no code is read in it."""
CLEAR: Final = 8.0
"""As SEPARATE, where the time of a flash is sought: no longer one is tried."""
CERTAIN: Final = 200.0
"""Nats for a stamped state."""
NO_FLICKER: Final = (6.0, 12.0)
"""Hertz; slower is no flicker, and nobody blinks a code faster (common practice)."""
FLOOR: Final = 1e-2
"""Of the step: noise is taken as no less, for the levels are not known better."""
ROUNDS: Final = 4
"""Of finding the levels from what is lit, and what is lit from the levels."""
STIFF: Final = 0.3
"""Of the means between two knots: how dear a bend in the dark level is."""
MOST_KNOTS: Final = 100
"""A drift is slow beside a hundredth of the record, or beside a cycle where that is longer."""
ROUNDING: Final = 1e-6
"""Of the brightness: less is no noise but the arithmetic."""


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Light:
    """A lamp as turns of evidence."""

    turns: Moments
    """Seconds of the begin, of every possible change, and of the end."""
    sums: Moments
    """Nats for lit over dark from the begin to each turn; between turns it rises or falls, by turns."""
    places: NDArray[np.intp]
    """Of each turn in `heights`."""
    heights: Moments
    """The sums at the ends of all means."""
    each: float
    """Nats that a mean of full step speaks for its state; infinite for stamped changes."""
    gap: float
    """Seconds of the longest time without a look."""
    look: float
    """Seconds from one look to the next, or of one mean where that is longer."""
    level: float
    """Middle of the whole record."""
    noise: float
    """Scatter of a mean as long as a flash, in the unit of the brightness."""
    dark: float | None = None
    """Level of the dark lamp; None when only one level is there, or none for stamped changes."""
    lit: float | None = None
    peaks: tuple[float, float] = (np.nan, np.nan)
    """Least and greatest of the samples."""
    carrier: float | None = None
    """Hertz of the strongest carrier, as the samples show it."""
    rounding: float = 0.0
    """Step of the converter, of a record with one level; nearly nothing where it has none."""
    scale: float = 0.0
    """Seconds over which the noise was taken."""
    contrast: float = 0.0
    """Step over noise, also of two levels that are not told apart; infinite for stamped changes."""

    @property
    def single(self) -> bool:
        """Whether no change was seen."""
        return self.turns.size <= 2


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class Levels:
    """Two levels, followed through the record."""

    middles: Moments
    """Halfway between dark and lit, at every mean."""
    step: float
    noise: float
    """Scatter of a mean as long as the shortest flash."""

    @property
    def contrast(self) -> float:
        """Step over noise; 0 where there is one level."""
        return self.step / self.noise if self.noise > 0 else 0.0


def light_of(series: Series, *, shortest: float | None = None, longest: float | None = None) -> Light:
    """Return light and dark in a record; `shortest` and `longest` are seconds that a state lasts, where known."""
    if isinstance(series, Stamped):
        return _stamped(series)
    series = _readable(series)
    if series.values.size < 2:
        return _nothing(series)
    found = carriers(series, slowest=_slowest(shortest))
    means = averaged(series, shortest=shortest, carriers=found)
    levels, scale = _levels(means, shortest=shortest, longest=longest)
    carrier = found[0] if found else None
    if not levels.contrast >= SEPARATE:
        return replace(
            _nothing(series),
            level=float(np.median(means.values)),
            noise=float(np.hypot(levels.noise, levels.step / 2)),
            carrier=carrier,
            contrast=levels.contrast,
            rounding=_least_step(series.values),
        )
    return _turning(series, means, levels, carrier=carrier, scale=scale)


def _slowest(shortest: float | None) -> float:
    """Return above how many hertz a flicker may lie: not among the flashes."""
    least, most = NO_FLICKER
    return most if shortest is None else min(most, max(least, 1.5 / shortest))


def _stamped(series: Stamped) -> Light:
    known = series.first if series.first is not None or not series.rising.size else not series.rising[0]
    states = np.concatenate(([bool(known)], series.rising)).astype(bool)
    kept = np.flatnonzero(states[1:] != states[:-1])
    turns = np.concatenate(([series.begin], series.times[kept], [series.end]))
    gains = np.where(np.concatenate((states[:1], states[1:][kept])), CERTAIN, -CERTAIN) * (known is not None)
    sums = np.concatenate(([0.0], np.cumsum(gains)))
    contrast = np.inf if known is not None else 0.0
    return Light(
        turns=turns,
        sums=sums,
        places=np.arange(turns.size),
        heights=sums,
        each=np.inf,
        gap=series.gap,
        look=series.gap,
        level=np.nan,
        noise=0.0,
        contrast=contrast,
    )


def _readable(series: Sampled | Uneven) -> Sampled | Uneven:
    """Return the samples that are numbers."""
    if not np.issubdtype(series.values.dtype, np.floating):
        return series
    good = np.isfinite(series.values)
    if good.all():
        return series
    return Uneven(values=series.values[good], times=series.moments(np.flatnonzero(good)))


def _least_step(values: Values) -> float:
    """Return the smallest difference between neighbours: the step of a converter, or nearly nothing without one."""
    steps = np.abs(np.diff(values.astype(float)))
    return float(np.min(steps, initial=np.inf, where=steps > 0)) if steps.any() else 0.0


def _nothing(series: Sampled | Uneven) -> Light:
    """Return a record in which no change is seen."""
    return Light(
        turns=np.array([series.begin, series.end]),
        sums=np.zeros(2),
        places=np.arange(2),
        heights=np.zeros(2),
        each=0.0,
        gap=series.gap,
        look=series.gap,
        level=np.nan,
        noise=np.inf,
    )


def _levels(means: Means, *, shortest: float | None, longest: float | None) -> tuple[Levels, float]:
    """Return the levels and the seconds of the shortest flash; unknown, it is the shortest that tells two apart."""
    count = means.values.size
    if shortest is not None and longest is not None:
        width = _odd(0.75 * shortest / means.step)
        return _followed(means, width, round((1.2 * longest + 2 * shortest) / means.step)), shortest
    best = (Levels(middles=means.values, step=0.0, noise=np.inf), means.step)
    for window in (count, count // 3, count // 8):
        for width in ((2 << power) - 1 for power in range(max(1, int(np.log2(max(window // 8, 2)))))):
            levels = _followed(means, width, window)
            if levels.contrast > best[0].contrast:
                best = levels, width * means.step / 0.75
            if levels.contrast >= CLEAR:
                return best
    return best


def _odd(width: float) -> int:
    """Return the odd number next to a width, so that a mean has a middle."""
    return 2 * max(0, round((width - 1) / 2)) + 1


def _followed(means: Means, width: int, window: int) -> Levels:
    """Return the levels; means are smoothed over `width`, and every `window` of them has both levels."""
    values, smooth = means.values, smoothed(means.values, width)
    block = max(1, min(-(-window // 2), values.size))
    starts = np.arange(0, max(1, values.size - block // 2), block)
    centres = (starts + np.concatenate((starts[1:], [values.size])) - 1) / 2
    lowest = _with_neighbours(np.minimum.reduceat(smooth, starts), np.minimum)
    highest = _with_neighbours(np.maximum.reduceat(smooth, starts), np.maximum)
    middles, step = np.interp(np.arange(values.size), centres, (lowest + highest) / 2), 0.0
    lit = smooth > middles
    knots = _knots(values.size, block)
    for _ in range(ROUNDS):
        if not 0 < lit.sum() < lit.size:
            return Levels(middles=middles, step=0.0, noise=float(smooth.std()))
        dark, step = _fitted(values, lit, knots)
        middles, before = dark + step / 2, lit
        lit = smooth > middles
        if np.array_equal(lit, before):
            break  # another round would find the same
    rest = values - middles - np.where(lit, step / 2, -step / 2)
    noise = max(_scatter(rest, lit, width, means), ROUNDING * float(np.abs(values).max()))
    return Levels(middles=middles, step=step, noise=max(noise, FLOOR * step))


def _with_neighbours(blocks: Moments, of: np.ufunc) -> Moments:
    """Return each block's figure joined with those of its neighbours."""
    if blocks.size < 2:
        return blocks
    joined = blocks.copy()
    joined[1:] = of(joined[1:], blocks[:-1])
    joined[:-1] = of(joined[:-1], blocks[1:])
    return joined


@dataclass(frozen=True, slots=True, eq=False)
class _Knots:
    """Where the line of the dark level may bend."""

    before: NDArray[np.intp]
    """Knot at or before each place."""
    low: Moments
    """How near each place lies to that knot, 0 to 1."""
    high: Moments
    """How near it lies to the next one."""
    count: int
    squares: NDArray[np.float64]
    """What the least squares have of the knots alone, bends included, whatever is lit."""

    def total(self, weights: Moments) -> Moments:
        """Return the sums of weights from each knot to the next."""
        return np.asarray(np.bincount(self.before, weights, minlength=self.count), float)


def _knots(size: int, block: int) -> _Knots:
    count = min(MOST_KNOTS, max(2, round(size / block) + 1))
    at: Moments = np.arange(size, dtype=float) * ((count - 1) / max(size - 1, 1))
    before = np.minimum(at.astype(np.intp), count - 2)
    high = at - before
    knots = _Knots(before, 1 - high, high, count, np.zeros((count, count)))
    _square(knots, apart=size / (count - 1))
    return knots


def _square(knots: _Knots, *, apart: float) -> None:
    """Fill in the squares; `apart` is the places from one knot to the next."""
    low, high, squares, at = knots.low, knots.high, knots.squares, np.arange(knots.count)
    squares[at, at] = knots.total(low * low)
    squares[at[1:], at[1:]] += knots.total(high * high)[:-1]
    squares[at[:-1], at[1:]] = squares[at[1:], at[:-1]] = knots.total(low * high)[:-1]
    bends = np.diff(np.eye(knots.count), 2, axis=0)
    squares += STIFF * apart * bends.T @ bends + 1e-9 * apart * np.eye(knots.count)


def _fitted(values: Moments, lit: NDArray[np.bool_], knots: _Knots) -> tuple[Moments, float]:
    """Return the dark level at every place and the step, as least squares have them; bends are a little dear."""
    middle = float(values.mean())
    values = values - middle
    low, high, count, total = knots.low, knots.high, knots.count, knots.total
    matrix, right = np.zeros((count + 1, count + 1)), np.zeros(count + 1)
    matrix[:count, :count] = knots.squares
    matrix[:count, count] = total(low * lit)
    matrix[1:count, count] += total(high * lit)[:-1]
    matrix[count, :count], matrix[count, count] = matrix[:count, count], lit.sum()
    right[:count] = total(low * values)
    right[1:count] += total(high * values)[:-1]
    right[count] = values[lit].sum()
    found = np.linalg.solve(matrix, right)
    return middle + found[knots.before] * low + found[knots.before + 1] * high, float(found[count])


def _scatter(rest: Moments, lit: NDArray[np.bool_], width: int, means: Means) -> float:
    """Return the scatter of means over `width`: as found between edges, and no less than from neighbours alone."""
    edges = np.concatenate(([False], lit[1:] != lit[:-1])).astype(float)
    near = width // 2 + 1 + round(means.box / means.step) // 2
    away = smoothed(edges, 2 * near + 1) == 0
    if away.sum() < width:
        away = np.ones(rest.size, bool)
    found = float(np.sqrt(np.mean(smoothed(rest, width)[away] ** 2)))
    overlap = max(1.0, means.box / means.step)
    single = float(np.sqrt(np.mean(rest[away] ** 2) * min(1.0, overlap / width)))
    return max(found, single)


def _edges(away: Moments, after: NDArray[np.intp], *, blurred: bool) -> Moments:
    """Return where edges lie, in means from the begin; `after` is the first mean beyond each.

    What the two means beside an edge hold of the new state says where it lies; where means overlap, it is where the
    line through their middles meets halfway.
    """
    if blurred:
        return np.asarray(after - 0.5 + away[after - 1] / (away[after - 1] - away[after]) + 0.0)
    held = np.clip(away[after - 1], -0.5, 0.5) + np.clip(away[after], -0.5, 0.5)
    return np.asarray(after - np.where(away[after] > 0, held, -held))


def _turning(series: Sampled | Uneven, means: Means, levels: Levels, *, carrier: float | None, scale: float) -> Light:
    """Return the turns of the evidence."""
    width = _odd(0.75 * scale / means.step)
    away = np.clip((means.values - levels.middles) / levels.step, -1.0, 1.0)
    each = levels.contrast**2 / width
    heights = np.concatenate(([0.0], np.cumsum(away * each)))
    above = away > 0
    after = np.flatnonzero(above[1:] != above[:-1]) + 1
    places = np.concatenate(([0], after, [away.size]))
    moments = means.begin + _edges(away, after, blurred=means.box > 1.01 * means.step) * means.step
    dark = float(np.mean(levels.middles)) - levels.step / 2
    return Light(
        turns=np.concatenate(([series.begin], moments, [series.end])),
        sums=heights[places],
        places=places,
        heights=heights,
        each=each,
        gap=series.gap,
        look=means.step,
        level=float(np.median(means.values)),
        noise=levels.noise,
        dark=dark,
        lit=dark + levels.step,
        peaks=(float(series.values.min()), float(series.values.max())),
        carrier=carrier,
        scale=scale,
        contrast=levels.contrast,
    )
