"""What the records are asked: which runs there were, how a board has changed, what an instrument was used for."""

import difflib
import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime, timedelta, timezone
from functools import partial
from typing import Any, Final, NamedTuple

from sqlalchemy import ColumnElement, Connection, Row, Select, func, or_, select, union

from benchtest.errors import RecordsError
from benchtest.records.database.packed import Line, Reading, unpack_checklist, unpack_readings
from benchtest.records.database.tables import (
    BOARDS,
    CALIBRATIONS,
    CERTIFICATE_CHANGES,
    CHECKLISTS,
    INSTRUMENTS,
    READINGS,
    RUNS,
)

VALID: Final = "valid"


@dataclass(frozen=True, kw_only=True, slots=True)
class RunLine:
    """One run in a list."""

    id: int
    identity: str
    number: str
    started: datetime
    part: str
    serial: str
    outcome: str
    reason: str
    paper: str
    status: str
    """Of its certificate: valid, superseded, withdrawn; empty where there is no certificate."""
    phase: str
    origin: str
    technician: str
    work_order: str
    customer: str
    profile: str
    bench: str
    checks: int
    not_tested: int
    folder: str


ELSEWHERE: Final = {"started", "part", "serial", "status"}
"""Fields of a line that are not columns of `runs` as they are."""
SAME: Final = tuple(one.name for one in fields(RunLine) if one.name not in ELSEWHERE)
STATUS: Final = (
    select(func.max(CERTIFICATE_CHANGES.c.status))  # withdrawn comes after superseded, in the alphabet and in weight
    .where(CERTIFICATE_CHANGES.c.run_id == RUNS.c.id)
    .correlate(RUNS)
    .scalar_subquery()
    .label("changed")
)


def _lines() -> Select[Any]:
    columns = [RUNS.c[name] for name in SAME]
    wanted = select(*columns, RUNS.c.started, RUNS.c.offset_minutes, BOARDS.c.part, BOARDS.c.serial, STATUS)
    return wanted.join(BOARDS, BOARDS.c.id == RUNS.c.board_id)


def _line(row: Row[Any]) -> RunLine:
    zone = timezone(timedelta(minutes=row.offset_minutes)) if row.offset_minutes else UTC
    return RunLine(
        **{name: getattr(row, name) for name in SAME},
        started=row.started.astimezone(zone),
        part=row.part,
        serial=row.serial,
        status=(row.changed or VALID) if row.paper == "certificate" else "",
    )


@dataclass(frozen=True, kw_only=True, slots=True)
class Wanted:
    """Which runs are wanted; what is empty does not matter."""

    serial: str = ""
    part: str = ""
    outcome: str = ""
    customer: str = ""
    work_order: str = ""
    technician: str = ""
    bench: str = ""
    since: datetime | None = None
    until: datetime | None = None
    """Not included."""


def list_runs(connection: Connection, wanted: Wanted, *, limit: int) -> list[RunLine]:
    """Return the newest runs of a kind, the newest first."""
    query = _lines().order_by(RUNS.c.started.desc(), RUNS.c.id.desc()).limit(limit)
    query = _within(query, wanted.since, wanted.until)
    for column in (BOARDS.c.serial, BOARDS.c.part):
        if text := getattr(wanted, column.name):
            query = query.where(column == text)
    for name in ("outcome", "customer", "work_order", "technician", "bench"):
        if text := getattr(wanted, name):
            query = query.where(RUNS.c[name] == text)
    return [_line(row) for row in connection.execute(query)]


def _within(query: Select[Any], since: datetime | None, until: datetime | None) -> Select[Any]:
    if since is not None:
        query = query.where(RUNS.c.started >= since)
    return query if until is None else query.where(RUNS.c.started < until)


def find_runs(connection: Connection, text: str, *, limit: int) -> list[RunLine]:
    """Return the newest runs with this number, serial number, work order or customer; else those with it as a part.

    Each of the columns has an index, which is looked up for the whole text, and looked through for a part of it: the
    runs themselves take thirty times as much room.
    """
    for alike in (ColumnElement.__eq__, partial(ColumnElement.icontains, autoescape=True)):
        ids = union(*_with(text, alike))
        query = _lines().where(RUNS.c.id.in_(ids)).order_by(RUNS.c.started.desc(), RUNS.c.id.desc()).limit(limit)
        if lines := [_line(row) for row in connection.execute(query)]:
            return lines
    return []


def _with(text: str, alike: Callable[..., Any]) -> Iterator[Select[Any]]:
    """Yield queries for runs in one of whose columns there is the text."""
    yield select(RUNS.c.id).where(alike(RUNS.c.number, text))
    for column in (RUNS.c.work_order, RUNS.c.customer):
        yield select(RUNS.c.id).where(column != "", alike(column, text))  # what is empty is not in the index
    boards = select(BOARDS.c.id).where(alike(BOARDS.c.serial, text))
    yield select(RUNS.c.id).where(RUNS.c.board_id.in_(boards))


def runs_of_number(connection: Connection, number: str) -> list[RunLine]:
    """Return the runs of a certificate's number; hardly ever more than one."""
    return [_line(row) for row in connection.execute(_lines().where(RUNS.c.number == number))]


# ---------------------------------------------------------------- one board


