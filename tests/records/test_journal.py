"""The journal: chained, flushed, and honest about what was cut off."""

import hashlib
import json
import math
import resource
from pathlib import Path

import pytest

from benchtest.canonical import from_canonical, to_canonical
from benchtest.errors import DocumentError
from benchtest.records.journal import BEGINNING, Journal, read_journal


def write_three_lines(path: Path) -> Journal:
    journal = Journal.open(path)
    journal.append("run started", at=0.0, serial="GZ-000417")
    journal.append("step ended", at=1.25, step="power", ohms=math.inf)
    journal.append("run ended", at=2.5, outcome="pass")
    return journal


def test_each_line_carries_the_digest_of_the_line_before(tmp_path: Path) -> None:
    """The chain is SHA-256 over the bytes of each line, as anybody can recompute with `sha256sum`."""
    journal = write_three_lines(tmp_path / "journal.jsonl")
    journal.close()
    expected = BEGINNING
    for line in (tmp_path / "journal.jsonl").read_bytes().splitlines():
        assert expected == json.loads(line)["previous"]
        expected = hashlib.sha256(line).hexdigest()
    assert expected == journal.head


def test_a_line_is_there_before_the_journal_is_closed(tmp_path: Path) -> None:
    """Whoever reads the file while the run goes on sees every appended line."""
    with write_three_lines(tmp_path / "journal.jsonl") as journal:
        found = read_journal(tmp_path / "journal.jsonl")
        assert (3, journal.head, False) == (len(found.entries), found.head, found.torn)
    assert {"step": "power", "ohms": math.inf} == found.entries[1].facts


def test_an_open_journal_goes_on_where_it_ended(tmp_path: Path) -> None:
    """Opening again and appending keeps one unbroken chain."""
    write_three_lines(tmp_path / "journal.jsonl").close()
    with Journal.open(tmp_path / "journal.jsonl") as journal:
        journal.append("certificate written", at=3.0)
    assert [1, 2, 3, 4] == [entry.number for entry in read_journal(tmp_path / "journal.jsonl").entries]


@pytest.mark.parametrize(
    ("before", "after"),
    [
        (b"power", b"Power"),
        (b'"at":1.25', b'"at":1.26'),
        (b'"number":2', b'"number":7'),
        (b'"kind":"step', b'"kinb":"step'),
    ],
)
def test_a_changed_line_is_found(tmp_path: Path, before: bytes, after: bytes) -> None:
    """Any change of the second line is reported, at that line or at the next."""
    path = tmp_path / "journal.jsonl"
    write_three_lines(path).close()
    path.write_bytes(path.read_bytes().replace(before, after))
    with pytest.raises(DocumentError, match=r"journal\.jsonl:[23]:1"):
        read_journal(path)


def test_a_missing_or_swapped_line_is_found(tmp_path: Path) -> None:
    """Dropping or exchanging lines breaks the chain."""
    path = tmp_path / "journal.jsonl"
    write_three_lines(path).close()
    first, second, third = path.read_bytes().splitlines(keepends=True)
    for changed in (first + third, second + first + third, second + third):
        path.write_bytes(changed)
        with pytest.raises(DocumentError, match="chain is broken"):
            read_journal(path)


def test_a_torn_last_line_is_reported_and_not_believed(tmp_path: Path) -> None:
    """Cut at every byte of the last line: two whole lines remain, and the third is called torn."""
    path = tmp_path / "journal.jsonl"
    write_three_lines(path).close()
    whole = path.read_bytes()
    start = whole.rindex(b"\n", 0, -1) + 1
    for cut in range(start + 1, len(whole)):
        path.write_bytes(whole[:cut])
        found = read_journal(path)
        assert (2, True) == (len(found.entries), found.torn)
    with pytest.raises(DocumentError, match="torn"):
        Journal.open(path)


def test_a_line_that_the_disk_does_not_take_whole_is_taken_back(tmp_path: Path) -> None:
    """No file may grow beyond half of the fourth line: the journal is as before, and goes on when there is room."""
    path = tmp_path / "journal.jsonl"
    with write_three_lines(path) as journal:
        before, head = path.read_bytes(), journal.head
        soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (len(before) + 20, hard))
        try:
            with pytest.raises(OSError, match="too large"):
                journal.append("asked", at=4.0, request="Volts between X1.1 and X1.2:", typed="24")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        assert (before, head) == (path.read_bytes(), journal.head)
        journal.append("asked", at=5.0, request="Volts between X1.1 and X1.2:", typed="24")

    assert [1, 2, 3, 4] == [entry.number for entry in read_journal(path).entries]


def test_canonical_json_spells_numbers_as_the_standard_does() -> None:
    """Values of RFC 8785, appendix B (from memory), and our own spelling of what it forbids."""
    numbers = [-0.0, 5e-324, 9007199254740992.0, 295147905179352830000.0, 1e23, 9.999999999999997e-7, 0.000001]
    spelled = b"[0,5e-324,9007199254740992,295147905179352830000,1e+23,9.999999999999997e-7,0.000001]"
    assert spelled == to_canonical(numbers)
    assert b'[{"$number":"inf"},{"$number":"-inf"}]' == to_canonical([math.inf, -math.inf])
    assert math.isnan(from_canonical(to_canonical({"value": math.nan}))["value"])
