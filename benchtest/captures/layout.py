"""What the columns of a table are: names and units from the lines above, the column of time, the step that is told.

The line right above the rows names the columns; when all its words are units, it is the line of units and the one
above it names them. A column of time is known by its heading, by its stamps, or, where no heading names one, by being
the first and the only one that goes forward in every row. What stays open is refused, with the option that settles it.
"""

import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Final

from benchtest.captures.capture import Options
from benchtest.captures.cells import kind_of, read_number
from benchtest.captures.dialect import Dialect, Row
from benchtest.captures.lines import Text
from benchtest.captures.preamble import Preamble, is_entry, read_preamble
from benchtest.captures.units import NO_UNIT, SECOND, Unit, is_time_name, read_unit, split_name, written_unit
from benchtest.errors import CaptureError

INDEX_NAMES: Final = frozenset(
    {"sequence", "index", "sample", "samples", "no", "n", "nr", "number", "point", "scan", "row", "x", ""}
)


@dataclass(frozen=True, kw_only=True, slots=True)
class Column:
    """One column of a table."""

    place: int
    """From 0."""
    name: str
    unit: Unit
    kind: str
    """What its cells hold, in the words of `cells.kind_of`."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Layout:
    """Everything that the head of a table tells."""

    text: Text
    delimiter: str
    decimal: str
    skip: int
    """Lines above the first row."""
    width: int
    """Cells of a row."""
    row_bytes: float
    """Mean length of a row of the head."""
    columns: tuple[Column, ...]
    """Those that hold readings."""
    time: Column | None
    date: Column | None
    """Column of dates beside a column of clock times."""
    samples: tuple[str, ...]
    """Cells of the time column in the head."""
    preamble: Preamble
    notes: tuple[str, ...]


def lay_out(text: Text, dialect: Dialect, options: Options) -> Layout:
    """Return what the head of a table tells; raise CaptureError when the time stays open."""
    heading, units, rest = _headings(text.path, dialect)
    preamble = read_preamble(rest, dialect.decimal)
    columns = _columns(dialect, heading, units)
    notes = [*text.notes, *preamble.notes]
    if dialect.decimal == ",":
        notes.append("decimal comma")
    time, date, index = _time(text.path, dialect, columns, preamble, options, notes)
    aside = {column.place for column in (time, date, index) if column is not None}
    rows = dialect.rows
    return Layout(
        text=text,
        delimiter=dialect.delimiter,
        decimal=dialect.decimal,
        skip=rows[0].line - 1,
        width=len(dialect.kinds),
        row_bytes=sum(len(cell) + 1 for row in rows for cell in row.cells) / len(rows),
        columns=tuple(
            column for column in columns if column.place not in aside and column.kind in {"number", "state", "none"}
        ),
        time=time,
        date=date,
        samples=tuple(row.cells[time.place] for row in rows[:500]) if time is not None else (),
        preamble=_beside(dialect, heading, units, preamble),
        notes=tuple(notes),
    )


def _width(cells: tuple[str, ...]) -> int:
    return max((place for place, cell in enumerate(cells, 1) if cell), default=0)


def _headings(path: Path, dialect: Dialect) -> tuple[tuple[str, ...], tuple[str, ...], list[Row]]:
    """Return the names, the units, and the lines that are neither."""
    above = list(dialect.above)
    filled = max((place for place, kind in enumerate(dialect.kinds, 1) if kind != "none"), default=0)

    def fits(row: Row) -> bool:
        return filled <= _width(row.cells) <= len(dialect.kinds) and not is_entry(row, dialect.decimal)

    if not above:
        return (), (), above
    nearest = above[-1]
    if not fits(nearest):
        _refuse_comma_in_comma(path, dialect, nearest)
        return (), (), above
    if _are_units(nearest.cells):
        bracketed = all(cell[0] in "([" for cell in nearest.cells if cell)
        if len(above) > 1 and fits(above[-2]) and (bracketed or any(is_time_name(cell) for cell in above[-2].cells)):
            return above[-2].cells, nearest.cells, above[:-2]
        return (), nearest.cells, above[:-1]
    if len(above) > 1 and fits(above[-2]) and {"start", "increment"} <= {cell.lower() for cell in above[-2].cells}:
        return above[-2].cells, nearest.cells, above[:-2]
    names = sum(kind_of(cell, dialect.decimal) in {"text", "state", "none", "junk"} for cell in nearest.cells)
    if names < len(nearest.cells) and not any(is_time_name(cell) for cell in nearest.cells):
        return (), (), above
    return nearest.cells, (), above[:-1]


def _are_units(cells: tuple[str, ...]) -> bool:
    written = [cell for cell in cells if cell]
    bracketed = all(re.fullmatch(r"\(.*\)|\[.*\]", cell) for cell in written)
    return bool(written) and (bracketed or all(read_unit(cell, time=True) is not None for cell in written))


def _refuse_comma_in_comma(path: Path, dialect: Dialect, row: Row) -> None:
    named = [cell for cell in row.cells if kind_of(cell, dialect.decimal) == "text"]
    if dialect.delimiter == "," and 2 * len(named) == 2 * _width(row.cells) == len(dialect.kinds):
        raise CaptureError(
            path,
            f"the heading names {len(named)} columns, the rows have {len(dialect.kinds)} cells",
            place=f"line {row.line}",
            expected="decimal commas and commas between columns not in one file",
            hint="export with semicolons or tabs; if these are plain columns, take the heading away",
        )


def _columns(dialect: Dialect, heading: tuple[str, ...], units: tuple[str, ...]) -> list[Column]:
    columns = []
    for place, kind in enumerate(dialect.kinds):
        title = heading[place] if place < len(heading) else ""
        name, word = split_name(title)
        word = units[place] if place < len(units) and units[place] else word
        if kind == "none" and (not title or title.lower() in {"start", "increment"}):
            continue
        if not word and (named := read_unit(name)) is not None and named.symbol in {"V", "A", "Ω"} and name != "A":
            word = name
        columns.append(Column(place=place, name=name or f"column {place + 1}", unit=_unit(word), kind=kind))
    return columns


def _unit(word: str) -> Unit:
    return written_unit(word) if word else NO_UNIT


def _time(
    path: Path, dialect: Dialect, columns: list[Column], preamble: Preamble, options: Options, notes: list[str]
) -> tuple[Column | None, Column | None, Column | None]:
    """Return the columns of time, of dates beside it, and of a mere count."""
    if options.time == 0:
        return None, None, None
    if options.time is not None:
        return _seconds(path, _chosen(path, columns, options.time), notes), None, None
    dates = [column for column in columns if column.kind == "date"]
    clocks = [column for column in columns if column.kind == "clock"]
    if len(dates) == len(clocks) == 1:
        return clocks[0], dates[0], None
    told = preamble.step or options.rate
    count = columns[0] if columns and _counts(dialect, columns[0]) and _is_index_name(columns[0].name) else None
    if count is not None and (told or "increment" in {title.lower() for row in dialect.above for title in row.cells}):
        return None, None, count
    named = [column for column in columns if column.kind in {"stamp", "clock"}] or [
        column for column in columns if column.kind == "number" and is_time_name(column.name)
    ]
    if not named and columns[0].unit.symbol == "s" and columns[0].kind == "number" and len(columns) > 1:
        named = [columns[0]]
    if len(named) > 1:
        both = " and ".join(f"'{column.name}' (column {column.place + 1})" for column in named)
        raise CaptureError(path, f"more than one column of time: {both}", hint="say which one with --time")
    if named:
        return _seconds(path, named[0], notes), None, count if count is not named[0] else None
    return _unnamed(path, dialect, columns, told, notes)


def _is_index_name(name: str) -> bool:
    return name.startswith("column ") or re.sub(r"[^a-z]", "", name.lower()) in INDEX_NAMES


def _unnamed(
    path: Path, dialect: Dialect, columns: list[Column], told: float | None, notes: list[str]
) -> tuple[Column | None, None, Column | None]:
    """Return the column of time that no heading names, or a mere count; refuse what could be either."""
    forward = [column for column in columns if _goes_forward(dialect, column)]
    first = columns[0]
    if told is not None:
        if len(columns) > 1 and first in forward and _follows(dialect, first, told):
            notes.append(f"no heading names the time: column {first.place + 1} goes on in the steps that are told")
            return _seconds(path, first, notes), None, None
        if len(columns) > 1 and first in forward:
            raise CaptureError(
                path,
                f"column {first.place + 1} goes forward in every row: it may be the time or a reading",
                hint=f"say --time {first.place + 1}, or --time 0 when the rate alone gives the time",
            )
        return None, None, None
    if len(columns) > 1 and forward == [first] and not _counts(dialect, first):
        notes.append(
            f"no heading names the time: column {first.place + 1} goes forward in every row and is taken for it"
        )
        return _seconds(path, first, notes), None, None
    what = "could be a count or seconds" if first in forward and _counts(dialect, first) else "is not the time for sure"
    raise CaptureError(
        path,
        f"no column says that it is the time, and no step or rate is given (column {first.place + 1} {what})",
        hint="say the column with --time, or the samples per second with --rate",
    )


def _numbers(dialect: Dialect, column: Column) -> list[float]:
    cells = [row.cells[column.place] for row in dialect.rows]
    return (
        [read_number(cell, dialect.decimal) for cell in cells]
        if column.kind == "number" and _all_read(cells, dialect)
        else []
    )


def _all_read(cells: list[str], dialect: Dialect) -> bool:
    return all(kind_of(cell, dialect.decimal) == "number" for cell in cells)


def _goes_forward(dialect: Dialect, column: Column) -> bool:
    numbers = _numbers(dialect, column)
    return len(numbers) > 2 and all(one < other for one, other in pairwise(numbers))


def _follows(dialect: Dialect, column: Column, step: float) -> bool:
    """Return whether a column goes on in these steps, to a hundredth of one."""
    numbers = _numbers(dialect, column)
    return all(abs(other - one - step) <= 0.01 * step for one, other in pairwise(numbers))


def _counts(dialect: Dialect, column: Column) -> bool:
    numbers = _numbers(dialect, column)
    return bool(numbers) and numbers == [numbers[0] + place for place in range(len(numbers))] and numbers[0] in {0, 1}


def _chosen(path: Path, columns: list[Column], time: str | int) -> Column:
    for column in columns:
        if column.name == time or str(column.place + 1) == str(time):
            return column
    listed = ", ".join(f"{column.place + 1} '{column.name}'" for column in columns)
    raise CaptureError(path, f"no column {time!r} for the time", expected=f"one of: {listed}")


def _seconds(path: Path, column: Column, notes: list[str]) -> Column:
    """Return the column of time with its unit in seconds."""
    if column.kind in {"stamp", "clock"}:
        return Column(place=column.place, name=column.name, unit=SECOND, kind=column.kind)
    if column.kind != "number":
        found = f"column {column.place + 1} '{column.name}' holds no times but {column.kind}"
        raise CaptureError(path, found, expected="numbers, ISO 8601 stamps or 00:00:01.250")
    if column.unit == NO_UNIT and (unit := read_unit(column.name, time=True)) is not None and unit.symbol == "s":
        return Column(place=column.place, name=column.name, unit=unit, kind=column.kind)
    if column.unit == NO_UNIT:
        notes.append(f"column '{column.name}' gives no unit: taken as seconds")
        return Column(place=column.place, name=column.name, unit=SECOND, kind=column.kind)
    unit = read_unit(column.unit.symbol, time=True) if column.unit.symbol != "s" else column.unit
    if unit is None or unit.symbol != "s":
        found = f"column '{column.name}' is in '{column.unit.symbol}', which is no unit of time"
        raise CaptureError(path, found, hint="choose the column of time with --time")
    return Column(place=column.place, name=column.name, unit=unit, kind=column.kind)


def _beside(dialect: Dialect, heading: tuple[str, ...], units: tuple[str, ...], preamble: Preamble) -> Preamble:
    """Return the preamble with start and increment that stand in the line of units, beside the columns."""
    titles = [title.lower() for title in heading]
    if not {"start", "increment"} <= set(titles):
        return preamble
    if max(titles.index("start"), titles.index("increment")) >= len(units):
        return preamble
    start, step = (units[titles.index(word)] for word in ("start", "increment"))
    if kind_of(start, dialect.decimal) != "number" or kind_of(step, dialect.decimal) != "number":
        return preamble
    return Preamble(
        step=read_number(step, dialect.decimal), start=read_number(start, dialect.decimal), count=preamble.count
    )
