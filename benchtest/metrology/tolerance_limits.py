"""Limits that hold a stated share of a population with a stated confidence, from a sample of it.

Normal readings: mean ± k·s. One limit: k is a quantile of the noncentral t distribution. Two limits: k solves the
integral over the sample mean of the chance that s is large enough; for each mean, the half width that holds the share
is found by Newton's method. Count and degrees of freedom are separate, so that a pooled standard deviation has its
factor too.

Readings that hold a known scatter u of their own, limits for what was read: the population has the variance σ² - u²,
its mean and σ² of the readings are known as well as ever. The same chance is worked out with generalised pivots: σ² is
what chi-squared and s² allow, the mean is that of the sample and a normal error of σ/√n, and k holds the share for the
stated part of all such pairs. Without a scatter this is the exact factor; with one, simulation finds the stated
confidence (`benchtest study coverage`).

Any readings: from the r-th smallest to the r-th largest one. Their confidence is a sum of binomial terms, exactly, for
every continuous distribution.

Source: A. Wald, J. Wolfowitz, Ann. Math. Statist. 17 (1946) 208, and D. B. Owen, SCR-607 (1963), for the integral and
for noncentral t; S. Weerahandi, J. Amer. Statist. Ass. 88 (1993) 899, for generalised pivots; S. S. Wilks, Ann. Math.
Statist. 12 (1941) 91, for order statistics (all from memory). NIST e-Handbook 7.2.6.3 and tables of exact factors judge
it in the tests. SciPy is loaded with this module: only studies import it.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

NODES: Final = 200
"""Of the Gauss-Legendre rules; factors of ten boards or more change by less than 1e-8 with twice as many."""
REACH: Final = 9.0
"""Standard errors over which is integrated."""
FAR: Final = 30.0
"""Standard deviations of the population beyond which no mean is looked at, whatever the reach."""
MOST: Final = 10_000_000
"""Readings up to which a needed number is looked for."""
Numbers = NDArray[np.float64]


def one_sided(count: float, freedom: float, *, coverage: float, confidence: float, taken: float = 0.0) -> float:
    """Return k so that a share `coverage` lies below mean + k·s (or above mean - k·s) with `confidence`.

    `taken` is the share of s² that is scatter of the readings and not of the population.
    """
    _refuse(count, freedom, coverage, confidence, taken)
    return _one_sided(count, freedom, coverage, confidence, taken)


@lru_cache(maxsize=1024)
def _one_sided(count: float, freedom: float, coverage: float, confidence: float, taken: float) -> float:
    normal, root = float(special.ndtri(coverage)), math.sqrt(count)
    if not taken:
        return float(stats.nct.ppf(confidence, freedom, normal * root)) / root
    variances, weights = _read_variances(freedom, taken)
    read, deviations = np.sqrt(variances), np.sqrt(np.maximum(0.0, variances - taken))

    def lacking(k: float) -> float:
        return float(weights @ special.ndtr((k - normal * deviations) / read * root)) - confidence

    return _root(lacking, -1.0 if normal < 0 or confidence < 0.5 else 0.0)


def _read_variances(freedom: float, taken: float) -> tuple[Numbers, Numbers]:
    """Return variances of the readings that s = 1 allows, and the weight of each, with a node at the scatter's.

    By the cube root of chi-squared, which is nearly normal (Wilson and Hilferty). The deviation that is left grows like
    a root from where nothing is left: nodes that crowd there make it smooth.
    """
    places, weights = _rule(NODES // 2)
    middle, error = 1 - 2 / (9 * freedom), math.sqrt(2 / (9 * freedom))
    low, high = max(0.0, middle - REACH * error), middle + REACH * error
    nothing = min(max(taken ** (-1 / 3), low), high)
    cubes = np.concatenate([nothing + (end - nothing) * places**2 for end in (low, high)])
    widths = np.concatenate([abs(end - nothing) * 2 * places * weights for end in (low, high)])
    squares = freedom * cubes**3
    density = (freedom / 2 - 1) * np.log(squares) - squares / 2 - math.lgamma(freedom / 2) - freedom / 2 * math.log(2)
    return freedom / squares, np.exp(density) * 3 * freedom * cubes**2 * widths


def two_sided(count: float, freedom: float, *, coverage: float, confidence: float, taken: float = 0.0) -> float:
    """Return k so that a share `coverage` lies within mean ± k·s with `confidence`; by integration.

    `taken` is the share of s² that is scatter of the readings and not of the population; without it, k is exact.
    """
    _refuse(count, freedom, coverage, confidence, taken)
    return _two_sided(count, freedom, coverage, confidence, taken)


@lru_cache(maxsize=1024)
def _two_sided(count: float, freedom: float, coverage: float, confidence: float, taken: float) -> float:
    """Integrate over the mean's distance t from the sample's, in standard deviations of the population.

    k just holds the share where the deviation is k over the half width of t; that of the readings and the mean's error
    in standard errors follow, and the chance of a smaller deviation is chi-squared.
    """
    least = float(special.ndtri((1 + coverage) / 2))
    known = math.sqrt(max(0.0, freedom / float(special.chdtri(freedom, confidence)) - taken)) * least
    places, weights = _rule(NODES)
    reach = _reach(count, least, taken, max(known, 1e-3))
    means, weights = reach * places, 2 * reach * weights  # of both signs: the integral is even
    halves = half_widths(means, coverage)
    growing = means * np.tanh(means * halves)  # of the half width with the mean

    def lacking(k: float) -> float:
        read = k**2 + taken * halves**2
        errors = means * k * np.sqrt(count / read)
        slopes = k * np.sqrt(count / read) * (read - taken * halves * growing) / read
        chances = special.chdtrc(freedom, freedom * halves**2 / read)
        return float((weights * np.exp(-0.5 * errors**2) * slopes) @ chances) / math.sqrt(2 * math.pi) - confidence

    return _root(lacking, 1e-3)


def _reach(count: float, least: float, taken: float, k: float) -> float:
    """Return the mean beyond which none is REACH standard errors away; a half width is below `least` + mean."""
    square, share = REACH**2 / count, taken / k**2
    left = 1 - square * share
    if left <= 0:
        return FAR
    half = square * share * least / left
    return min(FAR, half + math.sqrt(half**2 + square * (1 + share * least**2) / left))


@lru_cache(maxsize=2)
def _rule(nodes: int) -> tuple[Numbers, Numbers]:
    """Return the places and weights of the Gauss-Legendre rule from 0 to 1."""
    places, weights = np.polynomial.legendre.leggauss(nodes)
    return np.asarray((places + 1) / 2, np.float64), np.asarray(weights / 2, np.float64)


def _root(lacking: Callable[[float], float], low: float) -> float:
    """Return the k at which nothing is lacking; a larger one holds more."""
    high = 2.0
    while lacking(high) < 0:
        high *= 2
    while low < 0 and lacking(low) > 0:
        low *= 2
    return float(optimize.brentq(lacking, low, high, xtol=1e-12, rtol=1e-13))


def half_widths(means: Numbers, coverage: float) -> Numbers:
    """Return r for each x so that a standard normal value lies within x ± r with probability `coverage`."""
    r = means + float(special.ndtri(coverage)) * (means > 1) + float(special.ndtri((1 + coverage) / 2)) * (means <= 1)
    for _ in range(60):
        short = coverage - (special.ndtr(means + r) - special.ndtr(means - r))
        slope = (np.exp(-0.5 * (means + r) ** 2) + np.exp(-0.5 * (means - r) ** 2)) / math.sqrt(2 * math.pi)
        step = short / slope
        r = r + step
        if float(np.max(np.abs(step))) < 1e-14:
            break
    return np.asarray(r, np.float64)


def howe(count: float, freedom: float, *, coverage: float, confidence: float) -> float:
    """Return the two-sided factor by Howe's approximation, which handbooks print. J. Amer. Statist. Ass. 64 (1969)."""
    z = float(special.ndtri((1 + coverage) / 2))
    return z * math.sqrt(freedom * (1 + 1 / count) / float(special.chdtri(freedom, confidence)))


