"""What a depot asks its records, from the command line, on both kinds of database."""

import csv
import json
import math
import sqlite3
from contextlib import closing
from dataclasses import fields
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from benchtest.records.database.packed import Line, Reading
from benchtest.records.database.questions import Drift, Point, RunLine
from benchtest.results import Verdict
from tests.records.depot import CARWASH, Said, rows
from tests.servers.postgresql import Server


def test_a_finished_run_is_in_the_records_at_once(benchtest: Said, tmp_path: Path) -> None:
    """Nothing to set up: a run, and it is listed; the summary says where."""
    code, printed, _ = benchtest(*CARWASH, "--serial", "C-3", "--runs", tmp_path / "runs", "--json")
    kept = json.loads(printed)["records"]
    found = rows(benchtest("records", "list", "--runs", tmp_path / "runs", "--format", "json"))

    assert (0, str(tmp_path / "runs/records.sqlite"), "") == (code, kept["place"], kept["problem"])
    assert [("C-3", "pass", "valid", 104)] == [(r["serial"], r["outcome"], r["status"], r["checks"]) for r in found]


def test_nothing_is_kept_where_nothing_is_wanted(benchtest: Said, tmp_path: Path) -> None:
    """`--records none` leaves no file, and asking it is answered with a sentence."""
    benchtest(*CARWASH, "--serial", "C-3", "--runs", tmp_path, "--records", "none", "--json")

    assert not list(tmp_path.glob("records*"))
    code, _, said = benchtest("records", "list", "--runs", tmp_path, "--records", "none")
    assert (4, True) == (code, "no records are kept here" in said)
    code, _, said = benchtest("records", "list", "--runs", tmp_path)
    assert (4, True) == (code, "no records are there" in said)
    assert not list(tmp_path.glob("records*"))


def test_lists_are_narrowed(benchtest: Said, asked: tuple[str, ...]) -> None:
    """By outcome, serial, customer, day; the newest first."""

    def numbers(*words: str) -> int:
        return len(rows(benchtest("records", "list", *asked, *words, "--format", "json")))

    every = rows(benchtest("records", "list", *asked, "--format", "json"))
    assert ["B-2", "A-1", "A-1"] == [row["serial"] for row in every]
    assert (2, 1, 3, 0) == (
        numbers("--serial", "A-1"),
        numbers("--outcome", "fail"),
        numbers("--customer", "=1+1", "--since", "2020-01-01"),
        numbers("--until", "2020-01-01"),
    )


def test_found_by_part_of_what_is_known(benchtest: Said, asked: tuple[str, ...]) -> None:
    """By serial, work order, whatever the case; signs that a database knows mean themselves."""
    found = [len(rows(benchtest("records", "find", text, *asked, "--format", "json"))) for text in ("a-1", "wo-7", "%")]
    assert [2, 3, 0] == found


def test_history_says_what_the_run_files_say(benchtest: Said, asked: tuple[str, ...], runs: Path) -> None:
    """First, last and change of every number, against the run files themselves; E_n by hand."""
    kept = [json.loads(file.read_text(encoding="utf-8")) for file in runs.glob("*A-1*/run.json")]
    first, last = (
        {result["check"]["id"]: result for result in run["results"]}
        for run in sorted(kept, key=lambda run: str(run["started"]))
    )
    found = rows(benchtest("records", "history", "A-1", *asked, "--format", "json"))
    numbers = {name for name, one in first.items() if isinstance(one["value"], float | int)}

    assert numbers == {row["check"] for row in found}
    for row in found:
        old, new = first[row["check"]], last[row["check"]]
        assert (old["value"], new["value"]) == (row["first"], row["last"])
        if old["uncertainty"] is not None:
            allowed = (old["uncertainty"] ** 2 + new["uncertainty"] ** 2) ** 0.5
            assert pytest.approx((new["value"] - old["value"]) / allowed) == row["E_n"]


@pytest.mark.parametrize(
    ("uncertainties", "score"),
    [((0.3, 0.4), 2.0), ((0.3, None), math.nan), ((None, 0.4), math.nan), ((0.0, 0.0), math.nan)],
)
def test_a_score_needs_the_uncertainty_of_both(uncertainties: tuple[float | None, float | None], score: float) -> None:
    """E_n is the difference over the root of the sum of both squares (ISO 13528:2022, 9.7): half of it is none."""
    line = Line(check="a", step="s", title="a", unit="V", low=None, high=None, word="")
    words: dict[str, Any] = {one.name: "" for one in fields(RunLine)}
    run = RunLine(**{**words, "id": 1, "started": datetime(2026, 11, 29, tzinfo=UTC), "checks": 1, "not_tested": 0})
    points = tuple(
        Point(
            run=run,
            reading=Reading(value=value, uncertainty=doubt, coverage=2.0, verdict=Verdict.PASS, note=""),
        )
        for value, doubt in zip((5.0, 6.0), uncertainties, strict=True)
    )

    assert pytest.approx(score, nan_ok=True) == Drift(part="P", line=line, points=points).score


