"""Process capability: how the spread of readings compares with the limits that are set for them.

Cp and Cpk take the spread within short spans (groups, or neighbours in time), Pp and Ppk that of all of them. Limits of
confidence: Cp and Pp by chi-squared, exactly. Cpk and Ppk by noncentral t for the nearer limit, exactly where one limit
is near or alone; the lower one of two never says too much. Non-normal readings: the limits are compared with the
0.135 %, 50 % and 99.865 % percentiles, whose confidence limits are order statistics.

Source: ISO 22514-2 and ISO 22514-4 for percentiles (from memory); NIST e-Handbook 6.1.6; D. B. Owen (1965) for
noncentral t (from memory). SciPy is loaded with this module: only studies import it.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

from benchtest.metrology.variance_components import Estimate

TAIL: Final = 0.00135
"""Share beyond three standard deviations on one side."""
Numbers = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Capability:
    """Both indices; the first is there when both limits are."""

    spread: Estimate | None
    """Cp or Pp."""
    nearer: Estimate
    """Cpk or Ppk."""


def capability(
    mean: float, deviation: float, *, count: int, freedom: float, low: float, high: float, confidence: float = 0.95
) -> Capability:
    """Return the indices of normal readings; a limit that is not there is infinite.

    Raises ValueError when there is no limit, or no spread.
    """
    if not (deviation > 0 and (math.isfinite(low) or math.isfinite(high)) and low < high):
        raise ValueError(f"no capability with a deviation of {deviation:g} within {low:g} to {high:g}")
    both = math.isfinite(low) and math.isfinite(high)
    distance = min(high - mean, mean - low) / (3 * deviation)
    return Capability(
        spread=_spread((high - low) / (6 * deviation), freedom, confidence) if both else None,
        nearer=_nearer(distance, count, freedom, confidence),
    )


def _spread(index: float, freedom: float, confidence: float) -> Estimate:
    low, high = (float(special.chdtri(freedom, 1 - tail)) for tail in _tails(confidence))
    return Estimate(value=index, low=index * math.sqrt(low / freedom), high=index * math.sqrt(high / freedom))


def _nearer(index: float, count: int, freedom: float, confidence: float) -> Estimate:
    below, above = _tails(confidence)
    low, high = (
        nearer_limits(np.array([index]), count, freedom, above),
        nearer_limits(np.array([index]), count, freedom, below),
    )
    return Estimate(value=index, low=float(low[0]), high=float(high[0]))


def nearer_limits(indices: Numbers, count: int, freedom: float, share: float) -> Numbers:
    """Return the one-sided limits of Cpk for which an index as small as found has the probability `share`."""
    root = 3 * math.sqrt(count)
    return np.asarray(special.nctdtrinc(freedom, share, root * indices) / root, np.float64)


def _tails(confidence: float) -> tuple[float, float]:
    return (1 - confidence) / 2, (1 + confidence) / 2


def successive_freedom(count: int) -> float:
    """Return the effective degrees of freedom of a standard deviation from the mean moving range, about 0.6 n.

    By the variance of the mean moving range of normal readings; J. D. Cryer, T. P. Ryan, J. Quality Technology 22
    (1990) 187 (from memory).
    """
    variance = (0.8264 * count - 1.082) / (count - 1) ** 2
    return max(1.0, 0.5 / variance)


@dataclass(frozen=True, kw_only=True, slots=True)
class Percentiles:
    """The percentiles of readings that are compared with limits, each with exact limits of confidence."""

    lower: Estimate
    """0.135 %."""
    median: Estimate
    upper: Estimate
    """99.865 %."""


def percentiles(ordered: Numbers, confidence: float = 0.95) -> Percentiles:
    """Return the percentiles of sorted readings; a limit that no reading can be is infinite."""
    return Percentiles(
        lower=_percentile(ordered, TAIL, confidence),
        median=_percentile(ordered, 0.5, confidence),
        upper=_percentile(ordered, 1 - TAIL, confidence),
    )


def _percentile(ordered: Numbers, share: float, confidence: float) -> Estimate:
    """Return one percentile; its limits are the readings whose ranks hold it with the confidence or more."""
    count, (below, _) = ordered.size, _tails(confidence)
    ranks = np.arange(count + 1)
    at_most = special.bdtr(ranks, count, share)
    low = int(np.searchsorted(at_most, below, side="right"))  # P(fewer than `low` are below) is at most the tail
    high = int(np.searchsorted(at_most, 1 - below, side="left")) + 1
    return Estimate(
        value=float(np.quantile(ordered, share, method="median_unbiased")),
        low=float(ordered[low - 1]) if low >= 1 else -math.inf,
        high=float(ordered[high - 1]) if high <= count else math.inf,
    )


def by_percentiles(found: Percentiles, *, low: float, high: float) -> tuple[float | None, float]:
    """Return Pp (None with one limit) and Ppk of readings with these percentiles."""
    above = (high - found.median.value) / (found.upper.value - found.median.value)
    below = (found.median.value - low) / (found.median.value - found.lower.value)
    both = math.isfinite(low) and math.isfinite(high)
    spread = (high - low) / (found.upper.value - found.lower.value) if both else None
    return spread, min(above, below)


def percentile_count() -> int:
    """Return from how many readings the outer percentiles lie among them: 1/0.00135."""
    return math.ceil(1 / TAIL)
