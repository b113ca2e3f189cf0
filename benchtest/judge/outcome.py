"""From results to an outcome and one sentence why."""

from collections.abc import Sequence

from benchtest.metrology.decision import inside
from benchtest.metrology.figures import figures, unusual
from benchtest.procedure import DecisionRule, Interval, StillOn
from benchtest.results import Outcome, Result, Verdict


def conclude(results: Sequence[Result], decision: DecisionRule, *, complete: bool) -> tuple[Outcome, str]:
    """Return how a run ended and why, for a run whose bench was in order.

    `complete` is True when every step was performed. A conditional fail is no failure outside doubt: it is undecided,
    and so is a conditional pass unless the rule accepts those. A board has failed for a value outside a limit; one that
    guarded acceptance refuses inside the limit is not accepted, which proves nothing against the board. Nor does an
    output that the bench left on, or what was read while it was on: that is the bench's own fault.
    """
    failed = [result for result in results if result.verdict is Verdict.FAIL and not _refused_inside(result)]
    left_on = [result for result in failed if isinstance(result.check.measurand, StillOn)]
    meanwhile = {_step_of(result) for result in left_on}
    if any(_step_of(result) not in meanwhile for result in failed):
        return Outcome.FAIL, _first(failed, "failed")
    if left_on:
        return Outcome.BENCH_FAULT, _first(left_on, "failed")
    open_questions = [result for result in results if not _settled(result, decision)]
    if open_questions:
        first = open_questions[0]
        return Outcome.INCONCLUSIVE, _first(open_questions, "not accepted" if _refused_inside(first) else first.verdict)
    if not complete:
        return Outcome.INCONCLUSIVE, "the run ended before its last step"
    if not results:
        return Outcome.INCONCLUSIVE, "nothing was looked at"
    return Outcome.PASS, _all_passed(results)


def _step_of(result: Result) -> str:
    return result.check.id.partition(".")[0]


def _settled(result: Result, decision: DecisionRule) -> bool:
    accepted = result.verdict is Verdict.CONDITIONAL_PASS and decision.accept_conditional
    return accepted or result.verdict is Verdict.PASS


def _refused_inside(result: Result) -> bool:
    """Return whether a value inside its limits was refused for the guard band's sake."""
    match result.check.permitted, result.value:
        case Interval(low=low, high=high), float(value):
            return result.verdict is Verdict.FAIL and inside(value, low=low, high=high)
        case _:
            return False


def _first(results: Sequence[Result], what: str) -> str:
    """Name the first result, what was found, and how many more there are."""
    first = results[0]
    subject, title = first.check.subject, first.check.title
    named = title if subject in title else f"{subject}: {title}"
    found = first.note if first.value is None else _found(first)
    others = f"; {len(results) - 1} more" if len(results) > 1 else ""
    return f"{named} {what}{f' ({found})' if found else ''}{others}"


def _found(result: Result) -> str:
    return figures(result.value, result.uncertainty, result.check.unit, coverage=unusual(result.coverage))


def _all_passed(results: Sequence[Result]) -> str:
    conditional = sum(result.verdict is Verdict.CONDITIONAL_PASS for result in results)
    accepted = f", {conditional} of them conditionally, which the profile accepts" if conditional else ""
    return f"all {len(results)} checks passed{accepted}"
