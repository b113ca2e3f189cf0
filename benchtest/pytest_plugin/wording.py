"""What pytest prints of a check that did not pass: in a technician's words, with the place of its limit."""

from collections.abc import Iterable, Iterator
from typing import Final

from benchtest.metrology.figures import chance, figures, percent
from benchtest.records.cases import Case, expected
from benchtest.results import Outcome, Result, Suspected

SUSPECTS: Final = 3
"""Suspects that are named with every failure; `benchtest diagnose` tells more."""


def told(case: Case, suspects: Iterable[Suspected] = ()) -> str:
    """Return the lines of a case; one sentence and its place where nothing was measured."""
    check, result = case.check, case.result
    if check is None or case.word in {Outcome.BENCH_FAULT, Outcome.ABORTED}:
        return case.sentence
    if result is None or case.counted == "error":
        return f"{case.sentence}\n{check.place}"
    facts = {
        "expected": expected(check),
        "measured": _measured(result),
        "note": result.note,
        "conforms": f"with a probability of {chance(result.risk.conformity)}" if result.risk else "",
        "limit": check.place,
        "probe": check.probe,
        "evidence of": ", ".join(check.requirement),
    }
    lines = [f"{check.title}: {case.word}", *(f"  {label:<11}  {text}" for label, text in facts.items() if text)]
    return "\n".join([*lines, *_suspected(suspects)])


def _measured(result: Result) -> str:
    if result.value is None:
        return "nothing"
    return figures(result.value, result.uncertainty, result.check.unit, coverage=result.coverage)


def _suspected(suspects: Iterable[Suspected]) -> Iterator[str]:
    for number, one in enumerate(suspects):
        if number == SUSPECTS:
            return
        label = "" if number else "look first"
        yield f"  {label:<11}  {percent(one.probability)} {one.named}"
