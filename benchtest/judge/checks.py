"""One check → one result: ask the measurand's function, then compare."""

from collections.abc import Iterable
from typing import assert_never

from benchtest.judge import lamps, moments, scalars, states, traffic, voltages
from benchtest.judge.finding import Case, Finding, NotSeen, Undecided
from benchtest.metrology.decision import decide
from benchtest.metrology.uncertainty import expanded
from benchtest.procedure import (
    Absent,
    Bounce,
    Check,
    ContactResistance,
    Delay,
    EffectiveValue,
    Interval,
    LampCode,
    Limiting,
    Mean,
    MessageAnswer,
    MessageGap,
    MessagePeriod,
    OpenShare,
    Procedure,
    Scalar,
    SignalValue,
    StateOf,
    Step,
    Still,
    StillOn,
)
from benchtest.readings import Readings
from benchtest.results import Result, Verdict


def judge_check(check: Check, procedure: Procedure, readings: Readings) -> Result:
    """Return the result of one check. Never raises for what the board or the bench did: that is data."""
    try:
        finding = _find(Case(check=check, procedure=procedure, readings=readings))
    except Undecided as reason:
        return _nothing(check, readings, Verdict.NOT_TESTED, str(reason))
    except NotSeen as fact:
        return _nothing(check, readings, Verdict.FAIL, str(fact))
    return _compared(check, procedure, readings, finding)


def judge_step(step: Step, procedure: Procedure, readings: Readings) -> tuple[Result, ...]:
    """Return the results of a step's checks, in their order."""
    return tuple(judge_check(check, procedure, readings) for check in step.checks)


def judge_all(procedure: Procedure, readings: Readings) -> tuple[Result, ...]:
    """Return the results of every check of the procedure, in order."""
    return tuple(_flat(judge_step(step, procedure, readings) for step in procedure.steps))


def _flat(steps: Iterable[tuple[Result, ...]]) -> Iterable[Result]:
    return (result for results in steps for result in results)


def _find(case: Case) -> Finding:
    match case.check.measurand:
        case Scalar() | Limiting() | StillOn() as asked:
            return scalars.find(case, asked)
        case Mean() | EffectiveValue() | ContactResistance() | OpenShare() as asked:
            return voltages.find(case, asked)
        case Delay() | Bounce() as asked:
            return moments.find(case, asked)
        case StateOf() | Still() as asked:
            return states.find(case, asked)
        case LampCode() as asked:
            return lamps.lamp_code(case, asked)
        case MessagePeriod() | MessageGap() | MessageAnswer() | SignalValue() as asked:
            return traffic.find(case, asked)
        case Absent(reason=reason):
            raise Undecided(reason)
        case never:
            assert_never(never)


def _compared(check: Check, procedure: Procedure, readings: Readings, finding: Finding) -> Result:
    rule = procedure.decision
    uncertainty = None if finding.budget is None else expanded(finding.budget.standard, rule.coverage)
    return Result(
        check=check,
        value=finding.value,
        uncertainty=uncertainty,
        coverage=None if uncertainty is None else rule.coverage,
        verdict=_verdict(check.permitted, finding, uncertainty or 0.0, rule.guard),
        note=finding.note,
        origin=readings.origin,
    )


def _verdict(permitted: Interval | str, finding: Finding, uncertainty: float, guard: float) -> Verdict:
    if not finding.decided:
        return Verdict.NOT_TESTED
    match permitted, finding.value:
        case str(expected), str(word):
            return Verdict.PASS if word == expected else Verdict.FAIL
        case Interval(low=low, high=high), float(value):
            return Verdict(decide(value, uncertainty, low=low, high=high, guard=guard))
        case _:  # a word where a range is permitted, or a number where a word is
            return Verdict.NOT_TESTED


def _nothing(check: Check, readings: Readings, verdict: Verdict, note: str) -> Result:
    return Result(
        check=check, value=None, uncertainty=None, coverage=None, verdict=verdict, note=note, origin=readings.origin
    )
