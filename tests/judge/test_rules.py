"""The three decision rules on one reading, what a word risks, and how a run ends under each."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from benchtest.cli.documents import Prepared
from benchtest.judge import conclude, judge_all
from benchtest.metrology.decision import Rule
from benchtest.procedure import DecisionRule, Limiting, Mean, Scalar
from benchtest.readings import Supplied, Value
from benchtest.results import Outcome, Result, Verdict
from tests.judge.workbench import CHANNELS, STEP, Bench, recorded, within

MEAN = Mean(evidence="e", channel=301, start=0.02, end=0.08)
LIMITS = within(None, 24.0)
U = 2 * math.hypot(0.015 / math.sqrt(3), 0.0015 / math.sqrt(12))
"""Of 24 V on channel 301: 17.3 mV."""


def judged(volts: float, rule: Rule, *, guard: float = 1.0) -> Result:
    """Return a steady voltage judged under a rule."""
    bench = Bench(decision=DecisionRule(guard=guard, accept_conditional=False, rule=rule))
    return bench.judge(MEAN, LIMITS, unit="V", evidence=recorded({301: np.full(1000, volts)}))


@pytest.mark.parametrize(
    ("volts", "full", "guarded", "simple"),
    [
        (23.97, "pass", "pass", "pass"),
        (23.99, "conditional pass", "fail", "pass"),
        (24.01, "conditional fail", "fail", "fail"),
        (24.03, "fail", "fail", "fail"),
    ],
)
def test_one_reading_under_each_rule(volts: float, full: str, guarded: str, simple: str) -> None:
    """Around 24 V with U = 17 mV: the words of ILAC-G8:09/2019, 4.2, for each kind of statement."""
    assert full == judged(volts, "non-binary").verdict.value
    assert guarded == judged(volts, "guarded acceptance").verdict.value
    assert simple == judged(volts, "simple acceptance").verdict.value


def test_a_value_refused_inside_the_limit_says_so() -> None:
    """Under guarded acceptance the note names the guard band; one outside, or a pass, has no such note."""
    assert judged(23.99, "guarded acceptance").note == "inside the limits by less than the guard band of 17.34 mV"
    assert ["", ""] == [judged(volts, "guarded acceptance").note for volts in (24.01, 23.9)]


def test_a_verdict_that_the_printed_numbers_contradict_tells_the_number_that_it_rests_on() -> None:
    """24.004 V ± 17 mV prints 24.004 V; with ± 1.7 V it prints 24.0 V beside a limit of 24 V, and has failed."""
    coarse = {**CHANNELS, 301: replace(CHANNELS[301], plus=1.5)}
    bench = Bench(channels=coarse, decision=DecisionRule(guard=0.0, accept_conditional=False, rule="simple acceptance"))
    results = [
        bench.judge(MEAN, LIMITS, unit="V", evidence=recorded({301: np.full(1000, volts)}))
        for volts in (24.004, 24.1, 23.996)
    ]

    assert [Verdict.FAIL, Verdict.FAIL, Verdict.PASS] == [result.verdict for result in results]
    assert ["24.004 V before rounding", "", ""] == [result.note for result in results]
    assert "" == judged(24.004, "simple acceptance", guard=0.0).note


def test_a_board_fails_only_for_a_value_outside_a_limit() -> None:
    """Refused inside the limit: inconclusive, and why; outside by less than w under guarded acceptance: failed."""
    rule = DecisionRule(guard=1.0, accept_conditional=False, rule="guarded acceptance")
    good, refused, bad = (judged(volts, "guarded acceptance") for volts in (23.9, 23.99, 24.01))

    outcome, reason = conclude([good, refused], rule, complete=True)
    assert (Outcome.INCONCLUSIVE, "K1 something not accepted (23.990 ± 0.017 V)") == (outcome, reason)
    assert conclude([good, refused, bad], rule, complete=True)[0] is Outcome.FAIL
    assert conclude([good], rule, complete=True)[0] is Outcome.PASS


def test_a_wrong_word_fails_under_every_rule() -> None:
    """Words have no guard band: what is not as expected has failed, and failed the board."""
    rules: tuple[Rule, ...] = ("simple acceptance", "guarded acceptance", "non-binary")
    for rule in rules:
        decision = DecisionRule(guard=1.0, accept_conditional=False, rule=rule)
        bench = Bench(decision=decision, evidence={"on": Supplied(volts=24.0, amps=0.06, limiting=True)})
        result = bench.judge(Limiting(evidence="on"), "free")
        assert result.verdict is Verdict.FAIL
        assert conclude([result], decision, complete=True)[0] is Outcome.FAIL


def test_risks_are_those_of_the_word() -> None:
    """What passed risks the consumer's, what failed the producer's; on the limit itself each is one half."""
    passed, refused, on_it = (
        judged(23.97, "guarded acceptance"),
        judged(23.99, "guarded acceptance"),
        judged(24.0, "simple acceptance"),
    )
    assert passed.risk is not None
    assert passed.risk.producer is None
    assert passed.risk.consumer == pytest.approx(0.5 * math.erfc(0.03 / (U / 2) / math.sqrt(2)), rel=0.02)
    assert refused.risk is not None
    assert refused.risk.consumer is None
    assert refused.risk.producer == refused.risk.conformity > 0.5
    assert on_it.risk is not None
    assert on_it.risk.consumer == pytest.approx(0.5)


def test_few_cycles_and_much_scatter_make_the_factor_larger() -> None:
    """Five samples that scatter by volts leave four degrees of freedom: k = 2.87 (table G.2 of the GUM)."""
    asked = Mean(evidence="e", channel=301, start=0.0, end=0.0005)
    samples = np.array([24.0, 26.0, 22.0, 25.0, 23.0, *[24.0] * 95])
    result = Bench().judge(asked, within(0.0, 100.0), unit="V", evidence=recorded({301: samples}))
    assert result.freedom == pytest.approx(4.0, abs=0.01)
    assert result.coverage == pytest.approx(2.87, abs=0.005)
    assert result.uncertainty == pytest.approx(2.87 * np.std([24, 26, 22, 25, 23], ddof=1) / math.sqrt(5), rel=0.002)


def test_counts_and_unconfirmed_readings_have_no_budget_and_no_risk() -> None:
    """What the supply says of itself is shown without uncertainty, and nothing is said of its risk."""
    bench = Bench(evidence={"on": Supplied(volts=24.0, amps=0.06, limiting=False)})
    volts = bench.judge(Scalar(evidence="on", field="volts"), within(23.0, 25.0), unit="V")
    assert (None, None, None) == (volts.budget, volts.freedom, volts.risk)


def test_an_accuracy_that_is_not_a_number_is_not_tested() -> None:
    """NaN anywhere in a budget decides nothing under any rule."""
    channels = {**CHANNELS, 701: replace(CHANNELS[701], plus=math.nan)}
    rules: tuple[Rule, ...] = ("simple acceptance", "guarded acceptance", "non-binary")
    for rule in rules:
        decision = DecisionRule(guard=1.0, accept_conditional=True, rule=rule)
        bench = Bench(decision=decision, evidence={"bridge": Value(value=0.3)}, channels=channels)
        result = bench.judge(Scalar(evidence="bridge"), within(None, 1.0), unit="Ω")
        assert (Verdict.NOT_TESTED, None) == (result.verdict, result.risk)


@given(st.integers(11_900, 12_100))
def test_the_rules_agree_without_a_guard_band(code: int) -> None:
    """With w = 0 every rule gives one word for every reading."""
    rules: tuple[Rule, ...] = ("simple acceptance", "guarded acceptance", "non-binary")
    assert 1 == len({judged(code * STEP, rule, guard=0.0).verdict for rule in rules})


def test_an_old_run_is_judged_again_under_another_rule(bench: Any, carwash: Prepared) -> None:
    """The same readings under guarded and simple acceptance: every number keeps its value and its budget."""
    performed = bench.performed(carwash)
    for rule in ("guarded acceptance", "simple acceptance"):
        decision = DecisionRule(guard=1.0, accept_conditional=False, rule=rule)
        again = judge_all(replace(carwash.procedure, decision=decision), performed.readings)
        assert [r.budget for r in performed.results] == [r.budget for r in again]
        assert {Verdict.PASS} == {r.verdict for r in again}
        assert conclude(again, decision, complete=True)[0] is Outcome.PASS


def test_readings_without_evidence_have_no_risk() -> None:
    """Nothing was read, nothing is risked."""
    result = Bench().judge(MEAN, LIMITS)
    assert (Verdict.NOT_TESTED, None) == (result.verdict, result.risk)
