"""How a table is written: what separates its cells, which mark its decimals have, where its rows begin.

Every pair of delimiter and decimal mark is tried on the head of the file. A pair explains the file when the last rows
of the head are all made of cells that it can read, in columns of one kind each. One explanation is taken; several that
give different numbers are a refusal that names them. Thousands are never guessed.
"""

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

from benchtest.captures.capture import Options
from benchtest.captures.cells import GROUPED, kind_of
from benchtest.captures.units import is_time_name
from benchtest.errors import CaptureError

DELIMITERS: Final = {",": "comma", ";": "semicolon", "\t": "tab", " ": "space", "": "none"}
VALUES: Final = frozenset({"number", "state"})


_DAY = re.compile(r"\b[0-9]{1,2}[./][0-9]{1,2}[./][0-9]{2,4}\b")
_NOTHING: Final = " ,;\t\r\x1a"
"""Signs of which a line without cells is made."""


@dataclass(frozen=True, kw_only=True)
class Row:
    """One line of the head, cut into cells when they are asked for."""

    line: int
    """From 1."""
    text: str
    delimiter: str

    @cached_property
    def cells(self) -> tuple[str, ...]:
        """Cells of the line, a comment sign taken off."""
        return split(self.text.lstrip("# ") if self.text.startswith("#") else self.text, self.delimiter)


@dataclass(frozen=True, kw_only=True, slots=True)
class Dialect:
    """One way to read the head that explains it."""

    delimiter: str
    """Empty when there is one column."""
    decimal: str
    above: tuple[Row, ...]
    """What stands above the rows: preamble, headings, units; comment signs taken off."""
    rows: tuple[Row, ...]
    """The rows of the head."""
    kinds: tuple[str, ...]
    """What each column holds, in the words of `cells.kind_of`."""

    def __str__(self) -> str:
        cells = f"delimiter {DELIMITERS[self.delimiter]}" if self.delimiter else "one column"
        return f"{cells}, decimal {'comma' if self.decimal == ',' else 'point'} ({len(self.kinds)} columns)"


def find_dialect(path: Path, lines: Sequence[str], options: Options) -> Dialect:
    """Return the one way to read the head; raise CaptureError when there is none, or more than one."""
    quoted = any('"' in line for line in lines[-5:])
    written = [(number, line) for number, line in enumerate(lines, 1) if line.strip(_NOTHING)]
    found = [
        dialect
        for delimiter in DELIMITERS
        for decimal in (".", ",")
        if options.delimiter in {None, delimiter}
        and options.decimal in {None, decimal}
        and (delimiter != "," or decimal != "," or quoted)
        if (dialect := _explain(written, delimiter, decimal)) is not None
    ]
    found = _without_echoes(found)
    if not found:
        _refuse_none(path, lines)
    if len(found) > 1:
        found = _by_headings(found)
    if len(found) > 1:
        choices = "; or ".join(map(str, found))
        raise CaptureError(
            path, f"rows such as {lines[-1][:60]!r} can be read in two ways: {choices}", hint=_settle(found)
        )
    _check_thousands(path, found[0], options)
    _check_one_table(path, found[0])
    return found[0]


def split(line: str, delimiter: str) -> tuple[str, ...]:
    """Return the cells of one line, quotes taken off, without the empty ones after the last delimiter."""
    if delimiter == " ":
        cells = line.split()
    elif delimiter == "":
        cells = [line.strip().strip('"')]
    elif '"' in line:
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    else:
        cells = line.split(delimiter)
    return tuple(cell.strip() for cell in cells)


def _explain(written: Sequence[tuple[int, str]], delimiter: str, decimal: str) -> Dialect | None:
    plain = [(number, line) for number, line in written if not line.startswith("#")]
    ends = (Row(line=number, text=line, delimiter=delimiter) for number, line in plain[-5:])
    if all(_kinds(row, decimal) is None for row in ends):
        return None  # as most pairs end, before the whole head is cut into rows
    rows = [Row(line=number, text=line, delimiter=delimiter) for number, line in written]
    read = [row for row in rows if not row.text.startswith("#")]
    runs: list[tuple[int, int, list[str]]] = []
    for place in reversed(range(max(0, len(read) - 5), len(read))):
        if (run := _run(read, place, decimal)) is not None:
            runs.append(run)
            if run[1] - run[0] > 5:
                break
    if not runs:
        return None
    first, last, kinds = max(runs, key=lambda run: run[1] - run[0])
    if (delimiter and len(kinds) < 2) or (not VALUES.intersection(kinds) and "none" not in kinds[1:]):
        return None
    above = (*(row for row in rows if row.line < read[first].line), *_beside(read[first : last + 1]))
    return Dialect(
        delimiter=delimiter, decimal=decimal, above=above, rows=tuple(read[first : last + 1]), kinds=tuple(kinds)
    )


def _run(rows: list[Row], last: int, decimal: str) -> tuple[int, int, list[str]] | None:
    """Return first and last of the rows that end at `last` and fit each other, and the kinds of their columns."""
    first_kinds = _kinds(rows[last], decimal)
    if first_kinds is None:
        return None
    empty = _empty(rows[last])
    kinds, first = list(first_kinds), last
    while first and (wider := _joined(kinds[empty:], _kinds(rows[first - 1], decimal), empty)) is not None:
        kinds[empty:], first = wider, first - 1
    return first, last, kinds


