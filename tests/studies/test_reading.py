"""Readings from tables and run folders; what cannot be read says where, what was found, what was expected."""

import math
from pathlib import Path

import numpy as np
import pytest

from benchtest.errors import CaptureError, StudyError
from benchtest.studies.reading import read
from benchtest.studies.reading_table import COLUMNS, read_table
from benchtest.studies.readings import Choice
from tests.studies.tables import boards, runs, table


def test_a_table_is_read_in_si_units(tmp_path: Path) -> None:
    """Milliseconds become seconds, with their limits; a percentage becomes a ratio; an unknown unit stays."""
    path = table(
        tmp_path / "t.csv",
        "quantity,unit,value,low,high,board,U",
        [("a", "ms", 12, 1, 15, 1, 2), ("b", "%", 98, 90, "", 1, ""), ("c", "ohm cm", 5, "", "", 1, "")],
    )
    one, two, three = (series for series in read_table(path))

    assert (0.012, 0.002, "s") == (one.values[0], one.expanded[0], one.quantity.unit)
    assert (0.001, 0.015) == (one.quantity.low, one.quantity.high)
    assert (0.98, 0.9, math.inf) == (two.values[0], two.quantity.low, two.quantity.high)
    assert (5.0, "ohm cm") == (three.values[0], three.quantity.unit)


def test_semicolons_bring_a_decimal_comma(tmp_path: Path) -> None:
    """As spreadsheets write it where the comma is the decimal sign."""
    path = tmp_path / "t.csv"
    path.write_text("value;board\n6,25;A\n6,75;B\n", encoding="utf-8-sig")

    assert [6.25, 6.75] == next(iter(read_table(path))).values.tolist()


def test_readings_come_in_the_order_of_time(tmp_path: Path) -> None:
    """Whatever the order of the rows."""
    rows = [(3, "2026-03-04T08:00"), (1, "2026-03-02T08:00:00Z"), (2, "2026-03-03T08:00")]

    assert [1, 2, 3] == next(iter(read_table(table(tmp_path / "t.csv", "value,at", rows)))).values.tolist()


@pytest.mark.parametrize(
    ("name", "known"),
    [("lwo", "low"), ("High", "high"), ("uint", "unit"), ("units", "unit"), ("bord", "board"), ("u", "U")],
)
def test_a_misspelt_column_is_refused_with_the_name_it_should_have(tmp_path: Path, name: str, known: str) -> None:
    """Dropped in silence, it would leave the readings without limits, unit or board."""
    with pytest.raises(CaptureError) as refused:
        read_table(table(tmp_path / "t.csv", f"value,{name}", [(1, 0), (2, 0)]))

    assert f"line 1: column {name!r}, expected {known!r}" in str(refused.value)


def test_a_column_of_another_name_is_ignored_and_said_so(tmp_path: Path) -> None:
    """Columns of one's own are welcome: no word that a table may well have is taken for a slip of the pen."""
    own = "lot,flow,quality,valve,branch,time,units"
    found = read_table(table(tmp_path / "t.csv", f"value,unit,{own}", [(1, "ms", *"abcdefg")]))

    assert (f"columns of t.csv that were not used: {own.replace(',', ', ')}",) == found.notes


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "line 1: nothing in the first line, expected a column 'value'"),
        ("time,volts\n1,2\n", "line 1: columns time, volts in the first line, expected a column 'value'"),
        ("value,value\n1,2\n", "column 'value' twice"),
        ("value\n1\n12 ms\n", "line 3: value '12 ms', expected a number such as 12.5"),
        ("value\n1\nnan\n", "line 3: value 'nan', expected a number"),
        ("value\n1\n1e300\n", "line 3: value '1e300', expected a number"),
        ("value\n1\ninf\n", "line 3: value 'inf', expected a number"),
        ("value,board\n1,A\n1,2,B\n", "line 3: 3 fields, expected 2, as in the first line"),
        ("value,at\n1,yesterday\n", "line 2: at 'yesterday', expected a time such as 2026-03-02T10:15:00"),
        ("value,low\n1,x\n", "limit 'x' of reading, expected a number in the unit of the value"),
        ("value,unit\n1,V\n1,A\n", "reading in V and in A, expected one unit"),
        ("value,high\n1,5\n1,6\n", "reading with several limits, expected the same low and high"),
        ("value,low,high\n1,9,2\n", "low 9 and high 2 of reading, expected low below high"),
        ("value,board\n,A\n  ,B\n", "2 rows, none with a value, expected readings"),
        ("value\n", "no row below the first line, expected readings"),
    ],
)
def test_a_table_that_cannot_be_read_says_where(tmp_path: Path, text: str, words: str) -> None:
    """File and line, what was found, what was expected."""
    path = tmp_path / "t.csv"
    path.write_text(text, encoding="utf-8")

    with pytest.raises(CaptureError, match=r"t\.csv") as caught:
        read_table(path)
    assert words in str(caught.value)


