"""Over real wires: emergency stop and lid, the lock and its holder, the cautions of a real bench, a slow adapter."""

import json
import os
import pty
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pexpect
import pytest

from benchtest.adapters.finding import Described
from benchtest.cli.documents import prepare
from benchtest.clock import RealClock
from benchtest.perform import Watcher, perform
from benchtest.records.journal import read_journal
from benchtest.results import Outcome
from benchtest.rig import Virtual, open_rig
from benchtest.rig.guard import Patience
from benchtest.rig.lock import locks
from benchtest.rig.places import places
from tests.rig.conftest import write_documents
from tests.wires.between import between
from tests.wires.test_second_process import only_folder, until

Start = Callable[[list[str]], "subprocess.Popen[str]"]
Documents = tuple[Path, Path]
EXAMPLE = b"Example,Bench adapter"


@pytest.fixture
def documents(tmp_path: Path) -> Documents:
    """A short script, and the serial bench with an emergency stop and a lid."""
    return write_documents(tmp_path, "serial")


@pytest.fixture
def served(serve: Any, documents: Documents) -> Any:
    """That bench, served on TCP."""
    return serve(str(documents[0]), "--fixture", str(documents[1]), "--tcp", "0")


@pytest.fixture
def real(tmp_path: Path) -> Documents:
    """The same, but the fixture expects a bench that does not call itself virtual."""
    folder = tmp_path / "real"
    folder.mkdir()
    return write_documents(folder, "serial", ("Benchtest,Virtual bench adapter", EXAMPLE.decode()))


def kept(tmp_path: Path) -> dict[str, Any]:
    """Return the one run file."""
    found: dict[str, Any] = json.loads((only_folder(tmp_path) / "run.json").read_text(encoding="utf-8"))
    return found


def port_of(served: Any) -> str:
    """Return where the served bench is."""
    return str(next(word for word in served.words if word.startswith("io="))[3:])


def words_for(documents: Documents, port: str) -> list[str]:
    """Return the words of a run on a bench at a port."""
    return ["run", str(documents[0]), "--fixture", str(documents[1]), "--serial", "W1", "--port", f"io={port}"]


@pytest.mark.parametrize("trip", ["emergency stop after 1.5 s", "lid"])
def test_a_guard_that_trips_over_wires_aborts_the_run(
    serve: Any, documents: Documents, start_run: Start, tmp_path: Path, trip: str
) -> None:
    """Exit 6 with the guard's name; everything off and read back; a report that judges nothing."""
    served = serve(str(documents[0]), "--fixture", str(documents[1]), "--trip", trip)
    out, err = start_run(served.words).communicate(timeout=30)
    process_run = kept(tmp_path)
    report = json.loads((only_folder(tmp_path) / "report.json").read_bytes())
    name = trip.partition(" after ")[0]

    assert "ABORTED: the board is not judged" in out, err
    assert ("aborted", 6) == (process_run["outcome"], 6)
    assert f"{name} has tripped" in process_run["reason"]
    assert (True, True) == (process_run["safe"]["reached"], process_run["safe"]["verified"])
    assert "the board is not judged" in report["reason"]
    assert not list(only_folder(tmp_path).glob("certificate.*"))


def test_the_lock_names_its_holder_and_dies_with_it(served: Any, start_run: Start) -> None:
    """The second run is refused with the first one's process; that one is killed, and a third goes through."""
    first = start_run(served.words)
    until(first, "Without power")
    second = start_run(served.words)
    _, err = second.communicate(timeout=30)
    first.kill()
    first.wait(timeout=10)
    served.wait_for("locked")
    until(start_run(served.words), "Without power")

    assert 5 == second.returncode
    assert f"another program is using it: process {first.pid} of " in err
    assert "on bench 'Serial bench'" in err


def test_signals_on_the_way_to_safety_change_nothing(served: Any, start_run: Start, tmp_path: Path) -> None:
    """Three signals in a row are one: aborted by the first, off and verified, the journal whole."""
    process = start_run(served.words)
    until(process, "Exercise K1")
    for number in (signal.SIGTERM, signal.SIGINT, signal.SIGHUP, signal.SIGTERM):
        process.send_signal(number)
    out, err = process.communicate(timeout=30)
    run = kept(tmp_path)

    assert 6 == process.returncode, out + err
    assert "stopped by " in run["reason"]
    assert (True, True) == (run["safe"]["reached"], run["safe"]["verified"])
    assert "ended" == read_journal(only_folder(tmp_path) / "journal.jsonl").entries[-1].kind


