"""Runs over real wires on benches of cheap parts, and what happens when a part of them dies."""

import json
from collections.abc import Callable
from pathlib import Path
from subprocess import Popen
from typing import Any

import pytest

from benchtest.records.journal import read_journal

ROOT = Path(__file__).parents[2]
FLAG = "--as-far-as-possible"
Start = Callable[[list[str]], "Popen[str]"]
SHORT = {
    "carwash": """steps:
  - {step: unpowered}
  - {step: power up, supplies: [main]}
  - {step: exercise, relays: [K1]}
  - {step: safe off}
""",
    "greenhouse": """steps:
  - {step: power up, supplies: [main, field]}
  - {step: exercise, relays: [K2, K4]}
  - {step: safe off}
""",
}
CHOICE = {"carwash": (), "greenhouse": ("--variant", "two-bay", "--option", "dosing")}


def shortened(board: str, folder: Path) -> Path:
    """Return a shipped board's profile with a script of a few seconds, its database beside it."""
    text = (ROOT / f"profiles/{board}.yaml").read_text(encoding="utf-8")
    profile = folder / f"{board}.yaml"
    profile.write_text(text[: text.index("steps:")] + SHORT[board], encoding="utf-8")
    if board == "greenhouse":
        (folder / "greenhouse.dbc").write_bytes((ROOT / "profiles/greenhouse.dbc").read_bytes())
    return profile


def only_run(tmp_path: Path) -> tuple[Path, dict[str, Any]]:
    """Return the folder and the content of the one run file."""
    (folder,) = (tmp_path / "runs").iterdir()
    return folder, json.loads((folder / "run.json").read_text(encoding="utf-8"))


def why_not(run: dict[str, Any]) -> set[str]:
    """Why readings were not tested: not possible on this bench, or lost because this computer was too busy to look."""
    return {
        "not possible" if result["check"]["measurand"]["kind"] == "absent" else result["note"]
        for result in run["results"]
        if result["verdict"] == "not tested"
    }


def until(process: "Popen[str]", text: str) -> None:
    """Read what a run prints until a line holds `text`."""
    assert process.stdout is not None
    for line in process.stdout:
        if text in line:
            return
    raise AssertionError(f"the run ended without saying {text!r}")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("board", "bench_name", "tcp"),
    [("carwash", "modbus", ()), ("greenhouse", "modbus", ("--tcp", "0")), ("carwash", "relaybox", ())],
)
def test_a_board_gets_the_verdicts_of_the_embedded_bench(
    serve: Any, start_run: Start, tmp_path: Path, board: str, bench_name: str, tcp: tuple[str, ...]
) -> None:
    """Exit 3 with the reason; what was looked at passed as at home, what was not possible is not tested by name."""
    served = serve(
        str(shortened(board, tmp_path)), "--fixture", f"fixtures/{bench_name}.yaml", *CHOICE[board], FLAG, *tcp
    )
    process = start_run([*served.words, "--json"])
    out, err = process.communicate(timeout=120)
    summary, (_, run) = json.loads(out), only_run(tmp_path)

    assert (3, "") == (process.returncode, err), summary["reason"]
    assert "not tested" in summary["reason"]
    assert "simulated" == summary["origin"]
    assert {"pass", "not tested"} == {result["verdict"] for result in run["results"]}
    assert "not possible" in why_not(run)
    assert why_not(run) <= {"not possible", "samples were lost in the recording"}
    assert (bench_name == "modbus") == summary["safe"]["verified"]


def test_a_modbus_server_that_dies_in_mid_run_is_a_bench_fault(serve: Any, start_run: Start, tmp_path: Path) -> None:
    """Exit 5, no verdict on the board, no certificate, a whole journal, and the words do not promise a dead-man."""
    served = serve(str(shortened("carwash", tmp_path)), "--fixture", "fixtures/modbus.yaml", FLAG)
    process = start_run(served.words)
    until(process, "Come to rest")
    served.process.kill()
    out, err = process.communicate(timeout=60)
    folder, run = only_run(tmp_path)

    assert 5 == process.returncode
    assert "the board is not judged" in out, err
    assert "Traceback" not in out + err
    assert not list(folder.glob("certificate.*"))
    assert "bench fault" == run["outcome"]
    assert not run["safe"]["verified"]
    assert "ended" in {entry.kind for entry in read_journal(folder / "journal.jsonl").entries}
