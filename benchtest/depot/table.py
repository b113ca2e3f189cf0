"""An answer as a table, as exact as it is known; only what people read is rounded."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Literal, TypeAlias

from benchtest.depot.case import money
from benchtest.metrology.figures import percent

Kind = Literal["text", "count", "share", "days", "money", "moment"]
Cell: TypeAlias = str | float | datetime | None
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


def plain_rows(table: Table) -> list[dict[str, Any]]:
    """Return the rows by the columns' keys: shares between 0 and 1, times in days, money in hundredths."""
    keys = [column.key for column in table.columns]
    return [dict(zip(keys, row, strict=True)) for row in table.rows]
