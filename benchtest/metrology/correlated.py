"""Budgets whose inputs are not independent, propagated by GTC of the Measurement Standards Laboratory of New Zealand.

Every influence becomes one uncertain real number of GTC, and the result is the sum of the terms; what is common to
several terms is carried with its sign, and effective degrees of freedom come from GTC too. Loading GTC takes longer
than judging a whole board, so that this module is imported when the first such budget is combined, and never before.
"""

import math
from collections.abc import Iterable, Mapping
from typing import Any

from GTC import multiple_ureal, set_correlation, ureal

from benchtest.metrology.budget import Budget, Combined, Term


def propagate(budget: Budget) -> Combined:
    """Return what a budget of finite contributions comes to, according to GTC.

    Raises ValueError when terms of one influence disagree about it, or correlated influences differ in their degrees of
    freedom, for which no effective degrees of freedom are defined.
    """
    quantities = _quantities(budget)
    total: Any = 0.0
    for term in budget.terms:
        total = total + term.sensitivity * quantities[term.influence]
    standard = float(getattr(total, "u", 0.0))
    freedom = float(total.df) if standard > 0 else math.inf
    return Combined(standard=standard, freedom=freedom)


def _quantities(budget: Budget) -> Mapping[str, Any]:
    """Return one uncertain number per influence, all of value zero: only changes matter."""
    inputs = _inputs(budget.terms)
    together = {name for pair in budget.correlations for name in (pair.one, pair.other)}
    unknown = together - inputs.keys()
    if unknown:
        raise ValueError(f"{min(unknown)!r} is correlated but no term of the budget")
    numbers = {name: ureal(0.0, *facts) for name, facts in inputs.items() if name not in together}
    numbers |= _ensemble({name: inputs[name] for name in inputs if name in together})
    for pair in budget.correlations:
        set_correlation(pair.coefficient, numbers[pair.one], numbers[pair.other])
    return numbers


def _inputs(terms: Iterable[Term]) -> dict[str, tuple[float, float]]:
    """Return standard uncertainty and degrees of freedom of every influence."""
    inputs: dict[str, tuple[float, float]] = {}
    for term in terms:
        facts = (term.standard, term.freedom)
        if inputs.setdefault(term.influence, facts) != facts:
            raise ValueError(f"terms disagree about {term.influence!r}: {inputs[term.influence]} and {facts}")
    return inputs


def _ensemble(inputs: Mapping[str, tuple[float, float]]) -> dict[str, Any]:
    """Return correlated inputs; with finite degrees of freedom they are one set of simultaneous readings."""
    freedoms = {freedom for _, freedom in inputs.values()}
    if len(freedoms) > 1:
        raise ValueError(f"correlated inputs have {sorted(freedoms)} degrees of freedom (expected the same for all)")
    if freedoms <= {math.inf}:
        return {name: ureal(0.0, standard, independent=False) for name, (standard, _) in inputs.items()}
    standards = [standard for standard, _ in inputs.values()]
    return dict(zip(inputs, multiple_ureal([0.0] * len(standards), standards, freedoms.pop()), strict=True))