def test_history_as_csv_has_every_reading_of_every_run(benchtest: Said, asked: tuple[str, ...]) -> None:
    """One line for each, read back by Python's own reader."""
    _, printed, _ = benchtest("records", "history", "A-1", *asked, "--format", "csv")
    lines = list(csv.DictReader(printed.splitlines()))

    assert {2} == {sum(one["check"] == line["check"] for one in lines) for line in lines}
    assert all(float(line["value"]) is not None for line in lines)


def test_an_unknown_board_is_not_an_empty_answer(benchtest: Said, asked: tuple[str, ...]) -> None:
    """Exit code 4, and what it may have been meant to be."""
    code, _, said = benchtest("records", "history", "A-11", *asked)
    assert (4, True) == (code, "near it: A-1" in said)


def test_a_recall_names_what_the_instrument_certified(benchtest: Said, asked: tuple[str, ...]) -> None:
    """By serial number and by name; reports too; from a day on; an unknown one is not nothing concerned."""
    for name in ("R-0002", "four-wire ohmmeter"):
        found = rows(benchtest("records", "recall", name, *asked, "--since", "2026-01-01", "--format", "json"))
        assert [("A-1", "valid"), ("A-1", "valid"), ("B-2", "")] == [(r["serial"], r["status"]) for r in found]
    assert [] == rows(benchtest("records", "recall", "R-0002", *asked, "--since", "2099-01-01", "--format", "json"))
    code, _, said = benchtest("records", "recall", "R-0003", *asked, "--since", "2026-01-01")
    assert (4, True) == (code, "near it: R-0002" in said)


@pytest.mark.parametrize("shared", [False, True], ids=["sqlite", "postgresql"])
def test_certificates_are_withdrawn_in_one_go(
    benchtest: Said, runs: Path, shared: bool, request: pytest.FixtureRequest
) -> None:
    """All that are concerned, once; the folders are told; a report is no certificate."""
    place: tuple[str, ...] = ("--runs", str(runs))
    if shared:
        server: Server = request.getfixturevalue("postgresql")
        place = (*place, "--records", server.new())
        benchtest("records", "sync", *place, "--all")
    words = ("records", "recall", "R-0002", *place, "--since", "2026-01-01", "--withdraw", "reads low", "--by", "Q.")
    assert "2 certificates withdrawn" in benchtest(*words)[2]
    assert "0 certificates withdrawn" in benchtest(*words)[2]

    found = rows(benchtest("records", "list", *place, "--format", "json"))
    assert {"A-1": "withdrawn", "B-2": ""} == {row["serial"]: row["status"] for row in found}
    for folder in runs.glob("*-A-1-*"):
        code, printed, _ = benchtest("certificate", "verify", folder)
        assert (1, True, True) == (code, "withdrawn" in printed, "reads low" in printed)


def test_a_bench_hears_what_was_withdrawn_on_the_server(benchtest: Said, runs: Path, postgresql: Server) -> None:
    """At its next `sync` its own records know it too."""
    place = ("--runs", str(runs), "--records", postgresql.new())
    benchtest("records", "sync", *place, "--all")
    number = str(rows(benchtest("records", "list", "--runs", runs, "--serial", "A-1", "--format", "json"))[0]["number"])
    benchtest("records", "withdraw", number, "--reason", "reads low", "--by", "Q.", *place)
    said = benchtest("records", "sync", *place)[1]

    assert "0 runs delivered" in said
    assert "1 certificates of this bench were withdrawn" in said
    found = rows(benchtest("records", "find", number, "--runs", runs, "--format", "json"))
    assert ["withdrawn"] == [row["status"] for row in found]


def test_what_was_withdrawn_stays_so_through_a_rebuild(benchtest: Said, runs: Path) -> None:
    """The folders know it, so records that are made anew know it too."""
    number = rows(benchtest("records", "list", "--runs", runs, "--serial", "A-1", "--format", "json"))[0]["number"]
    benchtest("records", "withdraw", str(number), "--reason", "typing error", "--by", "Q.", "--runs", runs)
    (runs / "records.sqlite").unlink()
    benchtest("records", "rebuild", "--runs", runs)
    found = rows(benchtest("records", "list", "--runs", runs, "--format", "json"))

    assert {number} == {row["number"] for row in found if row["status"] == "withdrawn"}


