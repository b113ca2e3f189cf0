"""What a decision rule risks over many items, when it is known how the items scatter.

Every item has a true value from a prior distribution; it is read with an error; it is accepted when the reading lies in
the acceptance interval. The global consumer's risk is the share of items that are accepted and do not conform, the
global producer's risk the share that are rejected and do. Both are integrals over the prior, taken piece by piece
between the limits with Gauss-Legendre quadrature, pieces no longer than the finest thing in them.

Source: JCGM 106:2012, 9.5 (equations from memory); checked against its example 9.5.4 and against SciPy.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from benchtest.metrology.coverage import below

Values = NDArray[np.float64]
NODES: Final = 24
"""Of each piece: exact for a polynomial of degree 47."""
REACH: Final = 12.0
"""Standard deviations of a prior beyond which there is nothing to be found."""


class Prior(Protocol):
    """How true values are distributed among items."""

    @property
    def mean(self) -> float: ...
    @property
    def deviation(self) -> float: ...
    @property
    def lowest(self) -> float: ...
    def density(self, values: Values) -> Values:
        """Return the probability density at each value."""
        ...


@dataclass(frozen=True, kw_only=True, slots=True)
class Normal:
    """A process that scatters normally."""

    mean: float
    deviation: float
    """Standard deviation, above zero."""
    lowest: float = -math.inf

    def density(self, values: Values) -> Values:
        """Return the probability density at each value."""
        scale = self.deviation * math.sqrt(2 * math.pi)
        shape: Values = np.exp(-0.5 * ((values - self.mean) / self.deviation) ** 2)
        return shape / scale


@dataclass(frozen=True, kw_only=True, slots=True)
class Gamma:
    """A quantity that cannot be negative, such as a deviation from roundness."""

    mean: float
    deviation: float
    """Standard deviation; at most the mean, so that the density stays finite at zero."""
    lowest: float = 0.0

    def __post_init__(self) -> None:
        if not 0 < self.deviation <= self.mean:
            raise ValueError(f"a gamma prior of mean {self.mean!r} needs a deviation up to it, got {self.deviation!r}")

    def density(self, values: Values) -> Values:
        """Return the probability density at each value."""
        shape = (self.mean / self.deviation) ** 2
        rate = shape / self.mean
        logarithm = shape * math.log(rate) - math.lgamma(shape) - rate * values
        return np.asarray(np.exp(logarithm) * values ** (shape - 1))


@dataclass(frozen=True, kw_only=True, slots=True)
class GlobalRisk:
    """Shares of all items."""

    nonconforming: float
    consumer: float
    """Accepted and not conforming."""
    producer: float
    """Rejected and conforming."""
    accepted: float

    @property
    def nonconforming_accepted(self) -> float:
        """Share of the accepted items that do not conform."""
        return self.consumer / self.accepted if self.accepted else math.nan


def global_risk(
    prior: Prior, standard: float, *, low: float | None, high: float | None, band: float = 0.0
) -> GlobalRisk:
    """Return the risks of accepting readings of standard uncertainty `standard` that lie inside by `band` or more.

    Raises ValueError when the uncertainty is not above zero or the guard bands meet.
    """
    if not 0 < standard < math.inf:
        raise ValueError(f"a standard uncertainty of {standard!r} (expected one above zero)")
    floor, ceiling = -math.inf if low is None else low, math.inf if high is None else high
    if floor + band > ceiling - band:
        raise ValueError(f"nothing is left between {floor:g} and {ceiling:g} with a guard band of {band:g}")

    def accepted(values: Values) -> Values:
        least, most = floor + band, ceiling - band
        return np.array([below((most - v) / standard) - below((least - v) / standard) for v in values])

    pieces = list(_pieces(prior, standard, (floor, floor + band, ceiling - band, ceiling)))
    inside = [piece for piece in pieces if floor <= sum(piece) / 2 <= ceiling]
    outside = [piece for piece in pieces if piece not in inside]
    bad = _integral(prior.density, outside)
    consumer = _integral(lambda v: prior.density(v) * accepted(v), outside)
    good_accepted = _integral(lambda v: prior.density(v) * accepted(v), inside)
    return GlobalRisk(
        nonconforming=bad,
        consumer=consumer,
        producer=_integral(lambda v: prior.density(v) * (1 - accepted(v)), inside),
        accepted=consumer + good_accepted,
    )


def _pieces(prior: Prior, standard: float, marks: Iterable[float]) -> Iterable[tuple[float, float]]:
    """Cut what the prior reaches at the marks, and between them into pieces of one deviation of the finer bell."""
    begin = max(prior.lowest, prior.mean - REACH * prior.deviation)
    end = prior.mean + (REACH if math.isinf(prior.lowest) else 4 * REACH) * prior.deviation
    cuts = sorted({begin, end, *(mark for mark in marks if begin < mark < end)})
    for one, other in pairwise(cuts):
        count = math.ceil((other - one) / min(standard, prior.deviation))
        yield from pairwise(float(cut) for cut in np.linspace(one, other, count + 1))


def _integral(function: Callable[[Values], Values], pieces: list[tuple[float, float]]) -> float:
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return math.fsum(
        float(function((one + other) / 2 + (other - one) / 2 * nodes) @ weights) * (other - one) / 2
        for one, other in pieces
    )
