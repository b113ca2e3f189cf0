"""`benchtest records list`, `find` and `history`: which runs there were, and how a board has changed."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from benchtest.cli.answers import Form, answer, format_option
from benchtest.cli.records_options import address, day, opened, records_option, runs_option
from benchtest.cli.words import say
from benchtest.metrology.figures import figures, plain
from benchtest.records.labels import clean_text

if TYPE_CHECKING:
    from benchtest.records.database.questions import Drift, RunLine

FORMAT: Final = "benchtest-records/1"
SHOWN: Final = ("started", "number", "part", "serial", "outcome", "status", "phase", "work_order", "customer")
OF_ONE: Final = ("started", "number", "outcome", "status", "phase", "work_order")
DRIFTS: Final = ("reading", "first", "last", "change", "E_n")
LONGEST_TITLE: Final = 28
"""Characters of a reading's name, so that a line of a table has room on a terminal of eighty."""
MOST: Final = 12
"""Readings that a table shows, those that changed most first."""

limit_option = click.option(
    "--limit", type=click.IntRange(min=1), default=50, show_default=True, help="At most so many."
)


def rows_of(lines: "Iterable[RunLine]") -> list[dict[str, Any]]:
    """Return runs as rows, without what only the database knows them by."""
    return [{name: value for name, value in asdict(line).items() if name not in {"id", "identity"}} for line in lines]


@click.command("list")
@runs_option
@records_option
@click.option("--serial", default="", metavar="SN", help="Only of this serial number.")
@click.option("--part", default="", metavar="PART", help="Only of this part number.")
@click.option("--outcome", default="", metavar="WORD", help="Only with this outcome, such as fail.")
@click.option("--customer", default="", metavar="NAME", help="Only of this customer.")
@click.option("--work-order", default="", metavar="NO", help="Only of this work order.")
@click.option("--technician", default="", metavar="NAME", help="Only tested by this person.")
@click.option("--bench", default="", metavar="NAME", help="Only on this bench.")
@click.option("--since", default=None, callback=day, metavar="DATE", help="Only from this day on, such as 2026-03-14.")
@click.option("--until", default=None, callback=day, metavar="DATE", help="Only before this day.")
@limit_option
@format_option
def list_(root: Path, records: str, limit: int, form: Form, **wanted: Any) -> int:
    """List runs, the newest first; each option narrows them."""
    from benchtest.records.database.questions import Wanted, list_runs

    with opened(address(records, root)) as found, found.reading() as connection:
        lines = list_runs(connection, Wanted(**wanted), limit=limit)
    return _answered(lines, form, limit)


@click.command("find")
@click.argument("text")
@runs_option
@records_option
@limit_option
@format_option
def find(text: str, root: Path, records: str, limit: int, form: Form) -> int:
    """Find runs by TEXT: their number, serial number, work order or customer; else those with it as a part of one."""
    from benchtest.records.database.questions import find_runs

    with opened(address(records, root)) as found, found.reading() as connection:
        lines = find_runs(connection, text, limit=limit)
    return _answered(lines, form, limit)


def _answered(lines: "Sequence[RunLine]", form: Form, limit: int) -> int:
    answer(rows_of(lines), form, shown=SHOWN, about={"format": FORMAT})
    if not lines:
        say("no run is like that", err=True)
    elif len(lines) == limit:
        say(f"there may be more than these {limit} (--limit)", err=True)
    return 0


@click.command("history")
@click.argument("serial", metavar="SERIAL")
@runs_option
@records_option
@click.option("--part", default="", metavar="PART", help="Where several parts have a board with this number.")
@click.option("--all", "everything", is_flag=True, help="Every reading, not only those that changed most.")
@format_option
def history(serial: str, root: Path, records: str, part: str, everything: bool, form: Form) -> int:
    """Show all runs of the board with number SERIAL, and how each of its readings has drifted over them.

    E_n is the change from the first run to the last over the uncertainty of both: beyond 1 the board has changed, or
    the bench; a reading without a stated uncertainty has none. As CSV there is a line for every reading of every run.
    """
    from benchtest.records.database.questions import history as ask

    with opened(address(records, root)) as found, found.reading() as connection:
        known = ask(connection, serial, part=part)
    runs = rows_of(known.runs)
    drifts = sorted(known.drifts, key=lambda one: 0.0 if math.isnan(one.score) else -abs(one.score))
    if form == "csv":
        answer(list(_points(known.drifts)), form, shown=(), about={})
    elif form == "json":
        about = {"format": FORMAT, "serial": serial, "runs": _dated(runs)}
        answer([_drift(one) for one in known.drifts], form, shown=(), about=about)
    else:
        answer(runs, form, shown=("part", *OF_ONE) if len({run["part"] for run in runs}) > 1 else OF_ONE, about={})
        _tell_drifts([one for one in drifts if len(one.points) > 1], everything=everything)
    return 0


def _dated(runs: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{**run, "started": run["started"].isoformat(timespec="milliseconds")} for run in runs]


def _tell_drifts(drifts: "Sequence[Drift]", *, everything: bool) -> None:
    if not drifts:
        say("\none run alone shows no drift")
        return
    shown = drifts if everything else drifts[:MOST]
    say("")
    several = len({one.part for one in drifts}) > 1
    answer([_in_words(one) for one in shown], "table", shown=("part", *DRIFTS) if several else DRIFTS, about={})
    if len(shown) < len(drifts):
        say(f"and {len(drifts) - len(shown)} readings more that changed less (--all)")


def _in_words(one: "Drift") -> dict[str, Any]:
    last, unit = one.points[-1].reading, one.line.unit
    return {
        "part": one.part,
        "reading": clean_text(one.line.title, longest=LONGEST_TITLE),
        "first": plain(one.values[0], unit),
        "last": figures(last.value, last.uncertainty, unit),
        "change": plain(one.change, unit),
        "E_n": "" if math.isnan(one.score) else f"{one.score:+.2f}",
    }


def _drift(one: "Drift") -> dict[str, Any]:
    values = one.values
    return {
        "part": one.part,
        "check": one.line.check,
        "reading": one.line.title,
        "unit": one.line.unit,
        "runs": len(values),
        "first": values[0],
        "last": values[-1],
        "change": one.change,
        "lowest": min(values),
        "highest": max(values),
        "E_n": one.score,
        "low_limit": one.line.low,
        "high_limit": one.line.high,
    }


def _points(drifts: "Iterable[Drift]") -> Iterable[dict[str, Any]]:
    for one in drifts:
        for point in one.points:
            yield {
                "part": one.part,
                "check": one.line.check,
                "reading": one.line.title,
                "unit": one.line.unit,
                "started": point.run.started,
                "number": point.run.number,
                "value": point.reading.value,
                "uncertainty": point.reading.uncertainty,
                "coverage": point.reading.coverage,
                "verdict": point.reading.verdict.value,
            }


def when(moment: datetime) -> str:
    """Return a moment for people."""
    return moment.strftime("%Y-%m-%d %H:%M")
