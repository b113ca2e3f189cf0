"""One reading's uncertainty budget, found by name in a run and laid out for 80 columns or as JSON."""

import difflib
import json
import math
from typing import Any, Final

import click

from benchtest.cli.words import expected, found, say
from benchtest.metrology.budget import Term
from benchtest.metrology.coverage import probability, whole
from benchtest.metrology.figures import chance, percent, plain
from benchtest.results import Result, Run

NEAR: Final = 5
"""Names that are listed where one is not known."""
MANY: Final = 1e6
"""Degrees of freedom that nobody counts."""


def show_budget(run: Run, name: str, *, as_json: bool) -> None:
    """Print the budget of the reading that `name` means; wrong usage when it means none, or several."""
    result = chosen(run, name)
    if as_json:
        click.echo(json.dumps(_document(run, result), ensure_ascii=False))
    else:
        for text in _lines(run, result):
            say(text)


def chosen(run: Run, name: str) -> Result:
    """Return the one result meant by a check's identifier, the end of one, or subject and beginning of a name.

    `exercise.K3.operate-time`, `K3.operate-time`, `K3.operate` and `K3 operate time` are the same reading. Raises
    UsageError with the nearest names.
    """
    asked = name.strip().replace(" ", "-").lower()
    results = {result.check.id: result for result in run.results}
    for means in (_whole_name, _title, _beginning):
        meant = [result for result in results.values() if means(result, asked)]
        if len(meant) == 1:
            return meant[0]
        if meant:
            raise click.UsageError(f"{name!r} may be {_listed([result.check.id for result in meant])}")
    known = [*results, *(_short(result) for result in results.values())]
    near = difflib.get_close_matches(asked, known, n=NEAR, cutoff=0.3)
    tried = f"nearest: {_listed(near)}" if near else "see 'benchtest show RUN --all --json' for the identifiers"
    raise click.UsageError(f"no reading of this run is called {name!r} ({tried})")


def _listed(names: list[str]) -> str:
    more = f" and {len(names) - NEAR} more" if len(names) > NEAR else ""
    return ", ".join(names[:NEAR]) + more


def _short(result: Result) -> str:
    return result.check.id.partition(".")[2]


def _whole_name(result: Result, asked: str) -> bool:
    return asked in {result.check.id.lower(), _short(result).lower()}


def _title(result: Result, asked: str) -> bool:
    return result.check.title.replace(" ", "-").lower() == asked


def _beginning(result: Result, asked: str) -> bool:
    return _short(result).lower().startswith(asked) or result.check.id.lower().startswith(asked)


def _lines(run: Run, result: Result) -> list[str]:
    check = result.check
    head = [f"{check.title}: {found(result)}; {result.verdict}", f"permitted {expected(result)}", check.id]
    if result.budget is None or result.uncertainty is None or result.coverage is None:
        return [*head, _without(result)]
    unit, standard = check.unit, result.budget.standard
    covered = probability(run.procedure.decision.coverage)
    rows = [_row(term, standard, unit) for term in result.budget.terms]
    title = (
        f"  {'term':<17} {'u (input)':>9} {'type':<11} {'dof':>3} {'sensitivity':>11} {'contribution':>12} {'share':>9}"
    )
    return [
        *head,
        "",
        title,
        *rows,
        "",
        *(f"  one quantity behind several terms: {one}" for one in _shared(result.budget.terms)),
        f"  combined standard uncertainty u = {plain(standard, unit, digits=3)}",
        f"  effective degrees of freedom {_freedom(result.freedom)}",
        f"  k = {result.coverage:.4g} for a coverage probability of {covered * 100:.6g} %",
        f"  U = {plain(result.uncertainty, unit, digits=3)}",
        *_risk(result),
    ]


def _without(result: Result) -> str:
    if result.uncertainty is not None:
        return "this run was made before budgets were kept; only U and k are known"
    if result.value is None:
        return f"nothing was read: {result.note}" if result.note else "nothing was read"
    counted = isinstance(result.value, str) or not result.check.unit
    return "it has no uncertainty: words and counts are compared exactly" if counted else result.note


def _row(term: Term, standard: float, unit: str) -> str:
    size, contribution = plain(term.standard, term.unit or "%", digits=3), plain(term.contribution, unit, digits=3)
    return (
        f"  {term.name[:17]:<17} {size:>9} {term.distribution:<11} {_whole(term.freedom):>3} "
        f"{_sensitivity(term, unit):>11} {contribution:>12} {_share(term, standard):>9}"
    )


def _sensitivity(term: Term, unit: str) -> str:
    """Return the sensitivity with its unit: of the result, per unit of the input."""
    size = term.sensitivity
    if term.unit == unit:
        return f"{size:.3g}".replace("-", "−")
    if not term.unit:
        return plain(size, unit, digits=3)
    if unit == "%":
        size *= 100
    return f"{size:.3g} {unit or '1'}/{term.unit}".replace("-", "−")


def _share(term: Term, standard: float) -> str:
    return percent((term.contribution / standard) ** 2) if standard > 0 else "–"


def _whole(freedom: float) -> str:
    return "∞" if math.isinf(freedom) else f"{whole(freedom):.4g}"


def _freedom(freedom: float | None) -> str:
    if freedom is None or math.isinf(freedom):
        return "∞"
    if freedom > MANY:
        return "more than a million"
    return f"{freedom:.4g}, taken as {whole(freedom):.0f}"


def _shared(terms: tuple[Term, ...]) -> list[str]:
    influences = [term.influence for term in terms]
    return [name for name in dict.fromkeys(influences) if influences.count(name) > 1]


def _risk(result: Result) -> list[str]:
    if result.risk is None:
        return []
    lines = [f"  probability that it conforms {chance(result.risk.conformity)}"]
    if result.risk.consumer is not None:
        lines.append(f"  specific consumer's risk {chance(result.risk.consumer)}")
    if result.risk.producer is not None:
        lines.append(f"  specific producer's risk {chance(result.risk.producer)}")
    return lines


def _document(run: Run, result: Result) -> dict[str, Any]:
    """Return one budget for machines; its format keeps its shape. What is infinite or not a number is null."""
    budget, risk = result.budget, result.risk
    standard = None if budget is None else budget.standard
    return {
        "format": "benchtest-budget/1",
        "run": run.id,
        "check": result.check.id,
        "title": result.check.title,
        "value": _finite(result.value),
        "unit": result.check.unit,
        "verdict": result.verdict.value,
        "terms": [_term(term, standard or 0.0) for term in budget.terms] if budget else [],
        "standard": _finite(standard),
        "freedom": _finite(result.freedom),
        "coverage": _finite(result.coverage),
        "uncertainty": _finite(result.uncertainty),
        "conformity": None if risk is None else risk.conformity,
        "consumer_risk": None if risk is None else risk.consumer,
        "producer_risk": None if risk is None else risk.producer,
    }


def _term(term: Term, standard: float) -> dict[str, Any]:
    return {
        "name": term.name,
        "influence": term.influence,
        "standard": _finite(term.standard),
        "unit": term.unit,
        "distribution": term.distribution,
        "freedom": _finite(term.freedom),
        "sensitivity": _finite(term.sensitivity),
        "contribution": _finite(term.contribution),
        "share": _finite((term.contribution / standard) ** 2) if standard > 0 else None,
    }


def _finite(value: float | str | None) -> float | str | None:
    return None if isinstance(value, float) and not math.isfinite(value) else value
