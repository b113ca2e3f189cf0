"""By hand on a real terminal: a scripted person, a virtual board, pause and resume, Ctrl-C, pipes."""

import json
import os
import resource
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from benchtest.cli.documents import Prepared, prepare
from benchtest.cli.earlier import take_up
from benchtest.clock import VirtualClock
from benchtest.errors import BenchtestError, PlanError
from benchtest.records.journal import read_journal
from tests.adapters.technician import Technician, by_hand, virtual_board
from tests.cli.scripted import COLUMNS, ROOT, Typist

RUN = ("run", "profiles/carwash.yaml", "--fixture", "fixtures/byhand.yaml", "--serial", "A1")
STEPS = """steps:
  - {step: unpowered}
  - {step: power up, supplies: [main]}
  - {step: lamps, lit: [D5], dark: [D1, D2]}
  - {step: exercise, relays: [K1, K2]}
  - {step: safe off}
"""
Start = Callable[..., Typist]


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """A copy of the shipped documents, the car-wash board with a short script."""
    for folder in ("profiles", "fixtures"):
        shutil.copytree(ROOT / folder, tmp_path / folder)
    profile = tmp_path / "profiles/carwash.yaml"
    text = profile.read_text(encoding="utf-8")
    profile.write_text(text[: text.index("steps:")] + STEPS, encoding="utf-8")
    return tmp_path


@pytest.fixture
def prepared(place: Path) -> Prepared:
    """The short car-wash board for a person with a meter."""
    return prepare(place / "profiles/carwash.yaml", place / "fixtures/byhand.yaml", None, ())


@pytest.fixture
def start(place: Path) -> Iterator[Start]:
    """Start benchtest on a terminal; what still runs at the end of a test is ended."""
    started: list[Typist] = []

    def begin(*words: str) -> Typist:
        started.append(Typist(words, place))
        return started[-1]

    yield begin
    for typist in started:
        typist.child.close(force=True)


def technician_at(prepared: Prepared, *faults: str, **asides: list[str]) -> Technician:
    """Return a trusty person with a virtual board on the bench."""
    scene = virtual_board(prepared, *faults)
    return Technician(scene, VirtualClock(scene.advance), asides={k.replace("_", " "): v for k, v in asides.items()})


def run_folder(place: Path) -> Path:
    """Return the only run folder."""
    (folder,) = (place / "runs").iterdir()
    return folder


