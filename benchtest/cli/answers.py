"""Answers of the records as a table for people, as CSV for spreadsheets, as JSON for programs.

A spreadsheet takes a cell that begins with `=`, `+`, `-` or `@` for a formula, and some of their formulas reach files
and networks. So a text that begins like one gets an apostrophe in front, in CSV only; numbers are left alone. Source:
the advice on CSV injection of the Open Worldwide Application Security Project (from memory).
"""

import csv
import io
import json
import math
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final, Literal

import click

from benchtest.cli.words import say, tell
from benchtest.records.labels import clean_text

Form = Literal["table", "csv", "json"]
Row = Mapping[str, Any]
FORMULA: Final = frozenset("=+-@\t\r\n＝＋－＠")
"""What a formula begins with, in narrow and in wide letters, and what some programs strip before they look."""
LONGEST: Final = 32
"""Characters that a cell of a table shows."""

format_option = click.option(
    "--format", "form", type=click.Choice(["table", "csv", "json"]), default="table", show_default=True
)


def answer(rows: Sequence[Row], form: Form, *, shown: Sequence[str], about: Mapping[str, Any]) -> None:
    """Print rows: as a table those columns that are `shown`, else all of them; `about` goes into the JSON."""
    match form:
        case "json":
            tell(json.dumps({**about, "rows": [_plain(row) for row in rows]}, ensure_ascii=False))
        case "csv":
            tell(as_csv(rows).rstrip("\r\n"))
        case "table":
            for line in as_table(rows, shown):
                say(line)


def as_csv(rows: Sequence[Row]) -> str:
    """Return rows after RFC 4180, with a line of names; nothing in them is taken for a formula."""
    if not rows:
        return ""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(rows[0])
    writer.writerows([_cell(value) for value in row.values()] for row in rows)
    return text.getvalue()


def _cell(value: Any) -> str:
    match value:
        case None:
            return ""
        case bool() | int() | float():
            return str(value)
        case datetime():
            return value.isoformat(timespec="seconds")
    text = str(value)
    begins = text[:1] in FORMULA or text.strip()[:1] in FORMULA
    return f"'{text}" if text and begins else text


def _plain(row: Row) -> dict[str, Any]:
    """Return a row as JSON has it; what is no number there is null."""
    return {name: _json(value) for name, value in row.items()}


def _json(value: Any) -> Any:
    if isinstance(value, datetime):
        return value.isoformat(timespec="milliseconds")
    return None if isinstance(value, float) and not math.isfinite(value) else value


def as_table(rows: Sequence[Row], shown: Sequence[str]) -> list[str]:
    """Return rows as lines of equal columns, under their names; columns in which nothing stands are left out."""
    cells = [[_short(row[name]) for name in shown] for row in rows]
    kept = [at for at in range(len(shown)) if any(line[at] for line in cells)]
    table = [
        [shown[at].replace("work_order", "work order") for at in kept],
        *([line[at] for at in kept] for line in cells),
    ]
    widths = [max(_width(line[at]) for line in table) for at in range(len(kept))]
    return [
        "  ".join(_padded(cell, width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in table
    ]


def _short(value: Any) -> str:
    match value:
        case None:
            return ""
        case datetime():
            return value.strftime("%Y-%m-%d %H:%M")
        case float():
            return f"{value:.6g}"
    return clean_text(str(value), longest=LONGEST)


def _width(text: str) -> int:
    """Return how many columns of a terminal a text takes: wide letters two, marks over letters none."""
    return sum(0 if unicodedata.combining(c) else 1 + (unicodedata.east_asian_width(c) in "WF") for c in text)


def _padded(text: str, width: int) -> str:
    return text + " " * (width - _width(text))
