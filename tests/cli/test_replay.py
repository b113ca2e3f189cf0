"""A run folder in the place of the bench, from the command line."""

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parent.parent.parent
Command = Callable[..., "subprocess.CompletedProcess[str]"]
REPLAY = ("--fixture", "fixtures/replay.yaml")


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the shipped documents."""
    place = tmp_path_factory.mktemp("replay")
    for folder in ("profiles", "fixtures"):
        shutil.copytree(ROOT / folder, place / folder)
    return place


@pytest.fixture(scope="module")
def run(place: Path) -> Command:
    """Run a board; the profile is the shipped one unless another is named."""

    def run(*words: str, profile: str = "profiles/carwash.yaml") -> "subprocess.CompletedProcess[str]":
        command = [sys.executable, "-m", "benchtest", "run", profile, *words, "--json"]
        environment = {**os.environ, "PYTHONPATH": str(ROOT)}
        return subprocess.run(
            command, cwd=place, capture_output=True, text=True, timeout=60, check=False, env=environment
        )

    return run


@pytest.fixture(scope="module")
def recorded(run: Command, place: Path) -> Path:
    """A run of a board with a slow relay."""
    fault = ("--fault", "K3 slow operate")
    done = run("--fixture", "fixtures/simulated.yaml", "--serial", "A1", "--work-order", "W7", *fault)
    folder: str = json.loads(done.stdout)["folder"]
    assert 1 == done.returncode
    return place / folder


def results(folder: Path) -> list[tuple[Any, ...]]:
    """Return what was decided in a run folder."""
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    return [(r["check"]["id"], r["value"], r["uncertainty"], r["verdict"]) for r in run["results"]]


def of_board(folder: Path) -> dict[str, Any]:
    """Return what was read in a run, without what the bench read of itself."""
    found = json.loads((folder / "evidence.json").read_text(encoding="utf-8"))
    return {name: fields for name, fields in found.items() if not name.startswith("bench ")}


def test_a_run_is_replayed_bit_for_bit_and_says_so(run: Command, recorded: Path, place: Path) -> None:
    """Same exit code, same results, same bytes of evidence of the board; the paper names the run it comes from.

    What the bench found of itself then is told again, and not replayed.
    """
    done = run(*REPLAY, "--port", f"io={recorded}", "--serial", "A1")
    folder = place / json.loads(done.stdout)["folder"]
    first, again = (json.loads((one / "run.json").read_text(encoding="utf-8")) for one in (recorded, folder))
    paper = (folder / "report.json").read_text(encoding="utf-8")

    assert 1 == done.returncode
    assert results(recorded) == results(folder)
    of_the_bench = {"recordings/bench%20at%20rest.npz", "recordings/bench%20drives.npz"} | {
        "recordings/bench%20test%20light.npz",
        "evidence.json",
    }
    assert {name: first["recordings"][name] for name in first["recordings"].keys() - of_the_bench} == {
        name: again["recordings"][name] for name in again["recordings"].keys() - {"evidence.json"}
    }
    assert of_board(recorded) == of_board(folder)
    assert first["bench_check"] == again["bench_check"]
    assert {"replayed"} == {result["origin"] for result in again["results"]}
    assert "simulated" == again["origin"]
    assert f"replayed from run {first['number']}" in again["bench"]
    assert f"replayed from run {first['number']}" in paper
    assert first["instruments"] == again["instruments"]
    assert "SIMULATED" in paper


def test_a_wider_limit_passes_what_was_recorded(run: Command, recorded: Path, place: Path) -> None:
    """The same readings under the limit of another profile: the slow relay is within it, nothing was measured anew."""
    text = (place / "profiles/carwash.yaml").read_text(encoding="utf-8")
    assert "operate: {min: 1 ms, max: 45 ms}" in text
    (place / "profiles/wide.yaml").write_text(text.replace("max: 45 ms}", "max: 400 ms}", 1), encoding="utf-8")
    done = run(*REPLAY, "--port", f"io={recorded}", "--serial", "A1", profile="profiles/wide.yaml")
    changed = dict(zip(results(recorded), results(place / json.loads(done.stdout)["folder"]), strict=True))

    assert ["exercise.K3.operate-time"] == [was[0] for was, now in changed.items() if was[3] != now[3]]
    assert 0 == done.returncode


def test_a_run_that_was_cut_off_is_replayed_to_where_its_journal_ends(
    run: Command, recorded: Path, place: Path
) -> None:
    """A folder without a run file, its journal ending at K2: K1 is judged, the rest not reached, exit code 6."""
    folder = place / "cut-off"
    shutil.copytree(recorded, folder)
    (folder / "run.json").unlink()
    lines = (folder / "journal.jsonl").read_bytes().splitlines(keepends=True)
    end = next(n for n, line in enumerate(lines) if b'"step":"exercise-K2"' in line)
    (folder / "journal.jsonl").write_bytes(b"".join(lines[: end + 1]))
    done = run(*REPLAY, "--port", f"io={folder}", "--serial", "A1")
    summary = json.loads(done.stdout)

    assert (6, "aborted") == (done.returncode, summary["outcome"])
    assert "the recorded run cut-off ends before 'exercise-K2' (it was cut off)" == summary["reason"]
    assert summary["readings"]["pass"] > 20


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--port", "io={folder}", "--serial", "B2"), "is of board 'A1', not of 'B2'"),
        (("--serial", "A1"), "give one: --port io=runs/"),
        (("--port", "io=runs/none", "--serial", "A1"), "runs/none/run.json: cannot be read"),
        (("--port", "io={changed}", "--serial", "A1"), "exercise-K1.npz: was changed after the run"),
    ],
)
def test_what_is_no_recording_of_this_board_is_refused(
    run: Command, recorded: Path, place: Path, words: tuple[str, ...], said: str
) -> None:
    """Another board's run, none, a missing one, a changed one: exit code 4 and a sentence, and no new run folder."""
    changed = place / "changed"
    if not changed.exists():
        shutil.copytree(recorded, changed)
        recording = changed / "recordings/exercise-K1.npz"
        recording.write_bytes(recording.read_bytes() + b"\0")
    before = set((place / "runs").iterdir())
    done = run(*REPLAY, *(word.format(folder=recorded, changed=changed) for word in words))

    assert 4 == done.returncode
    assert said in " ".join(done.stderr.split())
    assert before == set((place / "runs").iterdir())