@dataclass(frozen=True, kw_only=True, slots=True)
class Ranked:
    """Which readings of a sorted sample are the limits."""

    rank: int
    """From 1, counted from each end that is limited."""
    confidence: float
    """Exactly, for a continuous distribution."""


def ranked(count: int, *, sides: int, coverage: float, confidence: float) -> Ranked | None:
    """Return the innermost ranks that hold `coverage` with `confidence`; None when even the outermost do not."""
    _refuse(count, 1, coverage, confidence)
    within = float(special.bdtrik(confidence, count, coverage))  # NaN where one reading would be enough
    about = (count - math.ceil(within)) // sides if within > 0 else 1
    for rank in range(about + 2, max(0, about - 2), -1):
        found = held_by_ranks(count, rank, sides=sides, coverage=coverage)
        if found >= confidence:
            return Ranked(rank=rank, confidence=found)
    return None


def held_by_ranks(count: int, rank: int, *, sides: int, coverage: float) -> float:
    """Return the confidence that `coverage` lies between the ranks: P(at most count - sides·rank within)."""
    inside = count - sides * rank
    return float(special.bdtr(inside, count, coverage)) if inside >= 0 else 0.0


def needed(*, sides: int, coverage: float, confidence: float) -> int:
    """Return the smallest number of readings whose outermost are limits of this kind: 93 for two-sided 95 %/95 %."""
    _refuse(2, 1, coverage, confidence)
    low, high = sides - 1, sides
    while held_by_ranks(high, 1, sides=sides, coverage=coverage) < confidence:
        low, high = high, high * 2
        if high > MOST:
            raise ValueError(f"more than {MOST} readings are needed for {coverage} at {confidence}")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _enough(middle, sides, coverage, confidence) else (middle, high)
    return high


def _enough(count: int, sides: int, coverage: float, confidence: float) -> bool:
    return held_by_ranks(count, 1, sides=sides, coverage=coverage) >= confidence


def _refuse(count: float, freedom: float, coverage: float, confidence: float, taken: float = 0.0) -> None:
    shares: Any = (coverage, confidence)
    if not (count > 0 and freedom > 0 and all(0 < share < 1 for share in shares) and 0 <= taken < 1):
        raise ValueError(
            f"no limits from {count:g} readings with {freedom:g} degrees of freedom for {coverage} at {confidence}, "
            f"{taken:g} taken out"
        )