class Point(NamedTuple):
    """One reading of one run; a board with a long history has ten thousand of them, and waits for each."""

    run: RunLine
    reading: Reading


@dataclass(frozen=True, kw_only=True, slots=True)
class Drift:
    """One reading of a board over its runs, in the order of time; those that are numbers."""

    part: str
    line: Line
    """As the last run's checklist has it."""
    points: tuple[Point, ...]

    @property
    def values(self) -> list[float]:
        """The numbers, the oldest first."""
        return [one.reading.value for one in self.points if isinstance(one.reading.value, float)]

    @property
    def change(self) -> float:
        """From the first run to the last, in the unit of the reading."""
        return self.values[-1] - self.values[0]

    @property
    def score(self) -> float:
        """E_n of the last against the first: the change over the uncertainty of both (ISO 13528:2022, 9.7).

        Not a number where one of them has none.
        """
        first, last = (self.points[at].reading.uncertainty for at in (0, -1))
        if first is None or last is None:
            return math.nan
        allowed = math.hypot(first, last)
        return self.change / allowed if allowed else math.nan


@dataclass(frozen=True, kw_only=True, slots=True)
class History:
    """What the records know of a serial number."""

    runs: tuple[RunLine, ...]
    """The oldest first; of every part that has a board with this number."""
    drifts: tuple[Drift, ...]
    """In the order of the checklist."""


def history(connection: Connection, serial: str, *, part: str = "") -> History:
    """Return the history of a board. Raises RecordsError when the records have none, naming what they have."""
    query = _lines().add_columns(READINGS.c.content, READINGS.c.checklist_id)
    query = query.join(READINGS, READINGS.c.run_id == RUNS.c.id).where(BOARDS.c.serial == serial)
    if part:
        query = query.where(BOARDS.c.part == part)
    rows = connection.execute(query.order_by(RUNS.c.started, RUNS.c.id)).all()
    if not rows:
        raise RecordsError(_unknown(connection, "serial number", serial, BOARDS.c.serial))
    checklists = _checklists(connection, {row.checklist_id for row in rows})
    lines = dict[tuple[str, str], Line]()
    points = defaultdict[tuple[str, str], list[Point]](list)
    for row in rows:
        run = _line(row)
        for line, reading in zip(checklists[row.checklist_id], unpack_readings(row.content), strict=True):
            if isinstance(reading.value, float) and math.isfinite(reading.value):
                key = run.part, line.check
                lines[key] = line
                points[key].append(Point(run=run, reading=reading))
    drifts = tuple(Drift(part=key[0], line=lines[key], points=tuple(found)) for key, found in points.items())
    return History(runs=tuple(_line(row) for row in rows), drifts=drifts)


def _checklists(connection: Connection, ids: set[int]) -> Mapping[int, Sequence[Line]]:
    wanted = select(CHECKLISTS.c.id, CHECKLISTS.c.content).where(CHECKLISTS.c.id.in_(ids))
    return {row.id: unpack_checklist(row.content) for row in connection.execute(wanted)}


def _unknown(connection: Connection, what: str, text: str, *columns: Any) -> str:
    """Say that the records do not have it, and what of theirs it resembles."""
    head = text[:3]
    known: list[str] = []
    for column in columns:
        query = select(column).where(column.istartswith(head, autoescape=True)).distinct().limit(200)
        known += [str(value) for value in connection.scalars(query)]
    near = difflib.get_close_matches(text, known, n=3)
    return f"{what} {text!r} is not in the records" + (f" (near it: {', '.join(near)})" if near else "")


# ---------------------------------------------------------------- one instrument


@dataclass(frozen=True, kw_only=True, slots=True)
class Used:
    """A run that an instrument took part in, at what state of its calibration."""

    run: RunLine
    instrument: str
    instrument_serial: str
    certificate: str
    due: str


def recall(connection: Connection, instrument: str, *, since: datetime, until: datetime | None = None) -> list[Used]:
    """Return the runs that used an instrument, named by its serial number, name or calibration certificate.

    Raises RecordsError when the records do not know it: nothing found must not look like nothing concerned.
    """
    names = (INSTRUMENTS.c.serial, INSTRUMENTS.c.name, CALIBRATIONS.c.certificate)
    matching = (
        select(CALIBRATIONS.c.equipment_id, INSTRUMENTS.c.name, INSTRUMENTS.c.serial, *CALIBRATIONS.c[2:])
        .join(INSTRUMENTS, INSTRUMENTS.c.id == CALIBRATIONS.c.instrument_id)
        .where(or_(*(name == instrument for name in names)))
    )
    found = {row.equipment_id: row for row in connection.execute(matching)}
    if not found:
        raise RecordsError(_unknown(connection, "instrument", instrument, INSTRUMENTS.c.serial, INSTRUMENTS.c.name))
    query = _lines().add_columns(RUNS.c.equipment_id).where(RUNS.c.equipment_id.in_(list(found)))
    rows = connection.execute(_within(query, since, until).order_by(RUNS.c.started, RUNS.c.id))
    return [_used(row, found[row.equipment_id]) for row in rows]


def _used(row: Row[Any], calibration: Row[Any]) -> Used:
    return Used(
        run=_line(row),
        instrument=calibration.name,
        instrument_serial=calibration.serial,
        certificate=calibration.certificate,
        due=calibration.due,
    )