def test_what_is_said_of_a_certificate_reaches_the_records(benchtest: Said, runs: Path) -> None:
    """Reissued: superseded; then withdrawn by the records: the paper that replaced it as well."""

    def status() -> list[str]:
        listed = rows(benchtest("records", "list", "--runs", runs, "--serial", "A-1", "--format", "json"))
        return sorted(str(row["status"]) for row in listed)

    folder = next(runs.glob("*-A-1-*"))
    why = ("--reason", "name", "--by", "Q.")
    assert 0 == benchtest("certificate", "reissue", folder, *why, "--customer", "Nursery")[0]
    assert ["superseded", "valid"] == status()
    number = json.loads((folder / "run.json").read_text(encoding="utf-8"))["number"]
    assert 0 == benchtest("records", "withdraw", number, *why, "--runs", runs)[0]
    assert ["valid", "withdrawn"] == status()
    _, shown, _ = benchtest("show", folder)
    assert f"SUPERSEDED by number {number}-2 on 20" in shown
    assert 1 == shown.count("WITHDRAWN on 20")
    for paper in ("certificate.json", "certificate-2.json"):
        code, printed, _ = benchtest("certificate", "verify", folder / paper)
        assert (1, True) == (code, "withdrawn" in printed)


def test_a_certificate_that_is_withdrawn_alone_is_so_in_the_records(benchtest: Said, runs: Path) -> None:
    """By `certificate withdraw`, whose note alone the records see."""
    folder = next(runs.glob("*-A-1-*"))
    assert 0 == benchtest("certificate", "withdraw", folder, "--reason", "name", "--by", "Q.")[0]
    found = rows(benchtest("records", "list", "--runs", runs, "--format", "json"))
    assert 1 == sum(row["status"] == "withdrawn" for row in found)


def test_all_or_none_are_withdrawn(benchtest: Said, runs: Path) -> None:
    """A report and an unknown number are refused, and the certificate named beside them stays."""
    report, good, _ = (
        str(row["number"]) for row in rows(benchtest("records", "list", "--runs", runs, "--format", "json"))
    )
    for number, words in ((report, "number of a report"), ("BT-0", "not in the records")):
        code, _, said = benchtest("records", "withdraw", good, number, "--reason", "x", "--by", "Q.", "--runs", runs)
        assert (4, True) == (code, words in said)
    statuses = [row["status"] for row in rows(benchtest("records", "list", "--runs", runs, "--format", "json"))]
    assert ["", "valid", "valid"] == statuses


WRONG = [
    (("recall", "R-0002", "--since", "yesterday"), "'yesterday' is not a day (try 2026-03-14)"),
    (("recall", "R-0002", "--since", "2026-02-30"), "is not a day"),
    (("recall", "R-0002"), "--since"),
    (("recall", "R-0002", "--since", "2026-01-01", "--withdraw", " ", "--by", "Q."), "without a reason"),
    (("recall", "R-0002", "--since", "2026-01-01", "--withdraw", "low"), "somebody must answer for it"),
    (("recall", "R-0002", "--since", "2026-01-01", "--by", "Q."), "try both, or neither"),
    (("list", "--records", "mysql://host/x"), "mysql:// is not a kind of records"),
    (("sync",), "no server to deliver to"),
    (("backup", "x", "--records", "postgresql://127.0.0.1/x"), "backed up by its own means"),
    (("list", "--limit", "0"), "--limit"),
]


@pytest.mark.parametrize(("words", "sentence"), WRONG, ids=[" ".join(words) for words, _ in WRONG])
def test_wrong_usage_ends_with_two_and_a_sentence(benchtest: Said, words: tuple[str, ...], sentence: str) -> None:
    """What was found and what to try."""
    code, _, said = benchtest("records", *words)
    assert (2, True) == (code, sentence in said), said


def test_no_cell_of_a_csv_is_a_formula(benchtest: Said, runs: Path) -> None:
    """A customer called `=1+1` is text in every spreadsheet; numbers and JSON are as they are."""
    _, printed, _ = benchtest("records", "list", "--runs", runs, "--format", "csv")
    lines = list(csv.DictReader(printed.splitlines()))

    assert {"'=1+1"} == {line["customer"] for line in lines}
    assert {"=1+1"} == {
        row["customer"] for row in rows(benchtest("records", "find", "=1", "--runs", runs, "--format", "json"))
    }


def test_the_file_is_kept_as_it_should_be(runs: Path) -> None:
    """By another program's eyes: a write-ahead log, sound, and every run there once."""
    with closing(sqlite3.connect(runs / "records.sqlite")) as connection:
        assert ("wal",) == connection.execute("PRAGMA journal_mode").fetchone()
        assert ("ok",) == connection.execute("PRAGMA integrity_check").fetchone()
        assert [] == connection.execute("PRAGMA foreign_key_check").fetchall()
        assert (3, 3) == connection.execute("SELECT count(*), count(DISTINCT number) FROM runs").fetchone()
