"""The file of a case: a chain in which a change shows, a torn end that costs nothing, two sides that are made one."""

from dataclasses import replace
from pathlib import Path

import pytest

from benchtest.depot.entries import Triaged
from benchtest.depot.folder import FILE, append, compared, folder_of, keep_lines, read_case, read_lines
from benchtest.errors import DocumentError
from tests.depot.cases import FOUND, LEFT, NEW_K3, begun, then

OTHER = replace(FOUND, run="M")


@pytest.fixture
def lines() -> list[bytes]:
    """Lines of a case."""
    return [entry.line() for entry in then(begun(), Triaged(), FOUND, NEW_K3, LEFT).entries]


@pytest.fixture
def folder(tmp_path: Path, lines: list[bytes]) -> Path:
    """The folder of that case."""
    for line in lines:
        append(tmp_path / "W", line)
    return tmp_path / "W"


def test_what_was_appended_is_read(folder: Path, lines: list[bytes]) -> None:
    """Line by line, and as a case."""
    assert (tuple(lines), b"") == read_lines(folder)
    assert "tested as left" == read_case(folder).state


def test_every_byte_but_those_of_the_last_line_is_held_by_the_chain(folder: Path) -> None:
    """Each byte changed in turn; the last line has nothing after it, and is held by the database."""
    content = b"".join((folder / FILE).read_bytes().splitlines(keepends=True)[:3])
    last = content.rindex(b"\n", 0, len(content) - 1) + 1
    for place in range(last):
        changed = bytes([*content[:place], content[place] ^ 1, *content[place + 1 :]])
        (folder / FILE).write_bytes(changed)
        with pytest.raises(DocumentError):
            read_case(folder)


def test_a_line_that_was_taken_out_is_missed(folder: Path, lines: list[bytes]) -> None:
    """The chain does not hold any more, and where is said."""
    (folder / FILE).write_bytes(b"".join(line + b"\n" for line in (*lines[:2], *lines[3:])))
    with pytest.raises(DocumentError, match=r"entries\.jsonl:3:1: the chain is broken"):
        read_case(folder)


def test_a_torn_end_is_put_aside_and_the_next_line_is_whole(folder: Path, lines: list[bytes]) -> None:
    """What a power cut left was acknowledged to nobody; it is kept, and does not stand in the way."""
    path = folder / FILE
    path.write_bytes(b"".join(line + b"\n" for line in lines[:3]) + lines[3][:50])
    assert (tuple(lines[:3]), lines[3][:50]) == read_lines(folder)

    append(folder, lines[3])

    assert (tuple(lines[:4]), b"") == read_lines(folder)
    assert [lines[3][:50] + b"\n"] == [aside.read_bytes() for aside in folder.glob("put-aside-*.txt")]


def test_two_sides_are_made_one(lines: list[bytes]) -> None:
    """What one side lacks it gets; where both went on differently, the database holds and the file's lines go aside."""
    other = [entry.line() for entry in then(begun(), Triaged(), OTHER).entries]
    assert ((), ()) == (compared(lines, lines).up, compared(lines, lines).down)
    assert tuple(lines[3:]) == compared(lines, lines[:3]).up
    assert tuple(lines[3:]) == compared(lines[:3], lines).down
    parted = compared(lines, other)
    assert (tuple(other), tuple(lines[2:]), tuple(other[2:]), ()) == (
        parted.lines,
        parted.overtaken,
        parted.down,
        parted.up,
    )


def test_lines_that_were_overtaken_are_kept_beside(folder: Path, lines: list[bytes]) -> None:
    """Nothing that stood in a case's file is thrown away."""
    other = [entry.line() for entry in then(begun(), Triaged(), OTHER).entries]
    keep_lines(folder, compared(lines, other))
    assert tuple(other) == read_lines(folder)[0]
    assert [b"\n".join(lines[2:]) + b"\n"] == [aside.read_bytes() for aside in folder.glob("put-aside-*.txt")]


@pytest.mark.parametrize("order", ["../../etc", "a/b", "CON", ".", "a" * 64, "W 1", "W_1", "w_1", "ü", "\u202eW"])
def test_no_work_order_leads_out_of_the_depot(order: str, tmp_path: Path) -> None:
    """Whatever it is, its folder lies in the depot, and two that read alike lie apart."""
    folder = folder_of(tmp_path, order)
    assert tmp_path / "depot" == folder.parent
    assert folder.name.isascii()
    assert folder_of(tmp_path, order + "x") != folder
