"""`benchtest coverage` and `benchtest diagnose` as a person uses them: words, exit codes, what is remembered."""

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
Benchtest = Callable[..., "subprocess.CompletedProcess[str]"]
CARWASH = ("profiles/carwash.yaml", "--fixture", "fixtures/simulated.yaml")


@pytest.fixture(scope="module")
def benchtest(tmp_path_factory: pytest.TempPathFactory) -> Benchtest:
    """Run a command in the repository, with a cache that belongs to these tests."""
    cache = tmp_path_factory.mktemp("cache")

    def run(*words: str, module: tuple[str, ...] = ("benchtest",)) -> "subprocess.CompletedProcess[str]":
        environment = {**os.environ, "XDG_CACHE_HOME": str(cache), "PYTEST_ADDOPTS": ""}
        command = [sys.executable, "-m", *module, *words]
        return subprocess.run(
            command, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=300, check=False
        )

    return run


def run_with(benchtest: Benchtest, fault: str, runs: Path) -> "subprocess.CompletedProcess[str]":
    return benchtest("run", *CARWASH, "--serial", "S1", "--runs", str(runs), "--fault", fault)


def test_a_failed_run_names_suspects_once_the_faults_were_tried_out(benchtest: Benchtest, tmp_path: Path) -> None:
    """At first it says how to have them; `diagnose` tries the faults out; from then on the run names them itself."""
    first = run_with(benchtest, "K2 contact welded", tmp_path)
    folder = next(tmp_path.iterdir())
    diagnosed = benchtest("diagnose", str(folder))
    again = run_with(benchtest, "K2 contact welded", tmp_path)

    assert 1 == first.returncode == again.returncode
    assert f"benchtest diagnose {folder}" in first.stdout
    assert 0 == diagnosed.returncode, diagnosed.stderr
    assert re.search(r"%  K2 contact welded: The contact of K2 has welded", diagnosed.stdout)
    assert "repair: replace relay K2" in diagnosed.stdout
    assert re.search(r"%  K2 contact welded", again.stdout)
    newest = max(tmp_path.iterdir(), key=lambda path: path.stat().st_mtime)
    kept = json.loads((newest / "run.json").read_text(encoding="utf-8"))["suspects"]
    assert ["K2 contact welded"] == kept[0]["faults"][:1]
    paper = next(newest.glob("report.html")).read_text(encoding="utf-8")
    assert "What is probably wrong" in paper
    assert "replace relay K2" in paper


def test_profiles_as_tests_name_suspects_too(benchtest: Benchtest, tmp_path: Path) -> None:
    """A failure under pytest says where to look first, once the faults of the board were tried out."""
    run_with(benchtest, "K2 contact welded", tmp_path)
    diagnosed = benchtest("diagnose", str(next(tmp_path.iterdir())))
    words = ("pytest", "-p", "benchtest.pytest_plugin", "-p", "no:cacheprovider", "-q", *CARWASH)
    told = benchtest(*words, "--fault", "K2 contact welded", module=()).stdout

    assert 0 == diagnosed.returncode, diagnosed.stderr
    assert re.search(r"^  look first +\d\S* % K2 contact welded: The contact of K2 has welded", told, re.MULTILINE)


def test_the_diagnosis_as_json_has_its_version(benchtest: Benchtest, tmp_path: Path) -> None:
    """Suspects with probabilities between 0 and 1, and the readings for and against them."""
    run_with(benchtest, "D3 lamp always lit", tmp_path)
    found = json.loads(benchtest("diagnose", str(next(tmp_path.iterdir())), "--json").stdout)

    assert "benchtest-diagnosis/1" == found["format"]
    assert "D3 lamp always lit" in found["suspects"][0]["faults"]
    assert all(0 <= suspect["probability"] <= 1 for suspect in found["suspects"])


def test_a_board_that_passed_has_no_suspects(benchtest: Benchtest, tmp_path: Path) -> None:
    """It says so, and ends with 0; where nobody looks no bar is drawn, and no word of one is left in a log."""
    benchtest("run", *CARWASH, "--serial", "S1", "--runs", str(tmp_path))
    done = benchtest("diagnose", str(next(tmp_path.iterdir())))

    assert (0, True) == (done.returncode, "nothing speaks of a fault" in done.stdout)
    assert "" == done.stderr


def test_a_changed_profile_is_refused(benchtest: Benchtest, tmp_path: Path) -> None:
    """A run is diagnosed with the documents that it was made with; another one is a document problem."""
    run_with(benchtest, "K2 contact welded", tmp_path / "runs")
    other = tmp_path / "carwash.yaml"
    text = (ROOT / "profiles/carwash.yaml").read_text(encoding="utf-8")
    other.write_text(text.replace("bounce: {max: 5 ms}", "bounce: {max: 6 ms}"), encoding="utf-8")
    done = benchtest("diagnose", str(next((tmp_path / "runs").iterdir())), "--profile", str(other))

    assert (4, True) == (done.returncode, "the profile has changed since that run" in done.stderr)


def test_coverage_has_an_exit_code_for_too_little(benchtest: Benchtest, tmp_path: Path) -> None:
    """0 when enough was caught, 1 when not, 2 for what is no share; a page and JSON are written on the way."""
    few = ("coverage", *CARWASH, "--good", "3", "--boards", "1")
    enough = benchtest(*few, "--minimum", "90%", "--json")
    too_little = benchtest(*few, "--minimum", "0.9999", "--html", str(tmp_path / "page.html"))
    wrong = benchtest(*few, "--minimum", "much")

    assert (0, 1, 2) == (enough.returncode, too_little.returncode, wrong.returncode)
    assert "benchtest-coverage/1" == json.loads(enough.stdout)["format"]
    assert "less was caught than" in too_little.stderr
    assert "What each step is worth" in (tmp_path / "page.html").read_text(encoding="utf-8")
    assert "is no share" in wrong.stderr


def test_a_person_cannot_be_simulated(benchtest: Benchtest) -> None:
    """A bench by hand is refused with a sentence, and nothing is tried."""
    done = benchtest("coverage", "profiles/carwash.yaml", "--fixture", "fixtures/byhand.yaml")

    assert 4 == done.returncode
    assert "adapters that can be simulated" in done.stderr
