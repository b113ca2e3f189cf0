"""Readings from a table in CSV, a chunk at a time.

Columns by their names in the first line, in any order; only `value` is needed. Numbers have a point, or a comma where
fields end in semicolons. A cell without a value was not read: its row is counted and left out. Everything else that is
no number is refused with its line, so that a slip of the pen is not read as a result.
"""

import csv
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from difflib import SequenceMatcher
from itertools import islice
from pathlib import Path
from typing import Final, TypeAlias, TypeVar

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
KNOWN: Final = frozenset({*COLUMNS, "order", "repeat"})
"""Names of columns that are no slip of the pen; the last two find a row of a sheet again."""
SHORT: Final = 3
"""Letters; a name no longer than this is misspelt by its order or case only: `lot` and `flow` are no `low`."""
ALIKE: Final = 0.8
"""Share of letters in common, in order, above which one name is taken for another."""
LARGEST: Final = 1e100
"""Nothing that is read is as large; its square would be no number."""
CHUNK: Final = 50_000
"""Rows that are taken apart at a time."""
Kind: TypeAlias = tuple[str, ...]
Cell = TypeVar("Cell", str, Kind)
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
    reader = csv.reader(file, delimiter=";" if semicolons else ",", strict=True)
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
    for name in head:
        if name not in KNOWN and (meant := _misspelt(name, KNOWN - set(head))):
            hint = "a column of your own needs a name that is less like it"
            raise CaptureError(
                path, f"column {name!r}", place="line 1", expected=f"{meant!r}, nearest to it", hint=hint
            )


def _misspelt(name: str, missing: Iterable[str]) -> str | None:
    """Return the missing column that a name is a slip of the pen for, if it is one."""
    for known in sorted(missing):
        one, other = name.casefold(), known.casefold()
        alike = len(known) > SHORT and SequenceMatcher(None, one, other).ratio() > ALIKE
        if sorted(one) == sorted(other) or alike:
            return known
    return None


class _Numbered(dict[Cell, int]):
    """Numbers cells as they come; asked as often as there are rows, so that it is a plain look-up mostly."""

    def __init__(self, plain: Callable[[Cell], Cell]) -> None:
        super().__init__()
        self.plain: Callable[[Cell], Cell] = plain
        """Cells that are the same after this have one number."""
        self.names: dict[Cell, int] = {}

    def __missing__(self, cell: Cell) -> int:
        self[cell] = number = self.names.setdefault(self.plain(cell), len(self.names))
        return number

    def all(self, cells: Iterable[Cell], count: int) -> Codes:
        """Return the numbers of as many cells."""
        return np.fromiter(map(self.__getitem__, cells), np.int32, count)


