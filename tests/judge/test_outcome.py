"""How a run ends."""

from itertools import product

import pytest

from benchtest.judge import conclude, judge_all, judge_step
from benchtest.procedure import DecisionRule, Limiting, Measurand, StillOn
from benchtest.readings import Origin, Readings, Supplied
from benchtest.results import Outcome, Result, Verdict
from tests.judge.workbench import Bench, question, within

STRICT = DecisionRule(guard=1.0, accept_conditional=False)
LENIENT = DecisionRule(guard=1.0, accept_conditional=True)


def result(verdict: Verdict, value: float | str | None = 0.0148, note: str = "") -> Result:
    """Return a result of K1."""
    check = question(Limiting(evidence="on"), within(None, 0.012), unit="s")
    return Result(
        check=check, value=value, uncertainty=None, coverage=None, verdict=verdict, note=note, origin=Origin.SIMULATED
    )


def of_the_bench(name: str, measurand: Measurand) -> Result:
    """Return a failed result of another step."""
    check = question(measurand, within(0.0, 0.0), name=name)
    return Result(
        check=check, value=2.0, uncertainty=None, coverage=None, verdict=Verdict.FAIL, origin=Origin.SIMULATED
    )


@pytest.mark.parametrize(
    ("verdict", "strict", "lenient"),
    [
        (Verdict.PASS, Outcome.PASS, Outcome.PASS),
        (Verdict.CONDITIONAL_PASS, Outcome.INCONCLUSIVE, Outcome.PASS),
        (Verdict.CONDITIONAL_FAIL, Outcome.INCONCLUSIVE, Outcome.INCONCLUSIVE),
        (Verdict.NOT_TESTED, Outcome.INCONCLUSIVE, Outcome.INCONCLUSIVE),
        (Verdict.FAIL, Outcome.FAIL, Outcome.FAIL),
    ],
)
def test_each_word_ends_a_run_its_way(verdict: Verdict, strict: Outcome, lenient: Outcome) -> None:
    """One word among passes; conditional passes count only where the rule accepts them."""
    results = [result(Verdict.PASS), result(verdict), result(Verdict.PASS)]
    assert conclude(results, STRICT, complete=True)[0] is strict
    assert conclude(results, LENIENT, complete=True)[0] is lenient


def test_only_a_complete_run_of_settled_results_passes() -> None:
    """Of all pairs of words, complete or not, under either rule, nothing else passes; a fail is never covered up."""
    for pair, complete, rule in product(product(Verdict, repeat=2), (True, False), (STRICT, LENIENT)):
        outcome, reason = conclude([result(verdict) for verdict in pair], rule, complete=complete)
        settled = {Verdict.PASS, Verdict.CONDITIONAL_PASS} if rule is LENIENT else {Verdict.PASS}
        assert (outcome is Outcome.FAIL) == (Verdict.FAIL in pair)
        assert (outcome is Outcome.PASS) == (complete and set(pair) <= settled)
        assert reason


def test_what_the_bench_left_on_is_not_held_against_the_board() -> None:
    """A supply that nobody could confirm off is the bench's fault, and so is the voltage that is read from it then.

    A board that failed before that has failed all the same.
    """
    left = of_the_bench("safe-off.bench.channels-left-on", StillOn(evidence="off"))
    volts = of_the_bench("safe-off.main.voltage-after-off", Limiting(evidence="off"))
    before = of_the_bench("exercise-K1.K1.lamp", Limiting(evidence="on"))

    outcome, reason = conclude([result(Verdict.PASS), left, volts], STRICT, complete=True)
    assert (Outcome.BENCH_FAULT, "K1 something failed (2)") == (outcome, reason)
    assert Outcome.FAIL is conclude([volts], STRICT, complete=True)[0]
    assert Outcome.FAIL is conclude([before, left, volts], STRICT, complete=True)[0]


def test_a_run_without_results_is_inconclusive() -> None:
    """Nothing looked at proves nothing."""
    assert conclude([], STRICT, complete=True) == (Outcome.INCONCLUSIVE, "nothing was looked at")


def test_the_reason_names_the_first_failing_subject() -> None:
    """What, how much, and how many more; and what could not be decided."""
    results = [result(Verdict.NOT_TESTED), result(Verdict.FAIL), result(Verdict.FAIL)]
    assert conclude(results, STRICT, complete=True)[1] == "K1 something failed (14.8 ms); 1 more"
    undecided = [result(Verdict.PASS), result(Verdict.NOT_TESTED, None, "samples were lost")]
    assert conclude(undecided, STRICT, complete=True)[1] == "K1 something not tested (samples were lost)"
    assert conclude([result(Verdict.PASS)], STRICT, complete=False)[1] == "the run ended before its last step"
    accepted = [result(Verdict.PASS), result(Verdict.CONDITIONAL_PASS)]
    assert conclude(accepted, LENIENT, complete=True)[1] == (
        "all 2 checks passed, 1 of them conditionally, which the profile accepts"
    )


def test_a_step_is_judged_check_by_check_and_a_procedure_step_by_step() -> None:
    """Results come in the order of the checks and carry the origin of the readings."""
    checks = [question(Limiting(evidence="on"), word, name=word) for word in ("free", "limiting")]
    procedure = Bench().procedure(*checks)
    evidence = {"on": Supplied(volts=24.0, amps=0.1, limiting=False)}
    readings = Readings(origin=Origin.REPLAYED, evidence=evidence)
    results = judge_step(procedure.steps[0], procedure, readings)
    assert [found.verdict for found in results] == [Verdict.PASS, Verdict.FAIL]
    assert {found.origin for found in results} == {Origin.REPLAYED}
    assert judge_all(procedure, readings) == results
