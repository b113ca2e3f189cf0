"""A bench that checks itself, and its known-good board, as a person asks for it."""

import json
import shutil
from pathlib import Path

import pytest

from benchtest.cli import entry

ROOT = Path(__file__).parents[2]
SERIAL, SIMULATED = (str(ROOT / f"fixtures/{name}.yaml") for name in ("serial", "simulated"))


def test_a_bench_in_order_is_fit(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 0; what was measured of it, what was not looked at, and with which times it would judge."""
    assert 0 == entry(["rig", "check", SIMULATED])
    out = capsys.readouterr().out

    assert "Bench: supply 201: 4 readings, all pass" in out
    assert "drive 101 closes: " in out
    assert "not looked at: link: no second adapter is on the link" in out
    assert "times as they would be used: clock ± 0.005 %" in out
    assert "\nFIT  all 90 checks passed" in out


def test_a_bench_that_is_not_in_order_is_not_fit(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 5, with the reading that says it."""
    assert 5 == entry(["rig", "check", SIMULATED, "--bench-fault", "sense 301 reads low"])
    out = capsys.readouterr().out

    assert "FAIL        supply 201 at its terminals: " in out
    assert "NOT FIT: no board is judged on this bench" in out


def test_the_findings_are_data_too(capsys: pytest.CaptureFixture[str]) -> None:
    """One line of JSON, every reading with its unit."""
    assert 5 == entry(["rig", "check", SIMULATED, "--json", "--bench-fault", "clock fast"])
    told = json.loads(capsys.readouterr().out)
    failed = [one for one in told["readings"] if one["verdict"] != "pass"]

    assert ("benchtest-bench-check/1", "bench fault", 5) == (told["format"], told["outcome"], told["exit_code"])
    assert ["bench.clock-deviation"] == [one["id"] for one in failed]
    assert failed[0]["value"] == pytest.approx(0.01, rel=0.01)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([SERIAL, "--port", "io=/dev/none"], "--no-board-connected"),
        ([SERIAL, "--no-board-connected", "--bench-fault", "clock fast"], "driver 'simulated'"),
        ([SIMULATED, "--bench-fault", "clock slow"], "is nothing that a bench can have"),
        ([SIMULATED, "--bench-fault", "drive 999 slow"], "no such channel on this bench"),
        ([SIMULATED, "--harness", "ZZ-1"], "no harness for 'ZZ-1'"),
    ],
)
def test_wrong_usage_opens_nothing(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 2, and what to try."""
    assert 2 == entry(["rig", "check", *words])
    assert said in capsys.readouterr().err


def test_a_person_has_no_bench_that_could_check_itself(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 4, with the reason."""
    byhand = str(ROOT / "fixtures/byhand.yaml")
    assert 4 == entry(["rig", "check", byhand, "--no-board-connected"])
    assert "a person or a record is this bench" in capsys.readouterr().err


@pytest.fixture
def proven(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A bench to which a known-good car-wash board is tied, with a folder of runs of its own."""
    for folder in ("fixtures", "profiles"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    fixture = tmp_path / "fixtures/simulated.yaml"
    tied = "\nreference: {part: CW-0410, serial: GOLD-1, days: 7}\n"
    fixture.write_text(fixture.read_text(encoding="utf-8") + tied, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return str(fixture)


def carwash(fixture: str, serial: str, *words: str) -> int:
    return entry(["run", "profiles/carwash.yaml", "--fixture", fixture, "--serial", serial, "--json", *words])


def test_a_bench_judges_others_only_once_its_known_good_board_has_passed(
    proven: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Refused with what to do; after the board's own run everything goes on, and the paper says why."""
    assert 4 == carwash(proven, "A1")
    assert "it has not run on this bench yet (put it on the bench now" in capsys.readouterr().err
    assert 5 == entry(["rig", "reference", proven])
    assert 0 == carwash(proven, "GOLD-1")
    assert 0 == entry(["rig", "reference", proven])
    assert "FIT  known-good board CW-0410 GOLD-1: it last ran on" in capsys.readouterr().out
    assert 0 == carwash(proven, "A1")
    folder = json.loads(capsys.readouterr().out)["folder"]
    paper = json.loads((Path(folder) / "certificate.json").read_text(encoding="utf-8"))
    assert any(fact["value"].startswith("known-good board CW-0410 GOLD-1") for fact in paper["bench"]["facts"])


def test_somebody_may_answer_for_a_bench_that_is_not_proven(proven: str, capsys: pytest.CaptureFixture[str]) -> None:
    """By name and reason, which stand on the paper where nobody can miss them."""
    assert 0 == carwash(proven, "A1", "--override-calibration", "Ann Oakes, board is at the other site")
    folder = json.loads(capsys.readouterr().out)["folder"]
    paper = json.loads((Path(folder) / "certificate.json").read_text(encoding="utf-8"))

    assert "Ann Oakes: board is at the other site" in paper["overrides"][0]
    assert "it has not run on this bench yet" in paper["overrides"][1]


def test_the_history_is_data_too(proven: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Four runs alike: every reading agrees; a slower relay, as a change of the bench or the board, does not."""
    for _ in range(4):
        assert 0 == carwash(proven, "GOLD-1")
    capsys.readouterr()
    assert 0 == entry(["rig", "reference", proven, "--json"])
    told = json.loads(capsys.readouterr().out)
    assert ("benchtest-reference/1", True, 4) == (told["format"], told["fit"], len(told["runs"]))
    assert told["readings"]

    assert 0 == carwash(proven, "GOLD-1", "--seed", "5")
    assert 5 == entry(["rig", "reference", proven])
    assert "readings have drifted" in capsys.readouterr().out


def test_a_bench_without_a_known_good_board_says_how_to_tie_one(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit 4."""
    assert 4 == entry(["rig", "reference", SIMULATED])
    assert "give it 'reference' in the fixture" in capsys.readouterr().err
