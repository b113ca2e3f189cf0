"""A run over a pseudo-terminal against a second process, and what happens when either of them dies."""

import json
import signal
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from benchtest.records.journal import read_journal

FIXTURE = ("--fixture", "fixtures/serial.yaml")
DEAD_MAN = 1.0  # s, as the serial fixture sets it
Start = Callable[[list[str]], "subprocess.Popen[str]"]


def until(process: "subprocess.Popen[str]", text: str) -> None:
    """Read what a run prints until a line holds `text`."""
    assert process.stdout is not None
    for line in process.stdout:
        if text in line:
            return
    raise AssertionError(f"the run ended without saying {text!r}")


def only_folder(tmp_path: Path) -> Path:
    """Return the one run folder."""
    (folder,) = (tmp_path / "runs").iterdir()
    return folder


def moment(line: str) -> float:
    """Return the seconds that a line of the served board begins with."""
    return float(line.split(maxsplit=1)[0])


def verdicts(run: dict[str, Any]) -> list[tuple[str, str]]:
    """Return every check with its verdict."""
    return [(result["check"]["id"], result["verdict"]) for result in run["results"]]


@pytest.mark.parametrize("tcp", [False, True], ids=["pty", "tcp"])
def test_a_board_behind_wires_passes_as_it_does_in_process(
    serve: Any, start_run: Start, short: Path, tmp_path: Path, bench: Any, tcp: bool
) -> None:
    """Same profile, same seed: the same verdict for every check, over a pty and over TCP."""
    served = serve(str(short), *FIXTURE, *(["--tcp", "0"] if tcp else []))
    process = start_run([*served.words, "--json"])
    out, err = process.communicate(timeout=60)
    run = json.loads((only_folder(tmp_path) / "run.json").read_text(encoding="utf-8"))
    prepared = bench.prepared("carwash")
    at_home = {result.check.id: result.verdict.value for result in bench.performed(prepared).results}

    assert 0 == process.returncode, err
    assert "simulated" == json.loads(out)["origin"]
    assert [(name, at_home[name]) for name, _ in verdicts(run)] == verdicts(run)


def test_killing_the_bench_in_mid_run_is_a_bench_fault_and_no_verdict(
    serve: Any, start_run: Start, short: Path, tmp_path: Path
) -> None:
    """Exit 5, the words say that the board is not judged, no certificate, and a whole journal."""
    served = serve(str(short), *FIXTURE)
    process = start_run(served.words)
    until(process, "Exercise K1")
    served.process.kill()
    out, err = process.communicate(timeout=30)
    folder = only_folder(tmp_path)

    assert 5 == process.returncode
    assert "the board is not judged" in out, err
    assert "Traceback" not in out + err
    assert not list(folder.glob("certificate.*"))
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    assert ("bench fault", False, False) == (run["outcome"], run["safe"]["reached"], run["safe"]["verified"])
    assert "NOT VERIFIED by reading back" in (folder / "report.html").read_text(encoding="utf-8")
    assert "ended" in {entry.kind for entry in read_journal(folder / "journal.jsonl").entries}


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_in_mid_run_aborts_with_everything_off(
    serve: Any, start_run: Start, short: Path, tmp_path: Path, number: signal.Signals
) -> None:
    """Exit 6, everything off and read back, the journal whole up to the end."""
    served = serve(str(short), *FIXTURE)
    process = start_run(served.words)
    until(process, "Exercise K2")
    process.send_signal(number)
    out, err = process.communicate(timeout=30)
    run = json.loads((only_folder(tmp_path) / "run.json").read_text(encoding="utf-8"))

    assert 6 == process.returncode, out + err
    assert "aborted" == run["outcome"]
    assert (True, True) == (run["safe"]["reached"], run["safe"]["verified"])
    assert "ended" == read_journal(only_folder(tmp_path) / "journal.jsonl").entries[-1].kind


def test_a_killed_run_leaves_the_adapter_off_and_locked(
    serve: Any, start_run: Start, short: Path, tmp_path: Path
) -> None:
    """Kill -9: the adapter notices within its dead-man time, and the journal is whole up to that moment."""
    served = serve(str(short), *FIXTURE)
    process = start_run(served.words)
    until(process, "Exercise K1")
    process.kill()
    process.wait(timeout=10)
    said = served.wait_for("everything off, locked", seconds=2 * DEAD_MAN)
    journal = read_journal(only_folder(tmp_path) / "journal.jsonl")

    assert "locked" in said
    assert "step judged" in {entry.kind for entry in journal.entries}


def test_a_frozen_run_is_noticed_by_the_dead_man(serve: Any, start_run: Start, short: Path) -> None:
    """SIGSTOP hangs nothing up: only the adapter's own deadline can notice, and it says how long it waited."""
    served = serve(str(short), *FIXTURE)
    process = start_run(served.words)
    until(process, "Exercise K1")
    process.send_signal(signal.SIGSTOP)
    said = served.wait_for("dead-man", seconds=3 * DEAD_MAN)

    assert "everything off, locked" in said


def test_an_adapter_of_another_identity_is_refused_before_anything_is_energised(
    serve: Any, start_run: Start, short: Path, tmp_path: Path
) -> None:
    """The fixture expects another adapter: exit 5, what was found and what was expected."""
    fixtures = tmp_path / "fixtures"
    fixtures.mkdir()
    for path in (Path(__file__).parent.parent.parent / "fixtures").iterdir():
        text = path.read_text(encoding="utf-8").replace("Benchtest,Virtual bench adapter", "Another,Adapter")
        (fixtures / path.name).write_text(text, encoding="utf-8")
    served = serve(str(short), *FIXTURE)
    words = [str(fixtures / "serial.yaml") if word == "fixtures/serial.yaml" else word for word in served.words]
    process = start_run(words)
    _, err = process.communicate(timeout=30)

    assert 5 == process.returncode
    assert "Another,Adapter" in err
    assert "Virtual bench adapter" in err


def test_a_port_in_use_is_refused(serve: Any, start_run: Start, short: Path) -> None:
    """A second run on the same port: exit 5, and the first one goes on to its end."""
    served = serve(str(short), *FIXTURE)
    first = start_run(served.words)
    until(first, "Without power")
    second = start_run(served.words)
    _, err = second.communicate(timeout=30)
    out, _ = first.communicate(timeout=60)

    assert (5, 0) == (second.returncode, first.returncode), out
    assert "another program is using it" in err
