"""Whether readings look like a normal distribution: Anderson and Darling's statistic, and the probability plot.

Mean and standard deviation are taken from the readings themselves. The probability is that of a statistic at least this
large while the readings are normal; a small one speaks against, a large one proves nothing. Among very many readings
every rounding shows, so that a small probability then says little about limits: look at the plot.

Source: R. B. D'Agostino, M. A. Stephens (eds.), Goodness-of-Fit Techniques (1986), table 4.7 and 4.9, case 3; plotting
positions of G. Blom (1958); J. J. Filliben, Technometrics 17 (1975), for the correlation (all from memory). statsmodels
and SciPy judge the numbers in the tests.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import special

FEWEST: Final = 8
"""Readings from which the formulas for the probability hold."""
Numbers = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, slots=True)
class Normality:
    """What the readings say of their distribution."""

    count: int
    statistic: float
    """A², without a correction for the count."""
    probability: float
    """Of such a statistic while the readings are normal; NaN below FEWEST readings."""
    correlation: float
    """Of the sorted readings with the normal scores; 1 for a straight probability plot."""


def normality(readings: Numbers) -> Normality:
    """Return what `readings` say; raises ValueError when there are fewer than three, or when they do not differ."""
    ordered = np.sort(np.asarray(readings, np.float64))
    count = ordered.size
    spread = float(ordered.std(ddof=1)) if count > 2 else 0.0
    if not spread > 0:
        raise ValueError(f"{count} readings that do not differ say nothing of a distribution")
    scores = (ordered - ordered.mean()) / spread
    weights = 2 * np.arange(1, count + 1) - 1
    logs = special.log_ndtr(scores) + special.log_ndtr(-scores[::-1])
    statistic = -count - float(weights @ logs) / count
    return Normality(
        count=count,
        statistic=statistic,
        probability=_probability(statistic * (1 + 0.75 / count + 2.25 / count**2)) if count >= FEWEST else math.nan,
        correlation=float(np.corrcoef(ordered, normal_scores(count))[0, 1]),
    )


def _probability(corrected: float) -> float:
    """Return the probability of a statistic that was corrected for the count. Table 4.9."""
    a = corrected
    if a >= 0.6:
        return math.exp(1.2937 - 5.709 * a + 0.0186 * a * a) if a < 13 else 0.0
    if a > 0.34:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    if a > 0.2:
        return 1 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    return 1 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)


def normal_scores(count: int) -> Numbers:
    """Return where the sorted readings of a normal distribution lie on average, in standard deviations."""
    return np.asarray(special.ndtri((np.arange(1, count + 1) - 0.375) / (count + 0.25)), np.float64)
