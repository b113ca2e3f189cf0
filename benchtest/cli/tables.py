"""How an answer of the depot is printed: a table at the width of the terminal, CSV, or JSON."""

import io
import shutil
import sys
from typing import TYPE_CHECKING, Final

from benchtest.cli.answers import Form, answer
from benchtest.cli.words import folded, spelled, tell

if TYPE_CHECKING:
    from benchtest.depot.table import Table

FORMAT: Final = "benchtest-table/1"
NARROWEST: Final = 40
"""Columns below which no table can be read."""


def answered(table: "Table", form: Form) -> int:
    """Print an answer in its form; return the exit code."""
    from benchtest.depot.table import plain_rows

    if form == "table":
        tell(spelled(to_text(table, shutil.get_terminal_size().columns), sys.stdout))
        return 0
    about = {"format": FORMAT, "table": table.key, "title": table.title, "notes": list(table.notes)}
    answer(plain_rows(table), form, shown=(), about=about)
    return 0


def to_text(table: "Table", columns: int) -> str:
    """Return a table for people, so wide at most; cells that are too long go on below."""
    width = max(NARROWEST, columns)
    lines = [folded(table.title, width)]
    if not table.rows:
        return "\n".join([*lines, "nothing to show"])
    return "\n".join([*lines, _grid(table, width), *(folded(note, width) for note in table.notes)])


def _grid(table: "Table", width: int) -> str:
    from rich.console import Console
    from rich.table import Table as Grid
    from rich.text import Text

    from benchtest.depot.table import shown

    grid = Grid(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in table.columns:
        grid.add_column(Text(column.title), justify="right" if column.right else "left", overflow="fold")
    for row in table.rows:
        cells = (shown(cell, column.kind) for cell, column in zip(row, table.columns, strict=True))
        grid.add_row(*(Text(" ".join(cell.split())) for cell in cells))
    out = io.StringIO()
    console = Console(file=out, width=width, color_system=None, markup=False, emoji=False, highlight=False)
    console.print(grid)
    return "\n".join(line.rstrip() for line in out.getvalue().splitlines())
