"""Every trouble once, at one step of the greenhouse run: a sample of the campaign (tests/reliability/campaign.py)."""

from pathlib import Path

import pytest

from tests.reliability.cases import Case, cases, hold
from tests.reliability.troubles import TROUBLES

STEP = "Exercise K3, circulation fan 2"
CASES = {case.trouble: case for case in cases(TROUBLES) if case.name == STEP}


@pytest.mark.slow
@pytest.mark.parametrize("case", CASES.values(), ids=CASES)
def test_whatever_goes_wrong_the_bench_is_off_and_the_board_not_blamed(case: Case, tmp_path: Path) -> None:
    """Exit code and words are right, the journal is whole, nothing stays on, no reading of the good board fails."""
    ended = hold(case, tmp_path / "case")

    assert "" == ended.wrong, ended


def test_the_campaign_goes_through_every_step_of_the_greenhouse_run() -> None:
    """Forty steps of the procedure, each with every trouble."""
    every = list(cases(TROUBLES))

    assert 480 == len(every)
    assert 40 == len({case.name for case in every})
