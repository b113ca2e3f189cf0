"""Gauge studies: the sheet, its order, what is missing, and what comes of it."""

import csv
import io
from collections import Counter
from pathlib import Path

import pytest

from benchtest.errors import CaptureError, StudyError
from benchtest.studies.gauge_plan import Asked, Sheet, planned, sheet
from benchtest.studies.reading import read
from benchtest.studies.repeatability import study_repeatability
from benchtest.studies.repeatability_report import categories, report
from benchtest.studies.report import to_html, to_json, to_lines
from tests.studies.tables import gauge, table

ASKED = Asked(
    boards=tuple(map(str, range(1, 11))), operators=("A", "B", "C"), repeats=3, seed=7, unit="ms", low="1", high="12"
)


def test_everybody_reads_every_board_once_a_round_in_an_order_that_the_seed_decides() -> None:
    """Ninety readings; nobody twice in a row on one board; another seed, another order."""
    lines = planned(ASKED)
    rounds = [lines[n : n + 30] for n in (0, 30, 60)]

    assert all({1} == set(Counter((one.board, one.operator) for one in part).values()) for part in rounds)
    assert all(one.repeat == n for n, part in enumerate(rounds, 1) for one in part)
    assert lines == planned(ASKED)
    assert lines != planned(Asked(boards=ASKED.boards, operators=ASKED.operators, repeats=3, seed=8))
    assert [one.board for one in lines[:10]] != [one.board for one in lines[10:20]]


def test_a_filled_sheet_is_a_study(tmp_path: Path) -> None:
    """The sheet has the columns that the study reads, with unit and limits."""
    path = tmp_path / "sheet.csv"
    path.write_text(sheet(ASKED, planned(ASKED)), encoding="utf-8")
    found = Sheet.read(path)
    for number in found.open:
        board = int(dict(zip(found.head, found.rows[number], strict=True))["board"])
        found.fill(number, f"{6 + board / 10 + number % 7 / 100:.3f}")
    path.write_text(found.text(), encoding="utf-8")
    (study,) = study_repeatability(read([path]))

    assert not found.open
    assert (10, 3, 3) == study.analysis.shape
    assert 0.011 == study.tolerance
    assert ASKED.boards == study.boards
    assert 90 == len(list(csv.reader(io.StringIO(found.text())))) - 1


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        (Asked(boards=("1",), operators=("A",), repeats=3, seed=1), "1 different boards of 1"),
        (Asked(boards=("1", "1"), operators=("A",), repeats=3, seed=1), "1 different boards of 2"),
        (Asked(boards=("1", "2"), operators=("A",), repeats=1, seed=1), "expected two repeats or more"),
        (Asked(boards=tuple(map(str, range(5000))), operators=("A", "B"), repeats=2, seed=1), "10000 readings at most"),
    ],
)
def test_a_plan_that_answers_nothing_is_refused(asked: Asked, words: str) -> None:
    """Before anybody has read a board."""
    with pytest.raises(StudyError, match=words):
        planned(asked)


@pytest.mark.parametrize("text", ["", "a,b\n1,2\n", 'board,value\n"1\n', "board,value\n1\n"])
def test_what_is_no_sheet_is_refused(tmp_path: Path, text: str) -> None:
    """Nothing, other columns, a quote that never ends, a short row."""
    path = tmp_path / "s.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CaptureError, match=r"s\.csv"):
        Sheet.read(path)


@pytest.mark.parametrize(
    ("without", "words"),
    [
        ([5], "most cells have 2 readings, but board 2 by operator A has 1"),
        ([2, 3], "board 1 by operator B has 0"),
        ([0, 4, 8, 12, 16], "and 1 cells more"),
    ],
)
def test_missing_cells_are_named(tmp_path: Path, without: list[int], words: str) -> None:
    """Board and operator of the cell, and how many more there are."""
    with pytest.raises(StudyError, match=words):
        study_repeatability(read([gauge(tmp_path / "g.csv", without=without)]))


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([(5, b, o) for b in (1, 2) for o in "AB" for _ in range(2)], "all 8 readings are the same number"),
        ([(b, b, o) for b in (1, 2) for o in "AB" for _ in range(2)], "the repeats of every board are the same number"),
        ([(b, b, o) for b in (1, 2) for o in "AB"], "one reading a cell says nothing of repeatability"),
        ([(n, 1, "A") for n in range(5)], "board '1' alone"),
        ([(n, "", "A") for n in range(5)], "no boards named"),
    ],
)
def test_readings_that_cannot_answer_say_why(tmp_path: Path, rows: list[tuple[object, ...]], words: str) -> None:
    """Constant readings, constant repeats, one reading a cell, one board, no boards."""
    with pytest.raises(StudyError, match=words):
        study_repeatability(read([table(tmp_path / "g.csv", "value,board,operator", rows)]))


def test_a_sheet_that_is_not_full_says_how_much_is_missing(tmp_path: Path) -> None:
    """Beside the cells."""
    rows = [(1, 1, "A"), (2, 1, "A"), ("", 2, "A"), (3, 2, "A")]
    with pytest.raises(StudyError, match=r"1 rows of g\.csv have no value"):
        study_repeatability(read([table(tmp_path / "g.csv", "value,board,operator", rows)]))


def test_one_operator_and_two_boards_are_studied_as_far_as_they_go(tmp_path: Path) -> None:
    """Repeatability alone; the report says what is not in it."""
    path = gauge(tmp_path / "g.csv", boards=2, operators="A", repeats=5)
    readings = read([path])
    studies = study_repeatability(readings)
    said = " ".join(" ".join(to_lines(report(studies, readings, pictures=False))).split())

    assert 0.0 == studies[0].analysis.components.reproducibility.value
    assert "one operator: what differs from one operator to another is not in this study" in said
    assert "2 boards hardly show how boards differ" in said


def test_the_report_is_eighty_columns_a_page_and_plain_data(tmp_path: Path) -> None:
    """Both counts of categories, with their methods; two pictures."""
    readings = read([gauge(tmp_path / "g.csv")])
    studies = study_repeatability(readings)
    made = report(studies, readings, pictures=True)
    (found,) = to_json(made)["readings"]

    assert max(map(len, to_lines(made))) <= 80
    assert 2 == to_html(made).count("<svg")
    assert {"analysis of variance", "means and ranges"} == set(found["categories"])
    assert categories(studies[0]) == found["categories"]["analysis of variance"]
    assert found["of_tolerance"]["value"] is None
