"""`benchtest depot`, and `benchtest run` under a work order, as a person or a scanner uses them."""

import io
import json
import os
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pexpect
import pytest

from benchtest.cli import entry

ROOT = Path(__file__).parents[2]
CARWASH = (str(ROOT / "profiles/carwash.yaml"), "--fixture", str(ROOT / "fixtures/simulated.yaml"))
BOARD = ("--part", "CW-0410", "--serial", "7H-1")
ZW = "Zwölfender".encode()


@dataclass(frozen=True, kw_only=True)
class Came:
    """What a command said."""

    code: int
    out: str
    err: str


Benchtest = Callable[..., Came]


def surroundings(**more: str) -> dict[str, str]:
    """A terminal's environment, with the records beside the runs."""
    known = {name: value for name, value in os.environ.items() if name != "BENCHTEST_RECORDS"}
    return {**known, "PYTHONPATH": str(ROOT), **more}


@pytest.fixture
def benchtest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Benchtest:
    """Give a command in an empty folder, with what a scanner types."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("BENCHTEST_RECORDS", raising=False)

    def run(*words: str, typed: str = "", **environment: str) -> Came:
        monkeypatch.setattr(sys, "stdin", io.StringIO(typed))
        for name, value in environment.items():
            monkeypatch.setenv(name, value)
        code = entry(list(words))
        out, err = capsys.readouterr()
        return Came(code=code, out=out, err=err)

    return run


@pytest.fixture
def taken_in(benchtest: Benchtest) -> Benchtest:
    """The same where a board of a customer came in and may be tested."""
    more = ("--customer", "Zwölfender", "--condition", "dusty")
    assert 0 == benchtest("depot", "intake", "--work-order", "W-1", *BOARD, "--by", "Ann", *more).code
    assert 0 == benchtest("depot", "triage", "W-1", "--by", "Ann").code
    return benchtest


def test_every_identifier_can_come_from_a_scanner(benchtest: Benchtest) -> None:
    """One line each, in the order in which they stand on the command line; the scanner's carriage return is no part."""
    typed = "W-7\r\nCW-0410\r\n 7H-1 \r\nAnn\r\n"
    came = benchtest(
        "depot", "intake", "--work-order", "-", "--part", "-", "--serial", "-", "--by", "-", typed=typed
    )  # fmt: skip
    assert 0 == came.code, came.err
    assert came.out.startswith("W-7: received  (CW-0410, serial 7H-1)\n")
    moved = benchtest("depot", "triage", "-", "--by", "Ann", typed="W-7\n")
    assert moved.out.startswith("W-7: to be tested as found")
    state = json.loads(benchtest("depot", "state", "-", "--json", typed="W-7\n").out)
    assert ("to be tested as found", ["Ann", "Ann"]) == (state["state"], [entry["by"] for entry in state["entries"]])


def test_what_is_missing_is_asked_for_on_a_terminal(tmp_path: Path) -> None:
    """Work order, part number and serial number, in that order; what cannot be is asked again."""
    words = ["-m", "benchtest", "depot", "intake", "--by", "Ann"]
    child = pexpect.spawn(
        sys.executable, words, cwd=str(tmp_path), env=surroundings(TERM="dumb"), encoding="utf-8", timeout=30
    )
    for asked, answer in (
        ("work order: ", "a/b"),
        ("Error: .*holds '/'.*work order: ", "W-8"),
        ("part number: ", "CW-0410"),
        ("serial number: ", "7H-1"),
    ):
        child.expect(asked)
        child.sendline(answer)
    child.expect("W-8: received")
    child.expect(pexpect.EOF)
    child.close()
    assert 0 == child.exitstatus


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("depot", "intake", "--by", "Ann"), "Missing option '--work-order'"),
        (("depot", "triage", "-", "--by", "Ann"), "work order was to come from standard input"),
        (("depot", "triage", "W-9", "--by", "Ann"), "work order W-9 is not known to this depot"),
        (("depot", "triage", "../W", "--by", "Ann"), "holds '/'"),
        (("depot", "triage", "W" * 65, "--by", "Ann"), "of 65 characters (at most 64"),
        (("depot", "triage", "W-9", "--by", "x" * 10_240), "name of 10240 characters (at most 200"),
        (("depot", "triage", "W-9", "--by", "Ann", "--estimate", "-5"), "'-5' is no amount (such as 12.50)"),
        (("depot", "repair", "W-9", "--what", "x", "--by", "B", "--replaced"), "--replaced needs --part"),
        (("depot", "repair", "W-9", "--what", "x", "--by", "B", "--fault", "K3 welded"), "unknown fault 'K3 welded'"),
        (("depot", "yield", "--since", "yesterday"), "'yesterday' is no day (such as 2026-03-14, or 90d"),
        (("depot", "checks", "--since", "2026-02-01", "--until", "2026-01-01"), "is not before --until"),
        (("depot", "erase", "--reason", "x", "--by", "Ann"), "say what to erase"),
        (("depot", "intake", "--work-order", "W", *BOARD, "--by", "A", "--customer", "x" * 10_240), "at most 200"),
        (("depot", "intake", "--work-order", "W", *BOARD, "--by", "A", "--photo", "no.jpg"), "no.jpg: cannot be read"),
        (("report", "-o", "no/such/folder.html"), "no/such/folder.html: cannot be written"),
    ],
)
def test_wrong_input_is_refused_with_what_to_try(taken_in: Benchtest, words: tuple[str, ...], message: str) -> None:
    """Exit code 2, one sentence, no traceback."""
    came = taken_in(*words)
    assert 2 == came.code, came.err
    assert message in came.err
    assert "defect" not in came.err


