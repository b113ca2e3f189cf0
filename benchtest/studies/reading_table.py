"""Readings from a table in CSV, a chunk at a time.

Columns by their names in the first line, in any order; only `value` is needed. Numbers have a point, or a comma where
fields end in semicolons. A cell without a value was not read: its row is counted and left out. Everything else that is
no number is refused with its line, so that a slip of the pen is not read as a result.
"""

import csv
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import Final

import numpy as np

from benchtest.errors import CaptureError
from benchtest.quantities import CURRENT, DURATION, FREQUENCY, RATIO, RESISTANCE, VOLTAGE, parse
from benchtest.studies.readings import FACTORS, Codes, Factor, Numbers, Quantity, Readings

COLUMNS: Final = {
    "quantity": "what was read; the same word, the same quantity",
    "title": "its name for people",
    "unit": "unit of value, U, scatter, low and high, such as ms or mohm; none for a plain number",
    "value": "the reading; needed; empty where nothing was read",
    "board": "serial number of the board, or number of the part",
    "operator": "who read it",
    "bench": "where it was read",
    "phase": "as found, or as left",
    "group": "batch, shift or day, for charts and capability by groups",
    "at": "when: 2026-03-02T10:15:00, or a number in the order of reading",
    "U": "expanded uncertainty of the reading, k = 2",
    "scatter": "standard uncertainty that differs from reading to reading",
    "low": "lowest permitted value",
    "high": "highest permitted value",
}
CHUNK: Final = 50_000
"""Rows that are taken apart at a time."""
_KIND: Final = ("quantity", "title", "unit", "low", "high")


def read_table(path: Path) -> Readings:
    """Return the readings of a table. Raises CaptureError with line, finding and what was expected."""
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            return _read(path, file)
    except UnicodeDecodeError as cause:
        raise CaptureError(path, "is not UTF-8 text", hint="save the table as CSV in UTF-8") from cause
    except csv.Error as cause:
        raise CaptureError(
            path, f"is no table: {cause}", hint="one reading a line, columns named in the first"
        ) from cause


def _read(path: Path, file: "Iterator[str]") -> Readings:
    first = next(file, "")
    semicolons = ";" in first and "," not in first
    reader = csv.reader(file, delimiter=";" if semicolons else ",")
    head = [name.strip() for name in next(csv.reader([first], delimiter=";" if semicolons else ","), [])]
    _check_head(path, head)
    columns = _Columns(path, head, decimal_comma=semicolons)
    while rows := list(islice(reader, CHUNK)):
        columns.add(rows)
    return columns.readings()


def _check_head(path: Path, head: list[str]) -> None:
    if "value" not in head:
        found = f"columns {', '.join(head[:12])}" if any(head) else "nothing"
        hint = "'benchtest study plan' or '--template' write a table to fill in"
        raise CaptureError(path, f"{found} in the first line", place="line 1", expected="a column 'value'", hint=hint)
    twice = {name for name in head if head.count(name) > 1 and name in COLUMNS}
    if twice:
        raise CaptureError(path, f"column {twice.pop()!r} twice", place="line 1", expected="every column once")


