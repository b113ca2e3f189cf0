"""Whole boards on the shipped poor benches, in virtual time: what can be tested comes out as on the embedded bench."""

from pathlib import Path
from typing import Any

import pytest

from benchtest.cli.documents import Prepared, prepare
from benchtest.errors import PlanError
from benchtest.procedure import Absent
from benchtest.results import Outcome, Result, Verdict
from tests.perform.poor_benches import PoorBench

ROOT = Path(__file__).parents[2]
BOARDS = {"carwash": (None, ()), "greenhouse": ("two-bay", ("dosing",))}
FAULTS = {
    "carwash": ("K2 contact welded", "K1 coil open"),
    "greenhouse": ("K3 contact welded", "D20 lamp dark"),
}


def poor(board: str, bench: str) -> Prepared:
    variant, options = BOARDS[board]
    return prepare(ROOT / f"profiles/{board}.yaml", ROOT / f"fixtures/{bench}.yaml", variant, options, partial=True)


def verdicts(results: tuple[Result, ...]) -> dict[str, Verdict]:
    return {result.check.id: result.verdict for result in results}


def impossible(prepared: Prepared) -> set[str]:
    """The checks that the plan has left out, by name."""
    checks = (check for step in prepared.procedure.steps for check in step.checks)
    return {check.id for check in checks if isinstance(check.measurand, Absent)}


@pytest.mark.parametrize(
    ("bench_name", "takes"),
    [("modbus", 0.001), ("modbus", 0.007), ("relaybox", 0.0)],
    ids=["quick modbus", "slow modbus", "relay box"],
)
@pytest.mark.parametrize("board", BOARDS)
def test_a_good_board_passes_wherever_the_bench_can_look(board: str, bench_name: str, takes: float) -> None:
    """Everything that the plan left in passes, what it left out is not tested by name, and the run is inconclusive."""
    prepared = poor(board, bench_name)
    performed = PoorBench(prepared, takes).perform()
    left_out = impossible(prepared)

    assert Outcome.INCONCLUSIVE is performed.outcome
    assert {name for name, verdict in verdicts(performed.results).items() if verdict is Verdict.NOT_TESTED} == left_out
    assert [] == [r for r in performed.results if r.verdict is not Verdict.PASS and r.check.id not in left_out]
    assert 0 < len(left_out) < 0.4 * len(performed.results)


@pytest.mark.parametrize("takes", [0.015, 0.04])
def test_a_line_too_slow_for_its_own_statement_fails_nothing(takes: float) -> None:
    """Looks and orders that come later than stated: not tested, because samples were lost, and never a verdict."""
    performed = PoorBench(poor("carwash", "modbus"), takes).perform()
    notes = {result.note for result in performed.results if result.verdict is Verdict.NOT_TESTED}

    assert Outcome.INCONCLUSIVE is performed.outcome
    assert "samples were lost in the recording" in notes
    assert Verdict.FAIL not in {result.verdict for result in performed.results}


@pytest.mark.parametrize("bench_name", ["modbus", "relaybox"])
@pytest.mark.parametrize(("board", "fault"), [(board, fault) for board, all_ in FAULTS.items() for fault in all_])
def test_a_bad_board_gets_the_verdicts_of_the_embedded_bench(
    bench: Any, board: str, bench_name: str, fault: str
) -> None:
    """Whatever both benches decide they decide alike, and the poor one fails the board too."""
    variant, options = BOARDS[board]
    at_home = verdicts(bench.performed(bench.prepared(board, variant=variant, options=options), fault).results)
    performed = PoorBench(poor(board, bench_name), 0.004, fault).perform()
    here = verdicts(performed.results)
    both = {name for name in here if Verdict.NOT_TESTED not in {here[name], at_home[name]}}

    assert Outcome.FAIL is performed.outcome
    assert {name: at_home[name] for name in both} == {name: here[name] for name in both}


@pytest.mark.parametrize("bench_name", ["modbus", "relaybox"])
def test_without_the_flag_the_plan_lists_what_cannot_be_resolved(bench_name: str) -> None:
    """Refused before power, each check by name with the reason."""
    with pytest.raises(PlanError) as refused:
        prepare(ROOT / "profiles/carwash.yaml", ROOT / f"fixtures/{bench_name}.yaml", None, ())

    assert "K1 operate time: a tolerance of 44 ms needs" in str(refused.value)
    assert len(impossible(poor("carwash", bench_name))) == len(refused.value.reasons)
