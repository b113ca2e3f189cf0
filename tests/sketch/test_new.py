"""A first profile: from a connector table and from answers; what is wrong with either is said where it stands."""

import csv
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest

from benchtest.cli import entry
from benchtest.documents.tidy import tidy
from benchtest.plan import plan
from benchtest.plan.on_paper import paper_fixture, wired_for
from benchtest.profile import Profile, load_profile
from benchtest.profile.fitting import fit
from benchtest.sketch import ROLES, TEMPLATE, read_table, sketch
from benchtest.sketch.table import COLUMNS
from tests.cli.scripted import COLUMNS as WIDE
from tests.cli.scripted import Typist

ROOT = Path(__file__).parent.parent.parent
FULL = """\
connector;pin;role;name;use;value;limit;to;command;lamp
X1;1;Supply +;main;supply;24V;1A;;;D9
X1;2;supply -;main;;;;;;
X1;3;supply ac;field;field supply;24 V;;;;
X1;4;supply ac;field;;;;;;
X2;1;level input;start;start demand;24 V;;X1.2;;
X2;2;dry input;door;door switch;closed;;;;
X2;3;dry input;door;;;;;;
X2;4;dry input;frost;thermostat;;;;;
X2;5;dry input;frost;;;;;;
X3;1;common;K1;diverter;;;;start;D1
X3;2;make;K1;;;;;;
X3;3;break;K1;;;;;;
X3;4;common;K2;heater;;;;frost;
X3;5;break;K2;;;;;;
X3;6;common;K3;horn;;;;;D3
X3;7;make;K3;;;;;;
X4;1;bridge;address;jumper plug;;;;;
X4;2;bridge;address;;;;;;
X5;1;empty;;factory only;;;;;
X6;1;link;;link;;;;;
X6;2;link;;;;;;;
TP;1;coil;K1;test pads;;;X1.2;;
TP;2;rail;logic 5 V;;5 V;;X1.2;;
"""


def written(folder: Path, table: str) -> Path:
    """Return a connector table in a file."""
    path = folder / "pins.csv"
    path.write_text(table, encoding="utf-8")
    return path