def _empty(row: Row) -> int:
    """Return how many cells in front are empty: two or more leave room for a preamble beside the first rows."""
    empty = next((place for place, cell in enumerate(row.cells) if cell), 0)
    return empty if empty >= 2 else 0


def _beside(rows: Sequence[Row]) -> list[Row]:
    """Return the preamble that stands beside the first rows, in cells that are empty further down."""
    empty = _empty(rows[-1])
    return [
        Row(line=row.line, text=row.delimiter.join(row.cells[:empty]), delimiter=row.delimiter)
        for row in rows
        if any(row.cells[:empty])
    ]


def _kinds(row: Row, decimal: str) -> tuple[str, ...] | None:
    """Return the kinds of the cells of a row with readings; None for a row that cannot be one."""
    kinds = tuple(kind_of(cell, decimal) for cell in row.cells)
    read = {"number", "stamp", "clock"}.intersection(kinds)
    return kinds if read and "junk" not in kinds else None


def _joined(kinds: list[str], others: tuple[str, ...] | None, after: int = 0) -> list[str] | None:
    """Return the kinds of columns, from one on, that hold both rows; None when they do not fit."""
    if others is None or len(others) != after + len(kinds):
        return None
    joined = []
    for one, other in zip(kinds, others[after:], strict=True):
        if other in {one, "none"}:
            joined.append(one)
        elif one == "none":
            joined.append(other)
        elif {one, other} == {"state", "text"}:
            joined.append("text")
        else:
            return None
    return joined


def _without_echoes(found: list[Dialect]) -> list[Dialect]:
    """Drop explanations of fewer rows, of the same numbers as another, and by spaces beside a real delimiter."""
    real = any(dialect.delimiter not in {"", " "} for dialect in found)
    most = max((len(dialect.rows) for dialect in found), default=0)
    best: dict[str, Dialect] = {}
    for dialect in found:
        before = best.get(dialect.delimiter)
        spaces = dialect.delimiter == " " and real
        if not spaces and 2 * len(dialect.rows) > most and (before is None or len(before.rows) < len(dialect.rows)):
            best[dialect.delimiter] = dialect
    return list(best.values())


def _by_headings(found: list[Dialect]) -> list[Dialect]:
    """Return the explanation in whose favour the headings speak: as many names as it has columns."""
    fitting = [dialect for dialect in found if any(_names(dialect, row) for row in dialect.above)]
    return fitting if len(fitting) == 1 else found


def _names(dialect: Dialect, row: Row) -> bool:
    """Return whether a line above names every column, right above the rows or with one for the time."""
    named = [cell for cell in row.cells if kind_of(cell, dialect.decimal) in {"text", "state"} and "," not in cell]
    return len(named) == len(dialect.kinds) and (row is dialect.above[-1] or any(map(is_time_name, named)))


def _settle(found: list[Dialect]) -> str:
    if len({dialect.decimal for dialect in found}) > 1:
        return "say --decimal , or --decimal ."
    return "say which delimiter"


def _refuse_none(path: Path, lines: Sequence[str]) -> None:
    shown = next((line for line in reversed(lines) if line.strip()), "")
    if not shown:
        raise CaptureError(path, "nothing but empty lines", expected="a table with rows of numbers")
    if (day := _DAY.search(shown)) is not None:
        found = f"the date {day[0]!r} can be read in two ways, day first or month first"
        raise CaptureError(path, found, expected="dates such as 2026-03-01", hint="export with dates of ISO 8601")
    raise CaptureError(
        path,
        f"no delimiter and decimal mark make readings of the last rows, such as {shown[:60]!r}",
        expected="rows of numbers, times or states between commas, semicolons or tabs, without thousands marks",
        hint="say the delimiter and the decimal mark, or export again",
    )


def _check_thousands(path: Path, dialect: Dialect, options: Options) -> None:
    if dialect.decimal != "," or options.decimal is not None:
        return
    commas = [cell for row in dialect.rows for cell in row.cells if "," in cell and kind_of(cell, ",") == "number"]
    if commas and all(GROUPED.fullmatch(cell) for cell in commas):
        raise CaptureError(
            path,
            f"{commas[0]!r} can be read in two ways: a decimal comma, or thousands",
            hint="say --decimal , for a decimal comma; export without thousands marks otherwise",
        )


def _check_one_table(path: Path, dialect: Dialect) -> None:
    """Refuse rows that stand above other text: a second table, or a cell that is no reading."""
    rows = [row for row in dialect.above if _joined(list(dialect.kinds), _kinds(row, dialect.decimal)) is not None]
    if len(rows) < (2 if "text" in dialect.kinds else 1):
        return
    between = next((row for row in dialect.above if row.line > rows[-1].line), None)
    if between is None:
        return
    raise CaptureError(
        path,
        f"{' '.join(between.cells)[:60]!r} stands between rows of readings",
        place=f"line {between.line}",
        expected="one table",
        hint="a second table, or a cell that is no reading: cut the file there, or mend the row",
    )