def piped(place: Path, answers: bytes, *words: str) -> "subprocess.CompletedProcess[bytes]":
    """Run with answers from a pipe."""
    return subprocess.run(
        [sys.executable, "-m", "benchtest", *words],
        cwd=place,
        input=answers,
        capture_output=True,
        timeout=60,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def run_file(place: Path) -> dict[str, Any]:
    """Return the run file."""
    found: dict[str, Any] = json.loads((run_folder(place) / "run.json").read_text(encoding="utf-8"))
    return found


def verdicts(run: dict[str, Any]) -> dict[str, str]:
    """Return every verdict by the check's id."""
    return {result["check"]["id"]: result["verdict"] for result in run["results"]}


def test_a_board_by_hand_on_a_terminal_of_80_columns(start: Start, prepared: Prepared, place: Path) -> None:
    """From the cautions to the papers: the verdicts of the same person without a terminal, and origin 'by hand'.

    Every line that was typed is in the journal, with its time; so are both readings of a lamp misread at first.
    """
    technician = technician_at(prepared, Is_lamp_D2=["1"], Volts_across_X3=["b"])
    typist = start(*RUN, "--technician", "C. Tester")
    typist.answered_by(technician)
    code, run = typist.end(), run_file(place)
    expected = {r.check.id: r.verdict.value for r in by_hand(prepared).done.results}

    assert (3, "inconclusive", "entered by hand") == (code, run["outcome"], run["origin"])
    assert expected == verdicts(run)
    assert ("C. Tester", {"io": "A. Tester, by hand with a meter"}) == (run["job"]["technician"], run["identities"])
    assert max(map(len, typist.shown.split("\n"))) <= COLUMNS
    assert "\x1b" not in typist.shown
    assert "confirmed by the person at the bench" in run["safe"]["note"]

    journal = read_journal(run_folder(place) / "journal.jsonl")
    asked = [entry.facts for entry in journal.entries if entry.kind == "asked"]
    lamp = [facts["typed"] for facts in asked if "Is lamp D2 (green, coil of K2)" in facts["request"]]
    assert not journal.torn
    assert {"request": "I have read this. Your name:", "typed": "A. Tester"}.items() <= asked[0].items()
    assert ["1", "0"] == lamp[:2]
    assert len(technician.heard) == len(asked)
    assert all(len(facts["time"]) == len("2026-11-25T19:20:00+00:00") for facts in asked)
    with pytest.raises(PlanError, match="that run is finished, its outcome is inconclusive"):
        take_up(run_folder(place))
    (run_folder(place) / "run.json").unlink()  # as where the disk was full at the very end
    _, asked_again = take_up(run_folder(place))
    assert asked_again.taken_up is not None
    assert "exercise-K2" in asked_again.taken_up.kept()


def test_a_run_is_paused_and_taken_up_again(start: Start, prepared: Prepared, place: Path) -> None:
    """Paused at K2: power comes up anew, what was read is kept with its time, one journal, one set of papers."""
    technician = technician_at(prepared, make_contact_of_K2=["p"])
    first = start(*RUN)
    first.answered_by(technician)
    paused, folder = first.end(), run_folder(place)
    stopped = run_file(place)
    again = start("run", "--resume", str(folder))
    again.answered_by(technician_at(prepared, I_have_read_this=["B. Tester"]))
    code, run = again.end(), run_file(place)
    notes = {result["check"]["id"]: result["note"] for result in run["results"]}
    kinds = [entry.kind for entry in read_journal(folder / "journal.jsonl").entries]

    assert ("A. Tester", "A. Tester, B. Tester") == (stopped["job"]["technician"], run["job"]["technician"])
    assert (6, "aborted", True) == (paused, stopped["outcome"], stopped["safe"]["verified"])
    assert f"benchtest run --resume runs/{folder.name}" in first.seen.replace("\r\n", "\n")
    assert 3 == code
    assert verdicts(run) == {r.check.id: r.verdict.value for r in by_hand(prepared).done.results}
    assert "kept from before the pause, 20" in notes["exercise.K1.contact-resistance"]
    assert "" == notes["exercise.K2.contact-resistance"]
    assert "make contact of K2" in next(request for request in again.requests if "Volts across" in request)
    assert any("current limit" in request for request in again.requests)
    assert ["begins", "resumes"] == [kind for kind in kinds if kind in {"begins", "resumes"}]
    assert 1 == len(list(folder.glob("report.pdf")))


def test_a_run_that_was_killed_goes_on_where_its_journal_ends(start: Start, prepared: Prepared, place: Path) -> None:
    """The battery was empty at K2: there is no run file, and what was read until then is kept all the same."""
    first = start(*RUN)
    first.answered_by(technician_at(prepared), until="make contact of K2")
    first.child.kill(signal.SIGKILL)
    first.child.wait()
    shown = piped(place, b"", "show", str(run_folder(place)))
    again, asked = take_up(run_folder(place))

    assert (5, True) == (shown.returncode, b"then go on with 'benchtest run --resume'" in shown.stdout)
    torn = Path(shutil.copytree(run_folder(place), place / "torn"))
    with (torn / "journal.jsonl").open("ab") as journal:
        journal.write(b'{"at":')
    assert b"its last line is torn" in piped(place, b"", "show", str(torn)).stdout
    assert b"of a finished run?" in piped(place, b"", "certificate", "verify", str(torn)).stderr

    assert not (run_folder(place) / "run.json").exists()
    assert prepared.procedure.channels == again.procedure.channels
    assert asked.taken_up is not None
    assert ["unpowered", "come-to-rest", "lamps-3", "exercise-K1"] == list(asked.taken_up.kept())


def test_a_run_whose_last_line_is_torn_goes_on_without_that_line(place: Path) -> None:
    """What stood before it is kept byte for byte; paper and screen say what was cut off. A broken chain is refused."""
    piped(place, ANSWERS.encode(), *RUN)
    journal = run_folder(place) / "journal.jsonl"
    *lines, _ = journal.read_bytes().splitlines(keepends=True)
    whole, torn = b"".join(lines), b'{"at":12.5,"facts":{"req'
    (run_folder(place) / "run.json").unlink()

    journal.write_bytes(whole.replace(b'"kind":"asked"', b'"kind":"begun"', 1) + torn)
    before = journal.read_bytes()
    refused = piped(place, ANSWERS.encode(), "run", "--resume", str(run_folder(place)))
    assert (4, before) == (refused.returncode, journal.read_bytes())

    journal.write_bytes(whole + torn)
    done = piped(place, ANSWERS.encode(), "run", "--resume", str(run_folder(place)))
    found = read_journal(journal)
    remark = f"the last line of the journal was torn ({len(torn)} bytes) and was cut off"
    assert (6, b"") == (done.returncode, done.stderr)
    assert f"remark: {remark}".encode() in done.stdout
    assert [remark] == run_file(place)["remarks"]
    assert journal.read_bytes().startswith(whole + b'{"at":0')
    assert (False, "resumes", "ended") == (found.torn, found.entries[len(lines)].kind, found.entries[-1].kind)


def test_a_disk_that_is_full_in_the_middle_asks_once_for_everything_off(
    start: Start, prepared: Prepared, place: Path
) -> None:
    """The journal may grow no more at K1: one request to switch off, its answer is told, and the run can go on."""
    typist = start(*RUN)
    typist.answered_by(technician_at(prepared), until="make contact of K1")
    before = (run_folder(place) / "journal.jsonl").read_bytes()
    assert typist.child.pid is not None
    resource.prlimit(typist.child.pid, resource.RLIMIT_FSIZE, (len(before) + 20,) * 2)
    typist.type("11.99")
    requests = []
    while request := typist.request():
        requests.append(request)
        typist.type("")

    assert ["Enter when it is off, n when it cannot be confirmed"] == requests
    assert 5 == typist.end()
    assert "so the run cannot be kept" in typist.seen
    assert "safe state: everything off, confirmed by the person" in typist.seen
    assert before == (run_folder(place) / "journal.jsonl").read_bytes()
    _, asked = take_up(run_folder(place))
    assert asked.taken_up is not None
    assert ["unpowered", "come-to-rest", "lamps-3"] == list(asked.taken_up.kept())


def test_control_c_asks_for_the_supply_to_be_switched_off(start: Start, prepared: Prepared, place: Path) -> None:
    """In the middle of a request: loads first, the supply last, confirmed, exit code 6."""
    typist = start(*RUN)
    typist.answered_by(technician_at(prepared), until="make contact of K1")
    typist.seen = ""
    typist.child.sendintr()
    assert "Enter when it is off, n when it cannot be confirmed" == typist.request()
    asked = typist.seen
    typist.type("")
    code, run = typist.end(), run_file(place)

    assert asked.index("Open the contact between X2.5") < asked.index("Switch off the supply at X1.1")
    assert (6, "stopped by the operator", True) == (code, run["reason"], run["safe"]["verified"])


def test_what_is_not_confirmed_is_not_claimed(start: Start, prepared: Prepared, place: Path) -> None:
    """Ctrl-C, and Ctrl-C once more: the run says what may still be on."""
    typist = start(*RUN)
    typist.answered_by(technician_at(prepared), until="make contact of K1")
    while typist.request():
        typist.seen = ""
        typist.child.sendintr()
    code, run = typist.end(), run_file(place)

    assert 6 == code
    assert (False, False) == (run["safe"]["reached"], run["safe"]["verified"])
    assert "nobody confirmed that everything is off: X2.5-X2.6, X1.1-X1.2" == run["safe"]["note"]


def test_a_terminal_that_is_cut_off_ends_as_aborted(start: Start, prepared: Prepared, place: Path) -> None:
    """The line to the van is gone in the middle of a request: nobody hears it, the run is whole, exit code 6."""
    typist = start(*RUN)
    typist.answered_by(technician_at(prepared), until="make contact of K1")
    with Path(os.devnull).open("rb") as nothing:
        os.dup2(nothing.fileno(), typist.child.child_fd)
    code, run = typist.child.wait(), run_file(place)

    assert (6, "stopped by SIGHUP", False) == (code, run["reason"], run["safe"]["verified"])
    assert "nobody confirmed that everything is off: X2.5-X2.6, X1.1-X1.2" == run["safe"]["note"]


def test_a_command_that_was_given_no_output_does_its_work(place: Path) -> None:
    """Started with standard output closed, as some schedulers do: the run is there, and its exit code says how."""
    words = [sys.executable, "-m", "benchtest", "run", "profiles/carwash.yaml", "--fixture", "fixtures/simulated.yaml"]
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        ["/bin/sh", "-c", '"$@" >&-', "sh", *words, "--serial", "A1"],
        cwd=place,
        stderr=subprocess.PIPE,
        timeout=60,
        check=False,
        env=env,
    )

    assert (0, b"") == (done.returncode, done.stderr)
    assert "pass" == json.loads(next((place / "runs").glob("*/run.json")).read_text(encoding="utf-8"))["outcome"]