def test_a_table_with_everything_becomes_a_profile(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Supplies, rails, inputs, contacts of each form, bridges; it passes the check, and is planned without a gap."""
    file = tmp_path / "board.yaml"
    code = entry(
        ["profile", "new", str(file), "--from", str(written(tmp_path, FULL)), "--part", "AB-7", "--name", "A board"]
    )
    loaded, said = load_profile(file), capsys.readouterr().out
    board = loaded.profile
    harness = wired_for(board)
    procedure = plan(fit(board), database=None, fixture=paper_fixture(), harness=harness, place=loaded.place)

    assert 0 == code == entry(["check", str(file)])
    assert ("AB-7", {"K1": "C", "K2": "B"}) == (board.board.part, {n: r.contact.form for n, r in board.relays.items()})
    assert ("closed", True, ((1, 2),)) == (
        getattr(board.inputs["door"], "rest", None),
        board.connectors["X5"].keep_empty,
        board.connectors["X4"].bridged,
    )
    assert pytest.approx([4.5, 5.5]) == [board.rails["logic 5 V"].limits.low, board.rails["logic 5 V"].limits.high]
    assert sum(len(step.checks) for step in procedure.steps) > 30
    text = file.read_text(encoding="utf-8")
    for sentence in (
        "relay K3: what commands it; until then it is left out",
        "link at X6.1-X6.2: its kind, bit rate, messages, and the steps for it",
        "supply field: current_limit, 500 mA is assumed",
        "relay_limits: operate, such as {min: 1 ms, max: 15 ms}",
    ):
        assert f"# to fill in: {sentence}" in text
        assert f"  {sentence}\n" in said
    assert text == tidy(text, Profile)


def test_the_template_makes_a_profile_as_it_stands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--template` prints a table of all columns; its roles are among those that are explained beside it."""
    assert 0 == entry(["profile", "new", "--template"])
    said = capsys.readouterr()
    rows = list(csv.DictReader(io.StringIO(said.out)))

    assert said.out == TEMPLATE
    assert list(COLUMNS) == list(rows[0])
    assert {row["role"] for row in rows} <= ROLES.keys()
    assert all(role in said.err for role in ROLES)
    assert sketch(read_table(written(tmp_path, TEMPLATE), part="AB-1", name="x")).text.startswith(
        "# First profile of x."
    )


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        (
            "K1,conveyor motor,,,,start",
            "K1,conveyor motor,,,,strat",
            "8:1: command: K1 is commanded by 'strat', which is no input here (nearest start",
        ),
        (
            "K1,conveyor motor,,,,start",
            "K1,conveyor motor,,,,door_shut",
            "8:1: command: K1 is commanded by 'door_shut', which is closed at rest: it would be energised at rest",
        ),
        ("X3,2,make", "X3,2,mkae", "9:1: role: 'mkae' is not a role (nearest make"),
        ("X3,2,make", "X3,1,make", "9:1: pin: X3.1 is in line 8 already"),
        ("X3,2,make", "X3,0,make", "9:1: connector: 'X3.0' is not a terminal"),
        ("X3,2,make,K1", "X3,2,make,", "9:1: name: whose make is it?"),
        ("X3,2,make,K1", "X3,2,make,1K", "9:1: name: '1K' is not a name"),
        ("X3,2,make,K1,,,,,,\n", "", "8:1: role: the contact of K1 has a common only"),
        ("X1,2,supply -,main,,,,,,\n", "", "2:1: role: main needs a row 'supply +' and a row 'supply -'"),
        ("main,supply,24 V", "main,supply,24", "2:1: value: main: expected a voltage such as '24 V', got '24'"),
        ("24 V,1 A", "24 V,1 V", "2:1: limit: main: "),
        (",X1.2,", ",X1,", "4:1: to: 'X1' is not a terminal"),
        ("closed,", "shut,", "6:1: value: 'shut' is not a state at rest (open or closed)"),
        ("X4,2,bridge,address", "X5,1,bridge,address", "10:1: role: bridge address needs two pins of one connector"),
        ("connector,pin", "connector,pni", "'pni' is not a column"),
        ("connector,pin", "connector,connector", "the column 'connector' is there twice"),
        ("start demand,24 V", "start, demand,24 V", "cells under 10 columns (a comma in text needs quotes)"),
        ("X1,1,supply +,main,supply,24 V,1 A,,,D5\nX1,2,supply -,main,,,,,,\n", "", "there is no d.c. supply"),
        (TEMPLATE, "connector,pin,role\n", "has no pins"),
        (TEMPLATE, "\n", "pins.csv: is empty (is this the right file?)"),
    ],
)
def test_what_is_wrong_with_a_table_is_said_at_its_row(
    tmp_path: Path, old: str, new: str, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 4, and no profile is written."""
    assert old in TEMPLATE
    file, table = tmp_path / "board.yaml", written(tmp_path, TEMPLATE.replace(old, new, 1))
    code = entry(["profile", "new", str(file), "--from", str(table), "--part", "AB-1", "--name", "x"])

    assert (4, False) == (code, file.exists())
    assert said in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "name the file to be written"),
        (("{old}",), "is there already"),
        (("{none}/x.yaml",), "there is no folder"),
        (("{new}", "--from", "pins.csv"), "--from needs --part and --name"),
        (("{new}", "--from", "pins.csv", "--part", "a b", "--name", "x"), "'a b' is not a part number"),
    ],
)
def test_wrong_usage_is_exit_code_2(
    tmp_path: Path, words: tuple[str, ...], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is overwritten, and a sentence says what to give."""
    old = tmp_path / "old.yaml"
    old.write_text("mine", encoding="utf-8")
    places = {"old": old, "none": tmp_path / "none", "new": tmp_path / "new.yaml"}

    assert 2 == entry(["profile", "new", *(word.format(**places) for word in words)])
    assert said in capsys.readouterr().err
    assert ("mine", ["old.yaml"]) == (old.read_text(encoding="utf-8"), [path.name for path in tmp_path.iterdir()])


def answered(folder: Path, typed: str) -> "subprocess.CompletedProcess[str]":
    """Return what came of answering with these lines."""
    command = [sys.executable, "-m", "benchtest", "profile", "new", "board.yaml"]
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.run(
        command, cwd=folder, input=typed, capture_output=True, text=True, timeout=60, check=False, env=environment
    )


def test_enter_alone_makes_a_profile(tmp_path: Path) -> None:
    """Every question has a default, and the defaults make a board with one relay; each question has an example."""
    done = answered(tmp_path, "\n" * 40)
    questions = done.stdout.count("]: ")

    assert (0, 20 < questions) == (done.returncode, True)
    assert questions == done.stdout.count("(such as ")
    assert ["K1"] == list(load_profile(tmp_path / "board.yaml").profile.relays)


def test_an_answer_that_cannot_be_is_asked_for_again(tmp_path: Path) -> None:
    """On a terminal: a bad part number, a bare number for a voltage, a relay of form D; then right ones."""
    typist = Typist(("profile", "new", "board.yaml"), tmp_path)
    answers = {
        "Part number": ["ab", "AB-2"],
        "nominal": ["24", "12V"],
        "A makes": ["D", "c"],
        "energises": ["stop", "start"],
        "lamp that shows it": ["", "D1"],
        "how many pins": ["0", "", "", ""],
    }
    shown = ""
    while True:
        found = typist.child.expect([r"\]: ", "still to be filled in"])
        shown += str(typist.child.before)
        if found:
            break
        question = str(typist.child.before).rpartition("\n")[2]
        waiting = next((lines for part, lines in answers.items() if part in question and lines), [""])
        typist.child.sendline(waiting.pop(0) if waiting else "")
    assert 0 == typist.end()
    board = load_profile(tmp_path / "board.yaml").profile

    assert ("AB-2", 12.0, "C", "D1") == (
        board.board.part,
        board.supplies["main"].nominal,
        board.relays["K1"].contact.form,
        board.relays["K1"].lamp,
    )
    for complaint in ("'ab' is not a part number", "expected a voltage", "'D' is not A, B or C", "'stop' is none of"):
        assert complaint in shown.replace("\r\n", " ")
    assert WIDE == 80


def test_leaving_half_way_writes_nothing(tmp_path: Path) -> None:
    """The answers end: exit code 6, and no file."""
    done = answered(tmp_path, "\n\n")

    assert (6, []) == (done.returncode, list(tmp_path.iterdir()))
    assert "stopped by the operator" in done.stderr