@pytest.mark.parametrize("content", [b"value\n\xff\xfe\n", b"value\n1\x00\n", b'value\n"1\n'])
def test_spoilt_bytes_are_refused_in_words(tmp_path: Path, content: bytes) -> None:
    """No UTF-8, a zero byte, a quote that never ends."""
    path = tmp_path / "t.csv"
    path.write_bytes(content)

    with pytest.raises(CaptureError):
        read_table(path)


def test_rows_without_a_value_are_counted_and_columns_without_a_use_named(tmp_path: Path) -> None:
    """Neither is silent."""
    found = read_table(table(tmp_path / "t.csv", "value,board,remark", [(1, "A", "x"), ("", "B", "y")]))

    assert ("1 rows of t.csv have no value", "columns of t.csv that were not used: remark") == found.notes
    assert "remark" not in COLUMNS


def test_runs_give_their_numbers_with_limits_place_and_people(tmp_path: Path) -> None:
    """Boards that failed are set aside where good ones are wanted, and it is said."""
    found = read([runs(tmp_path / "runs", 5, fail=2)], choice=Choice(passed_only=True), patterns=["*K3*operate*"])
    (series,) = found

    assert 3 == series.count
    assert ("GB-0", "GB-1", "GB-2") == series.factors["board"].names
    assert ("Bench 1",) == series.factors["bench"].names
    assert "s" == series.quantity.unit
    assert np.isfinite(series.scatter).all() or np.isnan(series.scatter).all()
    assert any("2 runs set aside: not passed" in note for note in found.notes)


def test_a_run_that_cannot_be_read_is_told_and_set_aside(tmp_path: Path) -> None:
    """The others count."""
    root = runs(tmp_path / "runs", 3)
    (next(iter(sorted(root.iterdir()))) / "run.json").write_text("{", encoding="utf-8")
    found = read([root])

    assert 2 == next(iter(found)).count
    assert any("set aside" in note and "run.json" in note for note in found.notes)


def test_what_is_not_there_is_named_with_what_is(tmp_path: Path) -> None:
    """A path, a reading, a folder without runs, a board."""
    path = boards(tmp_path / "t.csv", 5)
    (tmp_path / "empty").mkdir()
    with pytest.raises(StudyError, match=r"none\.csv: there is no such table or folder"):
        read([tmp_path / "none.csv"])
    with pytest.raises(StudyError, match=r"no reading is called 'K4\*' \(there are K3 operate"):
        read([path], patterns=["K4*"])
    with pytest.raises(StudyError, match="no run to study"):
        read([tmp_path / "empty"])
    with pytest.raises(StudyError, match="no board 'B9' \\(there are B1, B2"):
        read([path]).where(board="B9")


def test_tables_and_folders_can_be_read_as_one(tmp_path: Path) -> None:
    """The same word is the same quantity."""
    one, two = boards(tmp_path / "1.csv", 5), boards(tmp_path / "2.csv", 7, seed=2)
    (series,) = read([one, two])

    assert 12 == series.count
    assert 7 == len(series.factors["board"].names)
