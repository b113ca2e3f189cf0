"""Constants of the range and of the standard deviation of a few normal readings: d2, d3, d2*, c4.

Mean and second moment of the range are integrals over the normal distribution, done by trapezia over ±9 standard
deviations, where they converge faster than any power of the step. No library is loaded, so that a bench may use this
before every run.

Source: L. H. C. Tippett, Biometrika 17 (1925) 364, for the range; A. J. Duncan, Quality Control and Industrial
Statistics, for d2* = √(d2² + d3²/g) (from memory). Printed tables judge the digits in the tests.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

_GRID = np.linspace(-9.0, 9.0, 1201)


def _below(x: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.array([0.5 * math.erfc(-one / math.sqrt(2)) for one in x])


@lru_cache(maxsize=1)
def _grid_below() -> NDArray[np.float64]:
    return _below(_GRID)


@lru_cache(maxsize=256)
def d2(count: int) -> float:
    """Return the mean range of `count` readings over their standard deviation; 1.128 for two."""
    _refuse(count)
    below = _grid_below()
    step = float(_GRID[1] - _GRID[0])
    return float(np.sum(1 - below**count - (1 - below) ** count)) * step


@lru_cache(maxsize=256)
def d3(count: int) -> float:
    """Return the standard deviation of the range of `count` readings over theirs; 0.853 for two."""
    _refuse(count)
    below, step = _grid_below(), float(_GRID[1] - _GRID[0])
    low, high = below[:, None], below[None, :]
    inside = np.clip(high - low, 0.0, 1.0)
    part = 1 - high**count - (1 - low) ** count + inside**count
    square = 2 * float(np.sum(np.triu(part, 1)) + 0.5 * np.sum(np.diag(part))) * step * step
    return math.sqrt(square - d2(count) ** 2)


def d2_star(count: int, groups: int) -> float:
    """Return the divisor of the mean of few ranges, whose square makes an unbiased variance."""
    return math.hypot(d2(count), d3(count) / math.sqrt(groups))


def c4(count: int) -> float:
    """Return the mean standard deviation of `count` readings over the true one; 0.7979 for two."""
    _refuse(count)
    return math.sqrt(2 / (count - 1)) * math.exp(math.lgamma(count / 2) - math.lgamma((count - 1) / 2))


def _refuse(count: int) -> None:
    if count < 2:
        raise ValueError(f"the range of {count} readings (expected two or more)")
