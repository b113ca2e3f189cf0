"""One check → one result: ask the measurand's function, then compare."""

from collections.abc import Iterable
from typing import assert_never

from benchtest.judge import bench, lamps, moments, scalars, states, traffic, voltages
from benchtest.judge.finding import Case, Finding, NotSeen, Undecided
from benchtest.metrology.budget import Combined, combine
from benchtest.metrology.conformity import Risk, specific_risk
from benchtest.metrology.decision import decide, inside
from benchtest.metrology.figures import before_rounding, plain
from benchtest.procedure import (
    Absent,
    Bounce,
    Check,
    ClockRate,
    ContactResistance,
    DecisionRule,
    Delay,
    EffectiveValue,
    Extent,
    HeardBack,
    Interval,
    LampCode,
    Limiting,
    Mean,
    MessageAnswer,
    MessageGap,
    MessagePeriod,
    OpenShare,
    Procedure,
    RoundTrip,
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
        case Mean() | Extent() | EffectiveValue() | ContactResistance() | OpenShare() as asked:
            return voltages.find(case, asked)
        case Delay() | Bounce() as asked:
            return moments.find(case, asked)
        case StateOf() | Still() as asked:
            return states.find(case, asked)
        case LampCode() as asked:
            return lamps.lamp_code(case, asked)
        case MessagePeriod() | MessageGap() | MessageAnswer() | SignalValue() as asked:
            return traffic.find(case, asked)
        case RoundTrip() | ClockRate() | HeardBack() as asked:
            return bench.find(case, asked)
        case Absent(reason=reason):
            raise Undecided(reason)
        case never:
            assert_never(never)


def _compared(check: Check, procedure: Procedure, readings: Readings, finding: Finding) -> Result:
    """Return the finding with its uncertainty, its word, and what the word risks."""
    rule = procedure.decision
    if finding.budget is None:
        return Result(
            check=check,
            value=finding.value,
            uncertainty=None,
            coverage=None,
            verdict=_verdict(check.permitted, finding, 0.0, rule),
            note=_noted(finding.note, _rounded(check, finding, None)),
            origin=readings.origin,
        )
    both = combine(finding.budget)
    uncertainty, coverage = both.expanded(rule.coverage)
    verdict = _verdict(check.permitted, finding, uncertainty, rule)
    refused = _refused(check, finding, rule.guard * uncertainty, verdict)
    return Result(
        check=check,
        value=finding.value,
        uncertainty=uncertainty,
        coverage=coverage,
        verdict=verdict,
        note=_noted(finding.note, refused, _rounded(check, finding, uncertainty)),
        origin=readings.origin,
        budget=finding.budget,
        freedom=both.freedom,
        risk=_risk(check.permitted, finding, both, verdict),
    )


def _verdict(permitted: Interval | str, finding: Finding, uncertainty: float, rule: DecisionRule) -> Verdict:
    if not finding.decided:
        return Verdict.NOT_TESTED
    match permitted, finding.value:
        case str(expected), str(word):
            return Verdict.PASS if word == expected else Verdict.FAIL
        case Interval(low=low, high=high), float(value):
            return Verdict(decide(value, uncertainty, low=low, high=high, guard=rule.guard, rule=rule.rule))
        case _:  # a word where a range is permitted, or a number where a word is
            return Verdict.NOT_TESTED


def _risk(permitted: Interval | str, finding: Finding, both: Combined, verdict: Verdict) -> Risk | None:
    match permitted, finding.value:
        case Interval(low=low, high=high), float(value):
            return specific_risk(verdict.value, value, both.standard, low=low, high=high, freedom=both.freedom)
        case _:
            return None


def _refused(check: Check, finding: Finding, band: float, verdict: Verdict) -> str:
    """Return why a value inside the limits was not accepted; empty for everything else."""
    if verdict is not Verdict.FAIL:
        return ""
    match check.permitted, finding.value:
        case Interval(low=low, high=high), float(value) if inside(value, low=low, high=high):
            return f"inside the limits by less than the guard band of {plain(band, check.unit)}"
        case _:
            return ""


def _rounded(check: Check, finding: Finding, uncertainty: float | None) -> str:
    """Return the value as it was decided, where it is printed on the other side of a limit; else empty."""
    match check.permitted, finding.value:
        case Interval(low=low, high=high), float(value):
            full = before_rounding(value, uncertainty, check.unit, low=low, high=high)
            return f"{full} before rounding" if full else ""
        case _:
            return ""


def _noted(*notes: str) -> str:
    return "; ".join(filter(None, notes))


def _nothing(check: Check, readings: Readings, verdict: Verdict, note: str) -> Result:
    return Result(
        check=check, value=None, uncertainty=None, coverage=None, verdict=verdict, note=note, origin=readings.origin
    )
