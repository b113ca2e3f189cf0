"""Terms, budgets, and what they combine to.

A term is one input quantity with its standard uncertainty and how strongly it moves the result. Terms that name the
same influence are one quantity: their effects add with their signs before anything is squared, so that what two
readings of one instrument have in common cancels in a difference. Everything else is independent, unless a budget names
a correlation.

Where all inputs are independent, the root of the sum of squares and the Welch-Satterthwaite formula are all there is to
it, and they are worked out here in a few microseconds. Where they are not, GTC is asked (`metrology.correlated`).

Source: JCGM 100:2008 (GUM), 5.1.2, 5.2, 6.2.1, G.4.1.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from benchtest.metrology.coverage import factor
from benchtest.metrology.distributions import Distribution


@dataclass(frozen=True, kw_only=True, slots=True)
class Term:
    """One contribution to a budget."""

    name: str
    """For people: calibration, resolution, repeatability …"""
    influence: str
    """Identity of the input quantity; terms of one influence are one quantity."""
    standard: float
    """Standard uncertainty of the input quantity, in `unit`."""
    unit: str
    """Of the input quantity; empty for a ratio."""
    distribution: Distribution
    freedom: float = math.inf
    """Degrees of freedom of `standard`."""
    sensitivity: float = 1.0
    """Change of the result per change of the input quantity, with its sign."""

    def __post_init__(self) -> None:
        if self.standard < 0:
            raise ValueError(f"{self.name}: a standard uncertainty of {self.standard!r} {self.unit} is below zero")

    @property
    def contribution(self) -> float:
        """Standard uncertainty in the unit of the result."""
        return abs(self.sensitivity) * self.standard

    def scaled(self, sensitivity: float) -> "Term":
        """Return the term of a result that changes by `sensitivity` per change of this one. 5.1.3."""
        return Term(
            name=self.name,
            influence=self.influence,
            standard=self.standard,
            unit=self.unit,
            distribution=self.distribution,
            freedom=self.freedom,
            sensitivity=self.sensitivity * sensitivity,
        )


@dataclass(frozen=True, kw_only=True, slots=True)
class Correlation:
    """Two influences that are estimated together."""

    one: str
    other: str
    coefficient: float
    """From -1 to 1."""

    def __post_init__(self) -> None:
        if not -1 <= self.coefficient <= 1:
            raise ValueError(f"{self.one}, {self.other}: {self.coefficient!r} is not a correlation coefficient")


@dataclass(frozen=True, kw_only=True, slots=True)
class Combined:
    """What a budget comes to."""

    standard: float
    """Combined standard uncertainty, in the unit of the result."""
    freedom: float
    """Effective degrees of freedom, not truncated; infinite when every term's are."""

    def expanded(self, coverage: float) -> tuple[float, float]:
        """Return U and the factor k that makes it; `coverage` is k for infinite degrees of freedom. 6.2.1, G.4.1."""
        k = factor(self.freedom, coverage)
        return (k * self.standard if self.standard else self.standard), k


@dataclass(frozen=True, kw_only=True, slots=True)
class Budget:
    """All contributions to one result."""

    terms: tuple[Term, ...]
    correlations: tuple[Correlation, ...] = ()

    @property
    def standard(self) -> float:
        """Combined standard uncertainty."""
        return combine(self).standard

    def scaled(self, sensitivity: float) -> "Budget":
        """Return the budget of a result that changes by `sensitivity` per change of this one. 5.1.3."""
        return Budget(terms=tuple(term.scaled(sensitivity) for term in self.terms), correlations=self.correlations)


def combine(budget: Budget) -> Combined:
    """Return the combined standard uncertainty and its effective degrees of freedom.

    Not a number when one contribution is not; raises ValueError when terms contradict one another.
    """
    contributions = [term.contribution for term in budget.terms]
    if not all(map(math.isfinite, contributions)):
        return Combined(standard=combined(contributions), freedom=math.inf)
    if budget.correlations or len({term.influence for term in budget.terms}) < len(contributions):
        return _through_gtc(budget)
    standard = combined(contributions)
    freedoms = (term.freedom for term in budget.terms)
    return Combined(standard=standard, freedom=effective_freedom(standard, zip(contributions, freedoms, strict=True)))


def _through_gtc(budget: Budget) -> Combined:
    from benchtest.metrology.correlated import propagate

    return propagate(budget)


def combined(standards: Iterable[float]) -> float:
    """Return the root of the sum of squares of independent terms; not a number if one of them is not. 5.1.2."""
    return math.sqrt(math.fsum(standard * standard for standard in standards))


def effective_freedom(standard: float, parts: Iterable[tuple[float, float]]) -> float:
    """Return the effective degrees of freedom of independent parts: pairs of contribution and degrees of freedom.

    Welch-Satterthwaite, JCGM 100:2008, G.4.1 (G.2b). Nothing is rounded on the way: with u rounded to 32 nm, example
    H.1 would get 17 degrees of freedom instead of 16.
    """
    if not standard > 0:
        return math.inf
    limited = math.fsum((part / standard) ** 4 / freedom for part, freedom in parts if part)
    return 1 / limited if limited else math.inf


def expanded(standard: float, coverage: float) -> float:
    """Return U = k·u. JCGM 100:2008, 6.2.1."""
    return coverage * standard


def joined(*budgets: Budget) -> Budget:
    """Return the budget of a sum of readings; what they have in common is told by the influences of their terms."""
    return Budget(
        terms=tuple(term for budget in budgets for term in budget.terms),
        correlations=tuple(dict.fromkeys(one for budget in budgets for one in budget.correlations)),
    )