ANSWERS = "A. Tester\n\n0.3\n1200\n\n\nn\n6\n\nn\n12\n\nn\n24\n22 mA\n24\n1\n"


def test_the_end_of_piped_answers_is_a_pause_whatever_bytes_they_held(place: Path) -> None:
    """Exit code 6, the journal whole, what is on named; bytes that are no text were asked for again."""
    strange = b"\xff\xfe\x00\n\x1b[31mred\n" + b"9" * 100_000 + b"\n%s%n\n\xe2\x88\x9e V A\n\n"
    done = piped(place, ANSWERS.encode() + strange, *RUN)
    journal = read_journal(run_folder(place) / "journal.jsonl")

    assert (6, b"") == (done.returncode, done.stderr)
    assert "nobody answers any more" == run_file(place)["reason"]
    assert not run_file(place)["safe"]["verified"]
    assert ("ended", False) == (journal.entries[-1].kind, journal.torn)
    assert 1 == done.stdout.count(b"Nobody confirmed that it is off")
    assert b"\x1b" not in done.stdout
    assert max(len(str(entry.facts.get("typed", ""))) for entry in journal.entries) <= 200


def test_a_board_that_failed_by_hand_is_not_sent_to_a_command_that_refuses_it(place: Path) -> None:
    """No simulated bench stands in for a person, so `diagnose` has nothing to go by; the run does not name it."""
    done = piped(place, b"A. Tester\n\n0.3\n0.3\n\n", *RUN)

    assert 1 == done.returncode, done.stdout
    assert b"FAIL  main not shorted failed" in done.stdout
    assert b"diagnose" not in done.stdout
    assert 4 == piped(place, b"", "diagnose", str(run_folder(place))).returncode


