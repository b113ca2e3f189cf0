"""Whether a reading agrees with what was read of the same thing before.

The score is E_n: the difference to the mean of earlier readings over what it may be, so that more than one in size does
not agree. It may be the expanded uncertainties of both, as in comparisons of laboratories, and beside them what the
thing itself varies from time to time, by Student's t for one more reading. Where many readings are compared at once,
each is given so much more that all of them together agree with the stated probability when nothing has changed.

Source: ISO 13528:2022, 9.7, and ISO/IEC 17043:2023, annex B, for E_n (from memory); Šidák's inequality for many
comparisons (from memory); a prediction interval for one more reading, general statistics.
"""

import math
from collections.abc import Sequence
from statistics import fmean, stdev
from typing import Final

from benchtest.metrology.coverage import factor, normal_factor

NEEDED: Final = 3
"""Earlier readings from which their spread says something."""
TOGETHER: Final = 0.95
"""Probability that nothing disagrees while nothing has changed."""


def score(
    value: float, uncertainty: float, earlier: Sequence[float], uncertainties: Sequence[float], *, of: int
) -> float:
    """Return E_n of a reading against at least NEEDED earlier ones, one among `of` that are compared.

    `uncertainty` and `uncertainties` are expanded ones. Not a number when any of it is not.
    """
    if len(earlier) < NEEDED:
        raise ValueError(f"{len(earlier)} earlier readings (expected {NEEDED} or more)")
    coverage = normal_factor(TOGETHER ** (1 / of))
    spread = factor(len(earlier) - 1, coverage) * stdev(earlier) * math.sqrt(1 + 1 / len(earlier))
    allowed = math.hypot(uncertainty, max(uncertainties), spread)
    difference = value - fmean(earlier)
    if allowed == 0:
        return 0.0 if difference == 0 else math.copysign(math.inf, difference)
    return difference / allowed
