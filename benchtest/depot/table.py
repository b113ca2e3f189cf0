"""An answer as a table: for people, for spreadsheets (CSV), for programs (JSON); only what people read is rounded.

A spreadsheet takes a cell that begins with `=`, `+`, `-`, `@`, a tabulator or a line end for a formula, and runs it;
such text is given an apostrophe in front (OWASP, CSV Injection, from memory). Numbers are left as they are.
"""

import csv
import io
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal, TypeAlias

from benchtest.depot.case import money
from benchtest.metrology.figures import percent

Kind = Literal["text", "count", "share", "days", "money", "moment"]
Cell: TypeAlias = str | float | datetime | None
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")
FORMAT: Final = "benchtest-table/1"


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One column."""

    key: str
    """Its name for programs; it keeps."""
    title: str
    kind: Kind = "text"

    @property
    def right(self) -> bool:
        """Whether its cells stand at the right, as numbers do."""
        return self.kind not in {"text", "moment"}


@dataclass(frozen=True, kw_only=True, slots=True)
class Table:
    """An answer: rows of cells, as exact as they are known."""

    key: str
    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    notes: tuple[str, ...] = ()
    """What must be known to read it."""

    def __post_init__(self) -> None:
        if any(len(row) != len(self.columns) for row in self.rows):
            raise ValueError(f"a row of {self.key} has not {len(self.columns)} cells")

    def column(self, key: str) -> list[Any]:
        """Return the cells of one column."""
        place = [column.key for column in self.columns].index(key)
        return [row[place] for row in self.rows]


def shown(cell: Cell, kind: Kind) -> str:
    """Return a cell as people read it."""
    match cell, kind:
        case None, _:
            return "–"
        case float() | int(), "share":
            return percent(cell)
        case float() | int(), "days":
            return f"{cell:.1f} d"
        case int(), "money":
            return money(cell)
        case datetime(), _:
            return f"{cell.astimezone():%Y-%m-%d %H:%M}"
        case _:
            return str(cell)


def to_json(table: Table) -> dict[str, Any]:
    """Return a table as plain data: shares between 0 and 1, times in days, money in hundredths."""
    keys = [column.key for column in table.columns]
    rows = [dict(zip(keys, (_plain(cell) for cell in row), strict=True)) for row in table.rows]
    return {"format": FORMAT, "table": table.key, "title": table.title, "rows": rows, "notes": list(table.notes)}


def _plain(cell: Cell) -> str | float | None:
    return cell.isoformat() if isinstance(cell, datetime) else cell


def to_csv(table: Table) -> str:
    """Return a table for a spreadsheet (RFC 4180), in which no cell is a formula."""
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([column.key for column in table.columns])
    writer.writerows([[harmless(_plain(cell)) for cell in row] for row in table.rows])
    return out.getvalue()


def harmless(cell: str | float | None) -> str | float | None:
    """Return a cell that no spreadsheet runs."""
    return f"'{cell}" if isinstance(cell, str) and cell.lstrip(" \u00a0").startswith(FORMULA) else cell