def test_a_real_bench_wants_its_cautions_acknowledged(
    served: Any, real: Documents, start_run: Start, tmp_path: Path
) -> None:
    """Unattended without a name: exit 2 with the cautions, nothing energised. With one: it runs, and that is kept."""
    with between(port_of(served), called=EXAMPLE) as wire:
        refused = start_run(words_for(real, wire.port))
        _, err = refused.communicate(timeout=30)
        entries = {entry.kind for entry in read_journal(only_folder(tmp_path) / "journal.jsonl").entries}
        named = [*words_for(real, wire.port), "--acknowledge", "A. Tester", "--runs", str(tmp_path / "named")]
        done = subprocess.run(
            [sys.executable, "-m", "benchtest", *named], capture_output=True, text=True, timeout=60, check=False
        )
    (folder,) = (tmp_path / "named").iterdir()
    run = json.loads((folder / "run.json").read_text(encoding="utf-8"))
    journal = read_journal(folder / "journal.jsonl").entries

    assert 2 == refused.returncode
    assert "nobody has acknowledged its cautions; nothing was energised" in err
    assert "Current limit before voltage" in err
    assert "--acknowledge NAME" in err
    assert ("cautions not acknowledged" in entries, "step begins" in entries) == (True, False)
    assert 0 == done.returncode, done.stderr
    assert ("A. Tester", "measured") == (run["acknowledged"], run["origin"])
    assert run["identities"]["io"].startswith("Example,Bench adapter,")
    assert run["identities"]["io"].endswith(f"at {wire.port}, as given")
    assert "Caution: Current limit before voltage" in done.stdout
    assert ["A. Tester"] == [entry.facts["by"] for entry in journal if entry.kind == "cautions acknowledged"]


def on_a_terminal(words: list[str], typed: str) -> "pexpect.spawn[str]":
    """Run on a terminal, read the cautions, type something; return the terminal."""
    terminal = pexpect.spawn(
        sys.executable, ["-m", "benchtest", *words], encoding="utf-8", timeout=60, dimensions=(40, 160)
    )
    terminal.expect("Caution: Extra-low voltage only")
    terminal.expect("Type your name to acknowledge these cautions")
    terminal.sendline(typed)
    return terminal


def test_on_a_terminal_a_name_is_typed(served: Any, real: Documents, tmp_path: Path) -> None:
    """The cautions are read, then the name; nothing typed is a no, and so is a no, before anything is opened."""
    with between(port_of(served), called=EXAMPLE) as wire:
        words = [*words_for(real, wire.port), "--runs", str(tmp_path / "runs")]
        refusals = [on_a_terminal(words, typed) for typed in ("", "n")]
        for refusal in refusals:
            refusal.expect(pexpect.EOF)
            refusal.close()
        opened_nothing = not (tmp_path / "runs").exists()
        named = on_a_terminal(words, "A. Tester")
        named.expect("Exercise K1")
        named.close(force=True)
    entries = read_journal(only_folder(tmp_path) / "journal.jsonl").entries

    assert ([2, 2], True) == ([refusal.exitstatus for refusal in refusals], opened_nothing)
    assert ["A. Tester"] == [entry.facts["by"] for entry in entries if entry.kind == "cautions acknowledged"]
    assert "step begins" in {entry.kind for entry in entries}


def test_an_adapter_that_is_slow_for_ever_meets_the_deadline_of_the_step(served: Any, documents: Documents) -> None:
    """Each answer comes in time for itself; the step's time is over all the same, a bench fault with its name."""
    prepared = prepare(*documents, None, ())
    with between(port_of(served)) as wire:
        rig = open_rig(
            prepared.procedure,
            prepared.fitted,
            fixture=prepared.fixture.fixture,
            harness=prepared.harness,
            ports={"io": wire.port},
            virtual=Virtual(),
        )
        with rig as opened:
            opened.watch.patience = Patience(factor=1.0, margin=2.0)
            wire.delay = 0.3
            done = perform(prepared.procedure, opened, Watcher(ended=lambda *_: setattr(wire, "delay", 0.0)))

    assert Outcome.BENCH_FAULT is done.outcome
    assert "not over after" in done.reason
    assert "during '" in done.reason
    assert (True, True) == (done.safe.reached, done.safe.verified)


def test_asking_finds_the_served_bench_among_ports(serve: Any, documents: Documents, tmp_path: Path) -> None:
    """One port where nobody answers, one with the bench: it is found by its answer, and both are free afterwards."""
    served = serve(str(documents[0]), "--fixture", str(documents[1]))
    fixture = prepare(*documents, None, ()).fixture.fixture
    silent, far_side = pty.openpty()
    ports = [Described(device=os.ttyname(far_side)), Described(device=port_of(served))]
    try:
        with locks("Mine", tmp_path) as held:
            found = places(["io"], fixture, {}, held=held, clock=RealClock(), described=lambda: ports)["io"]
    finally:
        os.close(silent)
        os.close(far_side)

    assert (port_of(served), "by asking") == (found.port, found.how)
