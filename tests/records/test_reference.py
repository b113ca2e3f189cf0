"""The known-good board of a bench: when it lets the bench judge others, and when it does not."""

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from benchtest.fixture.self_check import Reference
from benchtest.records.folder import create_folder, write_run
from benchtest.records.reference import Standing, standing
from benchtest.results import Outcome, Run
from tests.records.finished import finished_run

NOW = datetime(2026, 11, 26, 9, 0, tzinfo=UTC)
BOARD = finished_run()
REFERENCE = Reference(part=BOARD.procedure.part, serial="GOLD-1", days=7)
Kept = Callable[..., None]


@pytest.fixture
def kept(tmp_path: Path) -> Kept:
    """Keep a run of the known-good board, so many days ago, its numbers times a factor."""

    def kept(days: float, *, times: float = 1.0, serial: str = "GOLD-1", **changed: Any) -> None:
        started = NOW - timedelta(days=days)
        results = tuple(
            replace(one, value=one.value * times) if isinstance(one.value, float) else one for one in BOARD.results
        )
        run: Run = replace(
            BOARD, job=replace(BOARD.job, serial=serial), started=started.isoformat(), results=results, **changed
        )
        folder = create_folder(tmp_path, started=started, part=run.procedure.part, serial=serial)
        write_run(folder, run)

    return kept


def found(root: Path, bench: str = BOARD.bench) -> Standing:
    return standing(REFERENCE, bench=bench, root=root, now=NOW)


def test_a_board_that_never_ran_proves_nothing(tmp_path: Path, kept: Kept) -> None:
    """Neither do another board's runs, nor those on another bench."""
    kept(1, serial="GOLD-2")
    kept(1, bench="the other bench")

    assert not found(tmp_path).fit
    assert found(tmp_path).sentence.endswith("it has not run on this bench yet")
    assert found(tmp_path, bench="the other bench").fit


def test_a_pass_of_this_week_lets_the_bench_judge(tmp_path: Path, kept: Kept) -> None:
    """Drift is looked for when there are three runs before."""
    kept(6.9)

    assert found(tmp_path).fit
    assert not found(tmp_path).compared
    assert "drift shows when there are 3 runs before the last" in found(tmp_path).sentence


@pytest.mark.parametrize(
    ("days", "changed", "words"),
    [
        (8.5, {}, "8 days ago, and is to run every 7"),
        (1, {"outcome": Outcome.FAIL, "reason": "K7 stays made"}, "did not pass: K7 stays made"),
        (1, {"outcome": Outcome.INCONCLUSIVE, "reason": "too close"}, "did not pass: too close"),
    ],
)
def test_an_old_run_or_one_that_did_not_pass_does_not(
    tmp_path: Path, kept: Kept, days: float, changed: dict[str, Any], words: str
) -> None:
    """It says which."""
    kept(20)
    kept(days, **changed)

    assert not found(tmp_path).fit
    assert words in found(tmp_path).sentence


def test_readings_that_stay_agree_and_those_that_drift_are_told(tmp_path: Path, kept: Kept) -> None:
    """Four runs alike are fit; a fifth with every number a tenth higher is not, although it passed."""
    for days in (5, 4, 3, 2):
        kept(days)
    before = found(tmp_path)
    kept(1, times=1.1)
    after = found(tmp_path)

    assert before.fit
    assert before.compared
    assert all(abs(one.score) < 1e-9 for one in before.compared)
    assert not after.fit
    assert "readings have drifted" in after.sentence
    assert abs(after.compared[0].score) == max(abs(one.score) for one in after.compared)


def test_a_run_that_cannot_be_read_is_told_and_left_aside(tmp_path: Path, kept: Kept) -> None:
    """The others count."""
    kept(2)
    kept(1)
    newest = max(tmp_path.iterdir())
    (newest / "run.json").write_text("{", encoding="utf-8")

    assert found(tmp_path).fit
    assert 1 == len(found(tmp_path).runs)
    assert 1 == len(found(tmp_path).unreadable)
