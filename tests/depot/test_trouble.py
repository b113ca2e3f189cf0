"""Kills at any moment, two benches at one serial number, words that want to be more than words, files that are none."""

from pathlib import Path

import pytest

from benchtest.cli.tables import to_text
from benchtest.depot.flow import Depot
from benchtest.depot.folder import case_folders
from benchtest.depot.personal import MOST_BYTES, NOTHING, Personal, photo, words
from benchtest.depot.questions import cases
from benchtest.depot.report import report, to_html
from benchtest.errors import WrongMove
from benchtest.records.database.opening import Records
from tests.certificate.test_html import Page
from tests.depot.conftest import board
from tests.depot.kills import kills
from tests.servers.postgresql import Server


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_what_was_acknowledged_is_there_once_after_a_kill(
    kind: str, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    """Killed at a random moment, again and again: file and database agree on every entry that was acknowledged."""
    place = str(tmp_path / "records.sqlite")
    if kind == "postgresql":
        server: Server = request.getfixturevalue("postgresql")
        place = server.new()
    assert all(kills(tmp_path, place, number=3 if kind == "sqlite" else 2))


def test_two_benches_cannot_take_in_one_board_twice(records: Records, tmp_path: Path) -> None:
    """Whoever comes second is told where it is; nothing of the second intake stays, not even the customer's name."""
    here, there = (Depot(root=tmp_path / name, records=records) for name in ("here", "there"))
    here.take_in("W-1", board(), by="Ann", personal=NOTHING)
    with pytest.raises(WrongMove, match="in the depot already: work order W-1"):
        there.take_in("W-2", board(), by="Bo", personal=Personal(customer="somebody"))
    assert not list(case_folders(there.root))
    assert not list(there.root.rglob("personal.json"))


HOSTILE = [
    "<script>alert(1)</script><img src=x onerror=alert(1)>",
    '=HYPERLINK("http://127.0.0.1/","click")',
    "../../../etc/passwd",
    "{{ 7*7 }} ${7*7} %n%s",
    "مرحبا بكم في المستودع",
    "👩🏽‍🔧 repairs 🇪🇺",
    "'; DROP TABLE cases; --",
    "a\x00b\x1b[31mred\x07",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_words_stay_words(text: str, file: Records, tmp_path: Path) -> None:
    """In the records, in a table, in CSV, in a file's name: nothing is run, nothing leaves its place."""
    depot = Depot(root=tmp_path, records=file)
    said = words(text, "customer")
    depot.take_in("W-1", board(condition=said), by=said, personal=Personal(customer=said, complaint=said))
    assert (said, said) == (depot.personal("W-1").customer, depot.personal("W-1").complaint)
    assert {"depot", "records.sqlite"} == {path.name for path in tmp_path.iterdir() if "sqlite-" not in path.name}
    table = cases(file)
    assert said == table.column("customer")[0]
    shown = to_text(table, 80)
    assert "\x1b" not in shown
    assert all(len(line) <= 80 for line in shown.splitlines())


def test_words_that_turn_a_line_around_are_set_right() -> None:
    """Direction marks that could make a line say what it does not are taken out; scripts and pictograms are not."""
    assert "Mr txt.exe" == words("Mr \u202etxt.exe\u202c", "customer")
    assert "👩🏽‍🔧" == words("👩🏽‍🔧", "customer")
    assert "two\nlines" == words("two \r\n lines\n", "complaint")
    assert "two lines" == words("two\nlines", "customer")


@pytest.mark.parametrize(("name", "most"), [("customer", 200), ("contact", 200), ("complaint", 4000)])
def test_words_are_never_cut(name: str, most: int) -> None:
    """Ten thousand characters are refused with how many there may be."""
    assert most == len(words("x" * most, name))
    with pytest.raises(ValueError, match=f"{name} of 10240 characters .at most {most}"):
        words("x" * 10_240, name)


def test_no_words_reach_the_page(file: Records, tmp_path: Path) -> None:
    """The manager's page holds no customer; serial and work order are escaped."""
    depot = Depot(root=tmp_path, records=file)
    depot.take_in("<b>W", board("<i>S"), by="Ann", personal=Personal(customer="Zwölfender"))
    page = to_html(report(file))
    assert "Zwölfender" not in page
    assert not {"b", "i", "script"} & {tag for tag, _ in Page(page).elements}


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"<svg onload=alert(1)>", "is no photo"),
        (b"", "is no photo"),
        (b"\xff\xd8\xff" + bytes(MOST_BYTES), r"25 MB \(at most 25 MB"),
        (None, "cannot be read: No such file"),
    ],
)
def test_a_photo_that_is_none_is_refused(content: bytes | None, message: str, tmp_path: Path) -> None:
    """Missing, empty, something else, too large: with its path and what to try."""
    path = tmp_path / "photo.jpg"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ValueError, match=message) as refusal:
        photo(path)
    assert str(path) in str(refusal.value)
    assert "try" in str(refusal.value)


@pytest.mark.parametrize(
    ("begin", "ending"),
    [
        (b"\xff\xd8\xff\xe0", ".jpg"),
        (b"\x89PNG\r\n\x1a\n", ".png"),
        (b"RIFF\x00\x00\x00\x00WEBP", ".webp"),
        (b"\x00\x00\x00\x18ftypheic", ".heic"),
    ],
)
def test_a_photo_is_known_by_its_first_bytes(begin: bytes, ending: str, tmp_path: Path) -> None:
    """Whatever its name says."""
    path = tmp_path / "label.exe"
    path.write_bytes(begin + b"....")
    about, content = photo(path)
    assert (ending, len(content)) == (about.ending, about.size)