def test_a_run_of_the_depot_keeps_the_customer_out_of_its_evidence(taken_in: Benchtest, tmp_path: Path) -> None:
    """The name is on the papers and nowhere else; the run knows serial number, phase and condition by its order."""
    came = taken_in("run", *CARWASH, "--work-order", "W-1", "--technician", "Bo", "--json")
    summary = json.loads(came.out)
    assert (0, "7H-1") == (came.code, summary["serial"])
    assert "work order W-1: as found; the board is now found in order" in came.err
    folder = tmp_path / summary["folder"]
    holding = {path.name for path in folder.rglob("*") if path.is_file() and ZW in path.read_bytes()}
    papers = {"certificate.json", "certificate.html"}
    assert papers <= holding <= papers | {"certificate.pdf"}
    job = json.loads((folder / "run.json").read_text())["job"]
    said = tuple(job[key] for key in ("customer", "phase", "condition", "work_order"))
    assert ("", "as found", "dusty", "W-1") == said

    again = taken_in("certificate", "reissue", str(folder), "--reason", "wrong revision", "--by", "Ann")
    assert 0 == again.code, again.err
    (second,) = folder.glob("certificate-*.json")
    assert ZW in second.read_bytes()


def test_who_is_spelt_wrongly_is_not_silently_kept(taken_in: Benchtest) -> None:
    """Nobody of that name has left: said, for whoever asked for it would believe that it was done."""
    came = taken_in("depot", "erase", "--customer", "Zwolfender", "--reason", "asked", "--by", "Ann", "--yes")

    assert (0, "nothing was erased: no case that has left is like that (look at the spelling)\n") == (
        came.code,
        came.out,
    )


@pytest.mark.parametrize(
    ("more", "code", "message"),
    [
        (("--work-order", "W-1"), 2, "--technician is missing"),
        (("--work-order", "W-1", "--technician", "Bo", "--customer", "X"), 2, "leave it out"),
        (("--work-order", "W-1", "--technician", "Bo", "--serial", "7H-2"), 2, "is for board CW-0410 7H-1, not for"),
        (("--work-order", "W-1", "--technician", "Bo", "--phase", "as left"), 2, "a run is as found there"),
        (("--work-order", "W-9", "--technician", "Bo"), 2, "no board is known here under work order 'W-9'"),
        (("--work-order", "W-9", "--technician", "Bo", "--serial", "7H-2"), 0, "linked to nothing"),
    ],
)
def test_a_run_that_does_not_fit_its_case_is_refused_before_power(
    taken_in: Benchtest, more: tuple[str, ...], code: int, message: str, tmp_path: Path
) -> None:
    """What the depot knows is not contradicted; a run it knows nothing of is as it always was."""
    came = taken_in("run", *CARWASH, *more, "--json")
    assert code == came.code, came.err
    assert message in came.err
    assert (code == 0) is bool(list((tmp_path / "runs").glob("*/run.json")))


def test_a_server_that_is_away_stops_no_run(benchtest: Benchtest, tmp_path: Path) -> None:
    """The run is made and kept; it says that it did not link itself, and a move says that it needs the server."""
    away = "postgresql://nobody@127.0.0.1:9/records"
    run = benchtest("run", *CARWASH, "--work-order", "W-1", "--serial", "7H-1", "--json", "--records", away)
    assert 0 == run.code, run.err
    assert "the depot cannot be asked, so this run does not link itself" in run.err
    assert list((tmp_path / "runs").glob("*/run.json"))
    move = benchtest("depot", "triage", "W-1", "--by", "Ann", "--records", away)
    assert 4 == move.code
    assert "127.0.0.1:9" in move.err


def test_no_answer_is_wider_than_its_terminal(benchtest: Benchtest) -> None:
    """At eighty columns and at fifty, with long and wide words; in CSV a formula is a word."""
    benchtest(
        "depot", "intake", "--work-order", "W" * 64, "--part", "CW-0410", "--serial", "7" * 64, "--by", "Ann",
        "--customer", "=倉庫" * 40,
    )  # fmt: skip
    for columns in (80, 50):
        came = benchtest("depot", "list", COLUMNS=str(columns))
        assert 0 == came.code
        widths = [sum(1 + (ord(c) > 0x2E80) for c in line) for line in came.out.splitlines()]
        assert max(widths) <= columns
    assert "'=倉庫" in benchtest("depot", "list", "--format", "csv").out
    assert "=倉庫" * 40 == json.loads(benchtest("depot", "list", "--format", "json").out)["rows"][0]["customer"]
