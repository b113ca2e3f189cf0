"""Files that cannot be written or read are wrong usage or a document problem: never a bench fault."""

from pathlib import Path

import pytest

from benchtest.cli import entry

ROOT = Path(__file__).parents[2]
CARWASH = (str(ROOT / "profiles/carwash.yaml"), "--fixture", str(ROOT / "fixtures/simulated.yaml"))
WRITING = {
    "study plan": ("study", "plan", "--boards", "3", "--output"),
    "study limits": ("study", "limits", "readings.csv", "--html"),
    "study limits, patch": ("study", "limits", "readings.csv", "--patch"),
    "coverage": ("coverage", *CARWASH, "--html"),
    "hookup": ("hookup", *CARWASH, "-o"),
}


@pytest.mark.parametrize("command", WRITING)
def test_a_folder_that_is_not_there_is_said_before_the_work(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is read or tried first, and the exit code says wrong usage."""
    monkeypatch.chdir(tmp_path)

    assert 2 == entry([*WRITING[command], "nowhere/page.html"])
    assert "nowhere/page.html: there is no folder nowhere" in capsys.readouterr().err


def test_a_sheet_that_is_not_there_is_a_document_problem(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`study enter` says what it expected, and the exit code is not that of a bench."""
    assert 4 == entry(["study", "enter", str(tmp_path / "sheet.csv")])
    assert "cannot be read: no such file or directory, expected a sheet" in capsys.readouterr().err


def test_limits_that_no_study_would_take_are_refused_before_anybody_reads(capsys: pytest.CaptureFixture[str]) -> None:
    """Eighteen readings later it would be too late."""
    assert 2 == entry(["study", "plan", "--boards", "3", "--low", "12", "--high", "1"])
    assert "--low 12 is not below --high 1" in capsys.readouterr().err
