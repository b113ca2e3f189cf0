"""A gauge study by means and ranges: the method that is done on paper, beside the analysis of variance.

It knows no interaction, and it counts more distinct categories than the analysis of variance finds in the same
readings: whoever states a number of categories states the method.

Source: average and range method of the trade's handbooks on measurement systems, with d2 and d2* instead of printed
constants K1, K2, K3 (from memory); a worked example judges the digits in the tests.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchtest.metrology.ranges import d2, d2_star


@dataclass(frozen=True, kw_only=True, slots=True)
class ByRanges:
    """Standard deviations by means and ranges."""

    repeatability: float
    reproducibility: float
    gauge: float
    part: float
    total: float
    categories: float
    """1.41 · part over gauge, before it is truncated."""


def by_ranges(cells: NDArray[np.float64]) -> ByRanges:
    """Return what means and ranges say of cells in the shape (parts, operators, repeats)."""
    parts, operators, repeats = cells.shape
    repeatability = float(np.ptp(cells, axis=2).mean()) / d2(repeats)
    among = float(np.ptp(cells.mean(axis=(0, 2)))) / d2_star(operators, 1) if operators > 1 else 0.0
    reproducibility = math.sqrt(max(0.0, among**2 - repeatability**2 / (parts * repeats)))
    part = float(np.ptp(cells.mean(axis=(1, 2)))) / d2_star(parts, 1)
    gauge = math.hypot(repeatability, reproducibility)
    return ByRanges(
        repeatability=repeatability,
        reproducibility=reproducibility,
        gauge=gauge,
        part=part,
        total=math.hypot(gauge, part),
        categories=1.41 * part / gauge if gauge > 0 else math.inf,
    )
