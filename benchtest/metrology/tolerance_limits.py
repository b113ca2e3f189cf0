"""Limits that hold a stated share of a population with a stated confidence, from a sample of it.

Normal readings: mean ± k·s. One limit: k is a quantile of the noncentral t distribution. Two limits: k solves the
integral over the sample mean of the chance that s is large enough; for each mean, the half width that holds the share
is found by Newton's method. Count and degrees of freedom are separate, so that a standard deviation that something was
taken from, or that was pooled, has its factor too; the count may then be an effective one.

Any readings: from the r-th smallest to the r-th largest one. Their confidence is a sum of binomial terms, exactly, for
every continuous distribution.

Source: A. Wald, J. Wolfowitz, Ann. Math. Statist. 17 (1946) 208, and D. B. Owen, SCR-607 (1963), for the integral and
for noncentral t; S. S. Wilks, Ann. Math. Statist. 12 (1941) 91, for order statistics (all from memory). NIST e-Handbook
7.2.6.3 and tables of exact factors judge it in the tests. SciPy is loaded with this module: only studies import it.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

NODES: Final = 200
"""Of the Gauss-Legendre rule over the sample mean; the factor changes by less than 1e-9 with twice as many."""
REACH: Final = 9.0
"""Standard errors of the mean over which is integrated."""
MOST: Final = 10_000_000
"""Readings up to which a needed number is looked for."""
Numbers = NDArray[np.float64]


def one_sided(count: float, freedom: float, *, coverage: float, confidence: float) -> float:
    """Return k so that a share `coverage` lies below mean + k·s (or above mean - k·s) with `confidence`."""
    _refuse(count, freedom, coverage, confidence)
    return _one_sided(count, freedom, coverage, confidence)


@lru_cache(maxsize=1024)
def _one_sided(count: float, freedom: float, coverage: float, confidence: float) -> float:
    away = float(special.ndtri(coverage)) * math.sqrt(count)
    return float(stats.nct.ppf(confidence, freedom, away)) / math.sqrt(count)


def two_sided(count: float, freedom: float, *, coverage: float, confidence: float) -> float:
    """Return k so that a share `coverage` lies within mean ± k·s with `confidence`; exact, by integration."""
    _refuse(count, freedom, coverage, confidence)
    return _two_sided(count, freedom, coverage, confidence)


@lru_cache(maxsize=1024)
def _two_sided(count: float, freedom: float, coverage: float, confidence: float) -> float:
    places, weights = np.polynomial.legendre.leggauss(NODES)
    error = 1 / math.sqrt(count)
    means = REACH * error * (places + 1) / 2
    weights = weights * REACH * error  # of both signs: the integral is even
    weights = weights * np.exp(-0.5 * (means / error) ** 2) / (error * math.sqrt(2 * math.pi))
    squares = freedom * half_widths(means, coverage) ** 2

    def lacking(k: float) -> float:
        return float(weights @ special.chdtrc(freedom, squares / k**2)) - confidence

    low, high = 1e-3, 2.0
    while lacking(high) < 0:
        high *= 2
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


def _refuse(count: float, freedom: float, coverage: float, confidence: float) -> None:
    shares: Any = (coverage, confidence)
    if not (count > 0 and freedom > 0 and all(0 < share < 1 for share in shares)):
        raise ValueError(
            f"no limits from {count:g} readings with {freedom:g} degrees of freedom for {coverage} at {confidence}"
        )