def test_nobody_there_from_the_beginning_is_a_pause_too(place: Path) -> None:
    """No answer to the cautions: nothing was asked for, nothing is on, and a sentence says so."""
    done = piped(place, b"", *RUN)

    assert 6 == done.returncode
    assert b"nobody answers any more" in done.stderr
    assert read_journal(run_folder(place) / "journal.jsonl").entries


def test_a_summary_in_json_is_all_that_stands_on_standard_output(place: Path) -> None:
    """With --json the conversation is on standard error."""
    done = piped(place, ANSWERS.encode(), *RUN, "--json")

    assert "aborted" == json.loads(done.stdout)["outcome"]
    assert b"Your name:" in done.stderr


def test_a_run_goes_on_only_as_it_began(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Documents that have changed, or a folder that was touched: refused, whatever is wrong is named."""
    monkeypatch.chdir(place)
    piped(place, ANSWERS.encode(), *RUN)
    folder = run_folder(place)
    changes = {
        place / "profiles/carwash.yaml": "the profile has changed since that run began",
        place / "fixtures/byhand.yaml": "the fixture has changed since that run began",
        folder / "procedure.json": "was changed after the run",
        folder / "journal.jsonl": "the chain is broken",
    }
    for path, said in changes.items():
        whole = path.read_bytes()
        changed = whole.replace(b"X1.1", b"X1.2", 1) if path.parent == folder else whole + b"\n"
        path.write_bytes(changed)
        with pytest.raises(BenchtestError, match=said):
            take_up(folder)
        path.write_bytes(whole)

    assert take_up(folder)[1].taken_up is not None


def test_going_on_takes_no_other_documents(place: Path) -> None:
    """A profile, a fixture or a serial number beside --resume is wrong usage."""
    done = piped(place, b"", "run", "--resume", "runs/none", "profiles/carwash.yaml", "--serial", "A1")

    assert 2 == done.returncode
    assert "leave out PROFILE, --serial" in " ".join(done.stderr.decode().split())


@pytest.mark.parametrize("missing", ["'PROFILE'", "'--fixture'", "'--serial'"])
def test_a_new_run_needs_its_documents_and_a_serial_number(place: Path, missing: str) -> None:
    """Without --resume what is missing is wrong usage, as ever."""
    words = {"'PROFILE'": RUN[1:2], "'--fixture'": RUN[2:4], "'--serial'": RUN[4:6]}
    given = [word for name, part in words.items() if name != missing for word in part]
    done = piped(place, b"", "run", *given)

    assert 2 == done.returncode
    assert missing in done.stderr.decode()
