"""Mean, standard deviation and straight line without losing digits.

Everything is taken about the mean, in two passes: the sum of squares minus the square of the sum, in one pass, gives a
variance of -2 for the readings of NIST's NumAcc4. What the readings themselves cannot hold (0.1 at 10 000 000 has nine
digits left) is not brought back; whoever has decimal readings subtracts a round number before making floats of them.

Source: JCGM 100:2008 (GUM), 4.2 and H.3 (line with reference point); NIST Statistical Reference Datasets judge the
digits in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


@dataclass(frozen=True, kw_only=True, slots=True)
class Moments:
    """What a set of independent readings says."""

    count: int
    mean: float
    deviation: float
    """Experimental standard deviation of one reading, n - 1 in the divisor; 0 for one reading."""

    @property
    def of_mean(self) -> float:
        """Experimental standard deviation of the mean. JCGM 100:2008, 4.2.3."""
        return self.deviation / math.sqrt(self.count)

    @property
    def freedom(self) -> float:
        """Degrees of freedom; infinite for one reading, which says nothing of scatter."""
        return float(self.count - 1) if self.count > 1 else math.inf


def moments(readings: Sequence[float]) -> Moments:
    """Return count, mean and standard deviation; raises ValueError when there is no reading."""
    count = len(readings)
    if not count:
        raise ValueError("no readings to take the mean of")
    mean = math.fsum(readings) / count
    deviations = [reading - mean for reading in readings]
    left = math.fsum(deviations) / count  # what rounding the mean has left over
    squares = math.fsum(one * one for one in deviations) - count * left * left
    return Moments(count=count, mean=mean + left, deviation=math.sqrt(squares / (count - 1)) if count > 1 else 0.0)


@dataclass(frozen=True, kw_only=True, slots=True)
class Line:
    """A straight line through readings, y = intercept + slope · (x - origin), with what is known of it."""

    origin: float
    """Where the intercept is taken."""
    intercept: float
    slope: float
    u_intercept: float
    """Standard uncertainty."""
    u_slope: float
    """Standard uncertainty."""
    correlation: float
    """Of intercept and slope; 0 when the origin is the mean of x."""
    residual: float
    """Standard deviation of the readings about the line."""
    freedom: float
    """Degrees of freedom of all three."""

    def at(self, x: float) -> tuple[float, float]:
        """Return the value of the line and its standard uncertainty. JCGM 100:2008, H.3.4."""
        away = x - self.origin
        cross = 2 * away * self.correlation * self.u_intercept * self.u_slope
        variance = self.u_intercept**2 + (away * self.u_slope) ** 2 + cross
        return self.intercept + self.slope * away, math.sqrt(max(0.0, variance))


def line(x: Sequence[float], y: Sequence[float], *, origin: float = 0.0) -> Line:
    """Return the line of least squares through points whose y all scatter alike. JCGM 100:2008, H.3.2.

    Raises ValueError for fewer than three points, for x and y of different lengths, or when all x are one.
    """
    if len(x) != len(y) or len(x) < 3:
        raise ValueError(f"a line through {len(x)} x and {len(y)} y (expected three points or more)")
    centre, middle = moments(x).mean, moments(y).mean
    across = [one - centre for one in x]
    spread = math.fsum(one * one for one in across)
    if not spread > 0:
        raise ValueError(f"all x are {centre:g}, or not numbers; no line is told by them")
    slope = math.fsum(one * (other - middle) for one, other in zip(across, y, strict=True)) / spread
    misses = [other - middle - slope * one for one, other in zip(across, y, strict=True)]
    freedom = len(x) - 2
    residual = math.sqrt(math.fsum(miss * miss for miss in misses) / freedom)
    away = origin - centre
    size = math.sqrt(1 / len(x) + away * away / spread)
    return Line(
        origin=origin,
        intercept=middle + slope * away,
        slope=slope,
        u_intercept=residual * size,
        u_slope=residual / math.sqrt(spread),
        correlation=away / (size * math.sqrt(spread)),
        residual=residual,
        freedom=float(freedom),
    )
