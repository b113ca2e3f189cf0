"""Two ways to read the same things: mean difference, its spread, and the limits of agreement, each with its confidence.

The limits of agreement hold 95 % of the differences that two single readings of one thing would have. They are exact: a
percentile of a normal population lies between quantiles of noncentral t. Nothing is rounded to 1.96 and no large sample
is supposed.

Source: J. M. Bland, D. G. Altman, Lancet 327 (1986) 307; A. Carkeet, Optometry and Vision Science 92 (2015) e71, for
exact limits; E. J. G. Pitman, Biometrika 31 (1939) 9, for the spread that changes with the size (all from memory).
SciPy is loaded with this module: only studies import it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special, stats

from benchtest.metrology.variance_components import Estimate

Numbers = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Agreement:
    """What paired differences say."""

    pairs: int
    mean: Estimate
    """Mean difference, with Student's t."""
    deviation: Estimate
    """Standard deviation of the differences, with chi-squared."""
    lower: Estimate
    """Lower limit of agreement."""
    upper: Estimate
    unlikely: float
    """Probability of a mean difference at least this large while there is none."""
    trend: float
    """Correlation of the differences with the means of their pairs; NaN where these do not differ."""
    trend_unlikely: float
    """Probability of a correlation at least this large while there is none."""


def agreement(first: Numbers, second: Numbers, *, share: float = 0.95, confidence: float = 0.95) -> Agreement:
    """Return what second minus first says, pair by pair; raises ValueError for fewer than three pairs or no spread."""
    differences = second - first
    count = differences.size
    spread = float(differences.std(ddof=1)) if count >= 3 else 0.0
    if not spread > 0:
        raise ValueError(f"{count} pairs whose differences do not differ have no limits of agreement")
    mean, freedom = float(differences.mean()), count - 1
    error = spread / math.sqrt(count)
    wide = float(special.stdtrit(freedom, (1 + confidence) / 2))
    low, high = (spread * math.sqrt(freedom / float(special.chdtri(freedom, tail))) for tail in _tails(confidence))
    trend, unlikely = _trend(first + second, differences)
    return Agreement(
        pairs=count,
        mean=Estimate(value=mean, low=mean - wide * error, high=mean + wide * error),
        deviation=Estimate(value=spread, low=low, high=high),
        lower=percentile(mean, spread, count, (1 - share) / 2, confidence),
        upper=percentile(mean, spread, count, (1 + share) / 2, confidence),
        unlikely=2 * float(special.stdtr(freedom, -abs(mean) / error)),
        trend=trend,
        trend_unlikely=unlikely,
    )


def percentile(mean: float, deviation: float, count: int, share: float, confidence: float) -> Estimate:
    """Return a percentile of a normal population with its exact limits of confidence."""
    z = float(special.ndtri(share))
    away, error = z * math.sqrt(count), deviation / math.sqrt(count)
    low, high = (float(stats.nct.ppf(tail, count - 1, away)) for tail in _tails(confidence))
    return Estimate(value=mean + z * deviation, low=mean + low * error, high=mean + high * error)


def _tails(confidence: float) -> tuple[float, float]:
    return (1 - confidence) / 2, (1 + confidence) / 2


def _trend(sums: Numbers, differences: Numbers) -> tuple[float, float]:
    if not float(np.ptp(sums)) > 0:
        return math.nan, math.nan
    correlation = float(np.corrcoef(sums, differences)[0, 1])
    freedom = differences.size - 2
    t = correlation * math.sqrt(freedom / max(1e-300, 1 - correlation**2))
    return correlation, 2 * float(special.stdtr(freedom, -abs(t)))