@dataclass(slots=True)
class _Columns:
    """What has been read so far."""

    path: Path
    head: list[str]
    decimal_comma: bool
    line: int = 1
    empty: int = 0
    kinds: dict[tuple[str, ...], int] = field(default_factory=dict)
    names: dict[str, dict[str, int]] = field(default_factory=lambda: {name: {} for name in FACTORS})
    rows: dict[str, list[Numbers | Codes]] = field(default_factory=dict)

    def add(self, rows: list[list[str]]) -> None:
        """Take a chunk apart."""
        lines = range(self.line + 1, self.line + 1 + len(rows))
        self.line += len(rows)
        wanted, place = len(self.head), self.head.index("value")
        there = [(line, row) for line, row in zip(lines, rows, strict=True) if row]
        for line, row in there:
            if len(row) != wanted:
                hint = "a comma inside a field needs quotes around the field"
                raise self._wrong(line, f"{len(row)} fields", f"{wanted}, as in the first line", hint)
        read = [(line, row) for line, row in there if row[place].strip()]
        self.empty += len(there) - len(read)
        if not read:
            return
        numbers = [line for line, _ in read]
        cells = dict(zip(self.head, zip(*(row for _, row in read), strict=True), strict=True))
        for name in ("value", "U", "scatter"):
            self._keep(name, self._numbers(name, cells.get(name), numbers))
        self._keep("at", self._moments(cells.get("at"), numbers))
        for name in FACTORS:
            known = self.names[name]
            column = cells.get(name)
            codes = (known.setdefault(cell.strip(), len(known)) for cell in column or ())
            self._keep(name, np.fromiter(codes, np.int32) if column else np.zeros(len(read), np.int32))
        nothing = [""] * len(read)
        kinds = zip(*(cells.get(name, nothing) for name in _KIND), strict=True)
        self._keep("kind", np.array([self.kinds.setdefault(kind, len(self.kinds)) for kind in kinds], np.int32))

    def _keep(self, name: str, column: Numbers | Codes) -> None:
        self.rows.setdefault(name, []).append(column)

    def _numbers(self, name: str, cells: Sequence[str] | None, lines: Sequence[int]) -> Numbers:
        """Return a column of numbers; NaN where a cell is empty, which `value` never is here."""
        if cells is None:
            return np.full(len(lines), math.nan)
        try:
            found = np.array([float(self._point(cell) or "nan") for cell in cells], np.float64)
        except ValueError:
            found = None
        if found is None or (name == "value" and not np.isfinite(found).all()) or np.isinf(found).any():
            self._refuse_first(name, cells, lines)
        assert found is not None
        return found

    def _point(self, cell: str) -> str:
        return cell.replace(",", ".") if self.decimal_comma else cell

    def _refuse_first(self, name: str, cells: Sequence[str], lines: Sequence[int]) -> None:
        for line, cell in zip(lines, cells, strict=True):
            text = self._point(cell).strip()
            try:
                fine = not text or math.isfinite(float(text))
            except ValueError:
                fine = False
            if not fine:
                hint = "units go into the column 'unit'; leave the cell empty where nothing was read"
                raise self._wrong(line, f"{name} {cell.strip()!r}", "a number such as 12.5", hint)

    def _moments(self, cells: Sequence[str] | None, lines: Sequence[int]) -> Numbers:
        if cells is None:
            return np.array(lines, np.float64)
        found, known = np.empty(len(lines)), dict[str, float]()
        for place, (line, cell) in enumerate(zip(lines, cells, strict=True)):
            moment = known.get(cell)  # the readings of one run share it
            if moment is None:
                moment = known[cell] = self._moment(cell, line)
            found[place] = moment
        return found

    def _moment(self, cell: str, line: int) -> float:
        """Return seconds since 1970 of a time, which is UTC unless it says otherwise, or the number that is given."""
        text = cell.strip()
        try:
            if "-" not in text[1:]:
                return float(text) if text else float(line)
            said = datetime.fromisoformat(text)
            return (said if said.tzinfo is not None else said.replace(tzinfo=UTC)).timestamp()
        except (ValueError, OverflowError) as cause:
            raise self._wrong(line, f"at {cell!r}", "a time such as 2026-03-02T10:15:00, or a number") from cause

    def _wrong(self, line: int, found: str, expected: str, hint: str = "") -> CaptureError:
        return CaptureError(self.path, found, place=f"line {line}", expected=expected, hint=hint)

    def readings(self) -> Readings:
        """Return all of it, in SI units."""
        if not self.kinds:
            found = f"{self.empty} rows, none with a value" if self.empty else "no row below the first line"
            raise CaptureError(self.path, found, expected="readings", hint="fill in the column 'value'")
        quantities, number_of, scale_of = self._quantities()
        kinds = np.concatenate(self.rows["kind"])
        scale = scale_of[kinds]
        notes = [f"{self.empty} rows of {self.path.name} have no value"] if self.empty else []
        unused = [name for name in self.head if name not in {*COLUMNS, "order", "repeat"} and name]
        notes += [f"columns of {self.path.name} that were not used: {', '.join(unused)}"] if unused else []
        return Readings(
            source=self.path.name,
            quantities=quantities,
            which=number_of[kinds],
            values=np.concatenate(self.rows["value"]) * scale,
            expanded=np.concatenate(self.rows["U"]) * scale,
            scatter=np.concatenate(self.rows["scatter"]) * scale,
            moments=np.concatenate(self.rows["at"]),
            factors={
                name: Factor(codes=np.concatenate(self.rows[name]), names=tuple(self.names[name] or {"": 0}))
                for name in FACTORS
            },
            notes=tuple(notes),
        )

    def _quantities(self) -> tuple[tuple[Quantity, ...], Codes, Numbers]:
        """Return the quantities, and for each kind of row which it is and what its numbers are multiplied by."""
        quantities: dict[str, Quantity] = {}
        number_of, scale_of = np.zeros(len(self.kinds), np.int32), np.ones(len(self.kinds))
        for (said, title, unit, low, high), number in self.kinds.items():
            name = said.strip() or "reading"
            scale, si = si_unit(unit.strip())
            limits = [self._limit(text, scale, name) for text in (low, high)]
            made = Quantity(
                id=name,
                title=title.strip() or name,
                unit=si,
                low=-math.inf if limits[0] is None else limits[0],
                high=math.inf if limits[1] is None else limits[1],
            )
            known = quantities.setdefault(name, made)
            self._refuse_change(known, made)
            number_of[number], scale_of[number] = list(quantities).index(name), scale
        return tuple(quantities.values()), number_of, scale_of

    def _limit(self, text: str, scale: float, name: str) -> float | None:
        if not text.strip():
            return None
        try:
            limit = float(self._point(text))
        except ValueError:
            limit = math.nan
        if not math.isfinite(limit):
            raise CaptureError(self.path, f"limit {text!r} of {name}", expected="a number in the unit of the value")
        return limit * scale

    def _refuse_change(self, known: Quantity, made: Quantity) -> None:
        if known.unit != made.unit:
            found = f"{made.id} in {known.unit or 'no unit'} and in {made.unit or 'no unit'}"
            raise CaptureError(self.path, found, expected="one unit, with any prefix")
        if not (math.isclose(known.low, made.low) and math.isclose(known.high, made.high)):
            raise CaptureError(
                self.path, f"{made.id} with several limits", expected="the same low and high in every row"
            )


def si_unit(text: str) -> tuple[float, str]:
    """Return what numbers in a unit are multiplied by, and the SI unit; 1 and the text where it is not known."""
    for dimension in (VOLTAGE, CURRENT, RESISTANCE, DURATION, FREQUENCY, RATIO):
        try:
            scale = parse(f"1 {text}", dimension)
        except ValueError:
            continue
        return scale, dimension.unit or "%"  # a ratio is kept as it is and printed times hundred
    return 1.0, text


def template(columns: Sequence[str]) -> str:
    """Return the first line of a table, to be filled in below."""
    return ",".join(columns) + "\n"


def meanings(columns: Sequence[str]) -> tuple[str, ...]:
    """Return a line for each column that says what goes there."""
    return tuple(f"{name:<10}{COLUMNS.get(name, 'to find the row again')}" for name in columns)
