"""Readings from the records of a depot: the database chooses the runs, and their packed readings become columns.

Which runs count is asked of the database: one part, those that passed, the last of each board. What comes back is
unpacked a run at a time straight into arrays. The records keep neither budgets nor the places of limits: nothing is
known of the scatter of the bench, and a limit is named by its check.
"""

import math
import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from sqlalchemy import Connection, Row, Select, func, select

from benchtest.errors import StudyError
from benchtest.readings import Origin
from benchtest.records.address import Address
from benchtest.records.database.opening import open_records
from benchtest.records.database.packed import DOUBLE, Line, unpack_checklist
from benchtest.records.database.tables import BOARDS, CHECKLISTS, READINGS, RUNS
from benchtest.results import Outcome
from benchtest.studies.readings import Choice, Codes, Factor, Numbers, Quantity, Readings

TOGETHER: Final = 500
"""Runs that are fetched at a time."""


def read_records(address: Address, *, source: str, choice: Choice) -> Readings:
    """Return the readings of the chosen runs. Raises StudyError when there are none, or of several parts."""
    with open_records(address) as records, records.reading() as connection:
        parts = sorted(connection.scalars(select(BOARDS.c.part).join(RUNS).distinct()))
        part = choice.of_parts(parts, source)
        columns = _Columns(connection)
        for row in _rows(connection, part, choice):
            columns.add(row)
    if not columns.moments:
        raise StudyError(f"{source}: no run to study (of {part}{', passed' if choice.passed_only else ''})")
    return columns.readings(source)


def _rows(connection: Connection, part: str, choice: Choice) -> Iterator[Row[Any]]:
    """Yield the chosen runs with their packed readings, a few at a time."""
    inner = select(RUNS, BOARDS.c.serial).join(BOARDS, BOARDS.c.id == RUNS.c.board_id).where(BOARDS.c.part == part)
    if choice.passed_only:
        inner = inner.where(RUNS.c.outcome == Outcome.PASS.value)
    if choice.board is not None:
        inner = inner.where(BOARDS.c.serial == choice.board)
    if choice.bench is not None:
        inner = inner.where(RUNS.c.bench == choice.bench)
    query = _last(inner) if choice.last_of_each else _all(inner)
    yield from connection.execution_options(yield_per=TOGETHER).execute(query)


def _all(inner: Select[Any]) -> Select[Any]:
    runs = inner.subquery()
    return select(runs, READINGS.c.checklist_id, READINGS.c.content).join(READINGS, READINGS.c.run_id == runs.c.id)


def _last(inner: Select[Any]) -> Select[Any]:
    """Return the query for the last run of each board."""
    place = func.row_number().over(partition_by=RUNS.c.board_id, order_by=(RUNS.c.started.desc(), RUNS.c.id.desc()))
    runs = inner.add_columns(place.label("nth")).subquery()
    joined = select(runs, READINGS.c.checklist_id, READINGS.c.content).join(READINGS, READINGS.c.run_id == runs.c.id)
    return joined.where(runs.c.nth == 1)


@dataclass(frozen=True, kw_only=True, slots=True, eq=False)
class _Checklist:
    """Which readings of a run are numbers that are studied, and what they are."""

    rows: "np.ndarray[tuple[int], np.dtype[np.intp]]"
    which: Codes


class _Columns:
    """Readings as they come, run by run."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.quantities: dict[str, Quantity] = {}
        self.checklists: dict[int, _Checklist] = {}
        self.parts: list[tuple[Codes, Numbers, Numbers]] = []
        self.moments: list[float] = []
        self.origins: list[str] = []
        self.named: dict[str, list[str]] = {name: [] for name in ("board", "operator", "bench", "phase", "group")}

    def add(self, row: Row[Any]) -> None:
        """Take the numbers of a run."""
        checklist = self.checklists.get(row.checklist_id) or self._learn(row.checklist_id)
        numbers = unpacked(row.content)
        values = numbers[0, checklist.rows]
        there = np.isfinite(values)
        self.parts.append((checklist.which[there], values[there], numbers[1, checklist.rows][there]))
        self.moments.append(row.started.timestamp())
        self.origins.append(row.origin)
        said = (row.serial, row.technician, row.bench, row.phase, row.started.date().isoformat())
        for column, value in zip(self.named.values(), said, strict=True):
            column.append(value)

    def _learn(self, number: int) -> _Checklist:
        content = self.connection.scalars(select(CHECKLISTS.c.content).where(CHECKLISTS.c.id == number)).one()
        lines = unpack_checklist(content)
        places = {name: place for place, name in enumerate(self.quantities)}
        rows, which = [], []
        for place, line in enumerate(lines):
            if line.unit and not line.word:
                self.quantities[line.check] = _quantity(line)
                rows.append(place)
                which.append(places.setdefault(line.check, len(places)))
        made = _Checklist(rows=np.array(rows, np.intp), which=np.array(which, np.int32))
        self.checklists[number] = made
        return made

    def readings(self, source: str) -> Readings:
        """Return all of it in columns."""
        counts = np.array([part[0].size for part in self.parts], np.intp)
        runs = np.repeat(np.arange(counts.size), counts)
        which, values, expanded = (np.concatenate(column) for column in zip(*self.parts, strict=True))
        found = Readings(
            source=source,
            quantities=tuple(self.quantities.values()),
            which=which,
            values=values,
            expanded=expanded,
            scatter=np.full(values.size, math.nan),
            moments=np.array(self.moments, np.float64)[runs],
            factors={name: _factor(column, runs) for name, column in self.named.items()},
            notes=tuple(self._notes()),
        )
        return found.of_quantities(np.unique(which).astype(np.intp))  # without checks that were never reached

    def _notes(self) -> Iterator[str]:
        if simulated := self.origins.count(Origin.SIMULATED.value):
            said = f"SIMULATED: {simulated} of {len(self.origins)} runs; what this says of real boards"
            yield f"{said} is as good as the model"
        yield "the records keep no budgets and no places: no scatter of the bench, and no patch (use the run folders)"


def _quantity(line: Line) -> Quantity:
    low, high = (-math.inf if line.low is None else line.low), (math.inf if line.high is None else line.high)
    return Quantity(id=line.check, title=line.title, unit=line.unit, low=low, high=high)


def _factor(column: Sequence[str], runs: "np.ndarray[tuple[int], np.dtype[np.intp]]") -> Factor:
    names = {name: number for number, name in enumerate(dict.fromkeys(column))}
    return Factor(codes=np.array([names[name] for name in column], np.int32)[runs], names=tuple(names))


def unpacked(content: bytes) -> Numbers:
    """Return values, uncertainties and coverage factors of packed readings, as three rows.

    The same layout as `packed.unpack_readings` reads, without an object for each. Raises StudyError for another.
    """
    try:
        plain = zlib.decompress(content)
        (count,) = struct.unpack_from("<I", plain)
        planes = np.frombuffer(plain, np.uint8, 3 * count * DOUBLE, 4).reshape(DOUBLE, 3 * count)
    except (zlib.error, struct.error, ValueError) as cause:
        raise StudyError(f"readings in the records are damaged: {cause} (try 'benchtest records rebuild')") from cause
    return np.ascontiguousarray(planes.T).view("<f8").reshape(3, count).astype(np.float64)
