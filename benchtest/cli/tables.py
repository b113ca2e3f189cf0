"""How an answer is printed: a table at the width of the terminal, CSV, or JSON."""

import io
import json
import shutil
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final, TypeVar

import click

from benchtest.cli.words import folded, spelled, tell

if TYPE_CHECKING:
    from benchtest.depot.table import Table

Command = TypeVar("Command", bound=Callable[..., Any])
NARROWEST: Final = 40
"""Columns below which no table can be read."""


def as_table(command: Command) -> Command:
    """Give a command the options of an answer's form."""
    csv = click.option("--csv", "form", flag_value="csv", help="For a spreadsheet; no cell is a formula.")
    plain = click.option("--json", "form", flag_value="json", help="For programs.")
    return csv(plain(click.option("--table", "form", flag_value="table", default="table", hidden=True)(command)))


def answered(table: "Table", form: str) -> int:
    """Print an answer in its form; return the exit code."""
    from benchtest.depot.table import to_csv, to_json

    if form == "json":
        tell(json.dumps(to_json(table), ensure_ascii=False))
    elif form == "csv":
        tell(spelled(to_csv(table).rstrip("\r\n"), sys.stdout))
    else:
        tell(spelled(to_text(table, shutil.get_terminal_size().columns), sys.stdout))
    return 0


def to_text(table: "Table", columns: int) -> str:
    """Return a table for people, so wide at most; cells that are too long go on below."""
    from benchtest.depot.table import shown

    width = max(NARROWEST, columns)
    lines = [folded(table.title, width)]
    if table.rows:
        rows = [
            [shown(cell, column.kind) for cell, column in zip(row, table.columns, strict=True)] for row in table.rows
        ]
        lines.append(_grid(table, rows, width))
        lines += [folded(note, width) for note in table.notes]
    else:
        lines.append("nothing to show")
    return "\n".join(lines)


def _grid(table: "Table", rows: list[list[str]], width: int) -> str:
    from rich.console import Console
    from rich.table import Table as Grid
    from rich.text import Text

    grid = Grid(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in table.columns:
        grid.add_column(Text(column.title), justify="right" if column.right else "left", overflow="fold")
    for row in rows:
        grid.add_row(*(Text(" ".join(cell.split())) for cell in row))
    out = io.StringIO()
    console = Console(file=out, width=width, color_system=None, markup=False, emoji=False, highlight=False)
    console.print(grid)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines())