@dataclass(slots=True)
class _Columns:
    """What has been read so far."""

    path: Path
    head: list[str]
    decimal_comma: bool
    line: int = 1
    empty: int = 0
    kinds: _Numbered[Kind] = field(default_factory=lambda: _Numbered(lambda kind: kind))
    names: dict[str, _Numbered[str]] = field(default_factory=lambda: {name: _Numbered(str.strip) for name in FACTORS})
    rows: dict[str, list[Numbers | Codes]] = field(default_factory=dict)

    def add(self, rows: list[list[str]]) -> None:
        """Take a chunk apart."""
        lines: Sequence[int] = range(self.line + 1, self.line + 1 + len(rows))
        self.line += len(rows)
        place = self.head.index("value")
        if set(map(len, rows)) != {len(self.head)} or not all(row[place].strip() for row in rows):
            rows, lines = self._whole(rows, lines, place)
        if not rows:
            return
        count = len(rows)
        cells = dict(zip(self.head, zip(*rows, strict=True), strict=True))
        for name in ("value", "U", "scatter"):
            self._keep(name, self._numbers(name, cells.get(name), lines))
        self._keep("at", self._moments(cells.get("at"), lines))
        for name in FACTORS:
            column = cells.get(name)
            self._keep(name, np.zeros(count, np.int32) if column is None else self.names[name].all(column, count))
        nothing = ("",) * count
        kinds = zip(*(cells.get(name, nothing) for name in _KIND), strict=True)
        self._keep("kind", self.kinds.all(kinds, count))

    def _whole(self, rows: list[list[str]], lines: Sequence[int], place: int) -> tuple[list[list[str]], Sequence[int]]:
        """Return the rows that have a value, and their lines; refuse the first of another length."""
        there = [(line, row) for line, row in zip(lines, rows, strict=True) if row]
        for line, row in there:
            if len(row) != len(self.head):
                hint = "a comma inside a field needs quotes around the field"
                raise self._wrong(line, f"{len(row)} fields", f"{len(self.head)}, as in the first line", hint)
        read = [(line, row) for line, row in there if row[place].strip()]
        self.empty += len(there) - len(read)
        return [row for _, row in read], [line for line, _ in read]

    def _keep(self, name: str, column: Numbers | Codes) -> None:
        self.rows.setdefault(name, []).append(column)

    def _numbers(self, name: str, cells: Sequence[str] | None, lines: Sequence[int]) -> Numbers:
        """Return a column of numbers; NaN where a cell is empty, which `value` never is here."""
        if cells is None:
            return np.full(len(lines), math.nan)
        try:
            found = np.fromiter(map(float, cells), np.float64, len(lines))
        except ValueError:
            return self._slowly(name, cells, lines)
        return found if (np.abs(found) < LARGEST).all() else self._slowly(name, cells, lines)

    def _slowly(self, name: str, cells: Sequence[str], lines: Sequence[int]) -> Numbers:
        """Read a column with empty cells or decimal commas; refuse the first cell that is no number."""
        found = np.full(len(lines), math.nan)
        for place, cell in enumerate(cells):
            text = self._point(cell).strip()
            try:
                found[place] = float(text) if text else math.nan
            except ValueError:
                found[place] = math.inf
            if text and not abs(found[place]) < LARGEST:
                hint = "units go into the column 'unit'; leave the cell empty where nothing was read"
                raise self._wrong(lines[place], f"{name} {cell.strip()!r}", "a number such as 12.5", hint)
        return found

    def _point(self, cell: str) -> str:
        return cell.replace(",", ".") if self.decimal_comma else cell

    def _moments(self, cells: Sequence[str] | None, lines: Sequence[int]) -> Numbers:
        if cells is None:
            return np.array(lines, np.float64)
        known = {cell: self._moment(cell) for cell in set(cells)}  # the readings of one run share it
        found = np.fromiter(map(known.__getitem__, cells), np.float64, len(lines))
        for place in np.flatnonzero(~np.isfinite(found)).tolist():
            if cells[place].strip():
                expected = "a time such as 2026-03-02T10:15:00, or a number"
                raise self._wrong(lines[place], f"at {cells[place]!r}", expected)
            found[place] = lines[place]
        return found

    @staticmethod
    def _moment(cell: str) -> float:
        """Return seconds since 1970 of a time, UTC unless it says otherwise, or a number; NaN for anything else."""
        text = cell.strip()
        try:
            if "-" not in text[1:]:
                return float(text)
            said = datetime.fromisoformat(text)
            return (said if said.tzinfo is not None else said.replace(tzinfo=UTC)).timestamp()
        except (ValueError, OverflowError):
            return math.nan

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
        unused = [name for name in self.head if name not in KNOWN and name]
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
                name: Factor(codes=np.concatenate(self.rows[name]), names=tuple(self.names[name].names) or ("",))
                for name in FACTORS
            },
            notes=tuple(notes),
        )

    def _quantities(self) -> tuple[tuple[Quantity, ...], Codes, Numbers]:
        """Return the quantities, and for each kind of row which it is and what its numbers are multiplied by."""
        quantities: dict[str, Quantity] = {}
        number_of, scale_of = np.zeros(len(self.kinds), np.int32), np.ones(len(self.kinds))
        for kind, number in self.kinds.names.items():
            said, title, unit, low, high = kind
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
            if not made.low < made.high:
                raise CaptureError(self.path, f"low {low} and high {high} of {name}", expected="low below high")
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
