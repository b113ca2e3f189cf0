"""What the paper says of the decision rule, of U and of risk, and that it holds for the readings under it."""

import math
import re
from dataclasses import replace

import pytest
from scipy import stats

from benchtest.certificate import describe
from benchtest.certificate.rule import rule_sentences
from benchtest.language import english
from benchtest.metrology.conformity import Risk
from benchtest.metrology.coverage import normal_factor
from benchtest.metrology.decision import Rule
from benchtest.procedure import DecisionRule, Unresolved
from benchtest.results import Outcome, Result, Run, Verdict
from tests.records.finished import finished_readings, finished_run


def decided(rule: Rule, *, guard: float = 1.0, coverage: float = 2.0) -> str:
    """Return all that is said of a rule."""
    decision = DecisionRule(rule=rule, guard=guard, accept_conditional=False, coverage=coverage)
    return "\n".join(rule_sentences(replace(finished_run().procedure, decision=decision), english()))


def test_each_rule_is_named_by_its_words() -> None:
    """The four words of the non-binary statement, guarded acceptance, and simple acceptance without guard band."""
    assert "Conditional pass: inside by less than w." in decided("non-binary")
    assert "Conditional passes are not accepted" in decided("non-binary")
    assert "Guarded acceptance. Pass: inside the limits by w or more. Fail: everything else." in decided(
        "guarded acceptance"
    )
    simple = decided("simple acceptance", guard=0.0)
    assert "There is no guard band" in simple
    assert "Guard band w" not in simple
    assert "onditional" not in simple + decided("guarded acceptance")


@pytest.mark.parametrize(
    ("rule", "guard", "coverage", "said"),
    [
        ("non-binary", 1.0, 2.0, "below 2.5 %"),
        ("guarded acceptance", 1.5, 2.0, "below 2.5 %"),
        ("guarded acceptance", 0.5, 2.0, "at most 15.9 %"),  # Φ(-1)
        ("non-binary", 0.83, 2.0, "at most 4.85 %"),  # ISO 14253-1, in ILAC-G8:09/2019, table 1
        ("non-binary", 0.0, 2.0, "up to 50 %"),
        ("simple acceptance", 0.0, 2.0, "up to 50 %"),
        ("guarded acceptance", 2.0, normal_factor(0.9), "at most 5 %"),
    ],
)
def test_the_risk_of_a_pass_is_that_of_the_rule(rule: Rule, guard: float, coverage: float, said: str) -> None:
    """ILAC-G8:09/2019, table 1 (from memory): what a pass on the acceptance limit risks."""
    assert said in decided(rule, guard=guard, coverage=coverage)


@pytest.mark.parametrize("freedom", [1, 2, 5, 19, math.inf])
@pytest.mark.parametrize(("guard", "share"), [(0.5, 0.9545), (0.83, 0.9545), (1.0, 0.9), (2.0, 0.9), (3.0, 0.95)])
def test_no_degrees_of_freedom_make_a_pass_riskier_than_is_said(freedom: float, guard: float, share: float) -> None:
    """A value on the acceptance limit, r·k·u inside: SciPy's t and normal distributions say what it risks."""
    known = stats.norm if math.isinf(freedom) else stats.t(freedom)
    said = re.search(
        r"at most ([\d.]+) %|below ([\d.]+) %", decided("non-binary", guard=guard, coverage=normal_factor(share))
    )
    assert said is not None
    assert known.sf(guard * known.ppf((1 + share) / 2)) <= float(said[1] or said[2]) / 100 + 1e-4


def test_the_coverage_probability_is_stated() -> None:
    """The factor 2 is 95.45 %, the factor 3 99.73 % (GUM, table G.1); what is nearly all is not said to be all."""
    assert "coverage probability of 95.45 %" in decided("non-binary")
    assert "coverage probability of 99.73 %" in decided("non-binary", coverage=3.0)
    assert "coverage probability of 99 %" in decided("non-binary", coverage=normal_factor(0.99))
    assert "coverage probability of 99.999 %" in decided("non-binary", coverage=normal_factor(0.99999))


def numbered(run: Run) -> Result:
    """Return the first result with an uncertainty."""
    return next(result for result in run.results if result.uncertainty is not None)


def test_another_factor_stands_beside_its_reading_and_two_does_not() -> None:
    """The statement says k = 2 unless printed: a reading of few degrees of freedom prints its own."""
    run = finished_run()
    usual = numbered(run)
    few = replace(usual, coverage=2.8693, freedom=4.2)
    document = describe(replace(run, results=tuple(few if r is usual else r for r in run.results)), finished_readings())
    values = [row.value for section in document.sections for row in section.rows]
    assert 1 == len([value for value in values if "k =" in value])
    assert any(value.endswith("(k = 2.87)") for value in values)


@pytest.mark.parametrize("verdict", [Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL, Verdict.FAIL])
def test_what_did_not_simply_pass_says_how_likely_it_conforms(verdict: Verdict) -> None:
    """The probability of conformity stands in the note, after what the note says otherwise."""
    run = finished_run()
    risk = Risk(conformity=0.7123, consumer=None, producer=None)
    doubtful = replace(numbered(run), verdict=verdict, note="odd", risk=risk)
    document = describe(replace(run, outcome=Outcome.INCONCLUSIVE, results=(doubtful,)), finished_readings())
    assert ["odd; conforms with a probability of 71.2 %"] == [row.note for row in document.not_passed]


def test_a_limit_accepted_unresolved_is_named_with_its_reason() -> None:
    """The paper names the check, its ratio and the reason, and claims no general risk any more."""
    procedure = finished_run().procedure
    accepted = Unresolved(check="exercise.K3.operate", ratio=2.14, reason="screening only")
    said = "\n".join(rule_sentences(replace(procedure, unresolved=(accepted,)), english()))
    assert "K3 operate, tolerance / U = 2.1. Reason given: screening only" in said
    assert "below 2.5 %" not in said
