"""Results as the test cases of a build server, which counts passed, failed and errors and knows no other words.

A reading outside its limits is a failure. So is one that is undecided, because an undecided board must not turn a build
green. What could not be looked at is an error: nothing was read that speaks against the board, and nothing for it. When
the bench failed or the run was stopped, the board is not judged, and every case is that error whatever was read.
Nothing is skipped: what a variant leaves out has no checks.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final, Literal

from benchtest.metrology.figures import figures, permitted, unusual
from benchtest.procedure import Check, Interval, Procedure
from benchtest.results import Outcome, Result, Verdict

Counted = Literal["passed", "failure", "error"]
RUN: Final = "run"
"""Step of the case that stands for the run itself."""
COMPLETE: Final = "run complete"
"""Name of that case."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Case:
    """One check, or the run itself, as it is counted."""

    step: str
    """Identifier of its step."""
    name: str
    counted: Counted = "passed"
    word: str = ""
    """Verdict or outcome that made it a failure or an error."""
    sentence: str = ""
    check: Check | None = None
    result: Result | None = None


def cases(procedure: Procedure, results: Iterable[Result], outcome: Outcome, reason: str) -> tuple[Case, ...]:
    """Return a case for every check of the procedure, in order, and one for the run itself."""
    found = {result.check.id: result for result in results}
    judged = outcome not in {Outcome.BENCH_FAULT, Outcome.ABORTED}
    unjudged = "" if judged else f"{outcome}: {reason}; the board is not judged"
    each = [
        Case(step=step.id, name=check.title, counted="error", word=str(outcome), sentence=unjudged, check=check)
        if unjudged
        else _case(step.id, check, found.get(check.id), accepted=procedure.decision.accept_conditional)
        for step in procedure.steps
        for check in step.checks
    ]
    return (*each, *_run_itself(each, outcome, reason, unjudged))


def _case(step: str, check: Check, result: Result | None, *, accepted: bool) -> Case:
    if result is None or result.verdict is Verdict.NOT_TESTED:
        why = (result.note or "nothing was decided") if result else "never reached"
        sentence, word = f"not tested: {check.title}: {why}", str(Verdict.NOT_TESTED)
        return Case(
            step=step, name=check.title, counted="error", word=word, sentence=sentence, check=check, result=result
        )
    good = result.verdict is Verdict.PASS or (accepted and result.verdict is Verdict.CONDITIONAL_PASS)
    if good:
        return Case(step=step, name=check.title, check=check, result=result)
    return Case(
        step=step,
        name=check.title,
        counted="failure",
        word=str(result.verdict),
        sentence=f"{result.verdict}: {check.title}: expected {expected(check)}, measured {measured(result)}, "
        f"probe {check.probe}",
        check=check,
        result=result,
    )


def _run_itself(each: Iterable[Case], outcome: Outcome, reason: str, unjudged: str) -> Iterator[Case]:
    if unjudged:
        yield Case(step=RUN, name=COMPLETE, counted="error", word=str(outcome), sentence=reason)
    elif outcome is Outcome.PASS or any(case.counted != "passed" for case in each):
        yield Case(step=RUN, name=COMPLETE)
    else:  # nothing that was read says why, so the run does
        yield Case(step=RUN, name=COMPLETE, counted="failure", word=str(outcome), sentence=f"{outcome}: {reason}")


def expected(check: Check) -> str:
    """Return what is permitted, as a person reads it."""
    limits = check.permitted
    return permitted(limits.low, limits.high, check.unit) if isinstance(limits, Interval) else limits


def measured(result: Result) -> str:
    """Return what was read, with its expanded uncertainty where it has one."""
    if result.value is None:
        return "nothing"
    return figures(result.value, result.uncertainty, result.check.unit, coverage=unusual(result.coverage))
