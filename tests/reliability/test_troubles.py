"""Every trouble once, at one step of the greenhouse run: a sample of the campaign (tests/reliability/campaign.py)."""

from pathlib import Path

import pytest

from benchtest.cli.documents import Prepared
from tests.reliability.cases import Case, cases, hold
from tests.reliability.troubles import TROUBLES

STEP = "Exercise K3, circulation fan 2"
NAMED = {"Without power", "Come to rest", "Hear the link", "Safe off"}
"""Titles of steps that cases call by their ids."""
EVERY = tuple(cases(TROUBLES))
CASES = {case.trouble: case for case in EVERY if case.name == STEP}


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_whatever_goes_wrong_the_bench_is_off_and_the_board_not_blamed(case: Case, tmp_path: Path) -> None:
    """Exit code and words are right, the journal is whole, nothing stays on, no reading of the good board fails."""
    ended = hold(case, tmp_path / "case")

    assert "" == ended.wrong, ended


def test_the_campaign_goes_through_every_step_of_the_greenhouse_run(greenhouse: Prepared) -> None:
    """Every step of the whole procedure is there, each with every trouble."""
    steps = {case.name for case in EVERY}
    whole = greenhouse.procedure.steps

    assert len(whole) <= len(steps)
    assert {step.title for step in whole} - NAMED <= steps
    assert len(EVERY) == len(steps) * len(TROUBLES)
