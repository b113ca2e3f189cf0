"""What a depot asks of its records: each question one or two aggregates of the database, each answer one table.

A period is half open: from its beginning up to, but not with, its end. Returns and times are counted by when the board
left the depot, runs by when they began, repairs by when they were made. No fault found: every as-found run passed, and
nothing was done to the board.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from sqlalchemy import ColumnElement, Select, and_, case, func, select
from sqlalchemy.sql.selectable import Subquery

from benchtest.depot.shares import own_shares, proportion
from benchtest.depot.table import Cell, Column, Table
from benchtest.records.database.case_tables import CASES, REPAIRS
from benchtest.records.database.opening import Records
from benchtest.records.database.tables import BOARDS, FINDINGS, RUNS

REPEAT: Final = 90
"""Days within which a board that comes back is a repeat return (common practice, no source)."""
ROGUE: Final = 3
"""Returns without a finding after which a board is taken out of service: a rogue unit (aviation repair practice)."""
MINUTES_A_DAY: Final = 24 * 60
BEGIN: Final = datetime(1970, 1, 1, tzinfo=UTC)
END: Final = datetime(9999, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True, slots=True)
class Period:
    """What time is asked about."""

    since: datetime = BEGIN
    until: datetime = END

    def holds(self, column: ColumnElement[Any]) -> ColumnElement[bool]:
        """Return the condition that a moment is in it."""
        return and_(column >= self.since, column < self.until)


ALWAYS: Final = Period()
_SHARE: Final = (Column(key="low", title="at least", kind="share"), Column(key="high", title="at most", kind="share"))
_NOTE: Final = "at least, at most: 95 % limits of the rate (Clopper and Pearson)"


def _rows(records: Records, query: Select[Any]) -> Sequence[Any]:
    with records.reading() as connection:
        return connection.execute(query).all()


def _limits(count: int, of: int) -> tuple[float, float, float]:
    share = proportion(count, of)
    return share.mean, share.low, share.high


def cases(records: Records, *, everything: bool = False) -> Table:
    """Return the boards that are in the depot, the longest first; `everything`: those that have left, too."""
    query = select(
        CASES.c.work_order, BOARDS.c.part, BOARDS.c.serial, CASES.c.state, CASES.c.received, CASES.c.customer
    ).join_from(CASES, BOARDS)
    if not everything:
        query = query.where(CASES.c.open == 1)
    rows = tuple(map(tuple, _rows(records, query.order_by(CASES.c.received, CASES.c.work_order))))
    columns = (
        Column(key="work_order", title="work order"),
        Column(key="part", title="board"),
        Column(key="serial", title="serial"),
        Column(key="state", title="state"),
        Column(key="received", title="received", kind="moment"),
        Column(key="customer", title="customer"),
    )
    title = "Boards" if everything else "Boards that are here"
    return Table(key="cases", title=title, columns=columns, rows=rows)


NO_FAULT: Final = and_(CASES.c.found == "pass", CASES.c.repairs == 0)
"""The board passed as found, and nothing was done to it."""


def no_fault_found(records: Records, period: Period = ALWAYS) -> Table:
    """Return how often nothing was found, per kind of complaint."""
    rows = _nothing_found(records, period, CASES.c.complaint)
    columns = (Column(key="complaint", title="complaint"), *_OF_RETURNS)
    return Table(key="no-fault-found", title="No fault found, by complaint", columns=columns, rows=rows, notes=(_NOTE,))


def no_fault_by_profile(records: Records, period: Period = ALWAYS) -> Table:
    """Return how often nothing was found, per version of the profile that the board was tested with as found."""
    rows = _nothing_found(records, period, CASES.c.profile, CASES.c.profile_digest)
    short = tuple((name, str(digest)[:12], *rest) for name, digest, *rest in rows)
    columns = (Column(key="profile", title="profile"), Column(key="version", title="version"), *_OF_RETURNS)
    title = "No fault found, by profile version"
    note = "version: the first twelve digits of the profile's SHA-256"
    return Table(key="no-fault-by-profile", title=title, columns=columns, rows=short, notes=(_NOTE, note))


_OF_RETURNS: Final = (
    Column(key="returns", title="returns", kind="count"),
    Column(key="without_finding", title="without finding", kind="count"),
    Column(key="share", title="rate", kind="share"),
    *_SHARE,
)


def _nothing_found(records: Records, period: Period, *by: ColumnElement[Any]) -> tuple[tuple[Cell, ...], ...]:
    nothing = func.sum(case((NO_FAULT, 1), else_=0))
    query = (
        select(*by, func.count(), nothing)
        .where(CASES.c.found != "", period.holds(CASES.c.closed))
        .group_by(*by)
        .order_by(func.count().desc(), *by)
    )
    return tuple((*keys, of, int(none), *_limits(int(none), of)) for *keys, of, none in _rows(records, query))


def first_pass_yield(records: Records, period: Period = ALWAYS) -> Table:
    """Return how many repaired boards passed their first as-left run, and how many boards passed as they came in."""
    repaired = func.sum(case((CASES.c.first_left != "", 1), else_=0))
    first = func.sum(case((CASES.c.first_left == "pass", 1), else_=0))
    found = func.sum(case((CASES.c.found == "pass", 1), else_=0))
    query = (
        select(BOARDS.c.part, func.count(), found, repaired, first)
        .join_from(CASES, BOARDS)
        .where(CASES.c.found != "", period.holds(CASES.c.received))
        .group_by(BOARDS.c.part)
        .order_by(BOARDS.c.part)
    )
    rows = tuple(
        (part, of, int(passed), int(again), int(good), *(_limits(int(good), int(again)) if again else (None,) * 3))
        for part, of, passed, again, good in _rows(records, query)
    )
    columns = (
        Column(key="part", title="board"),
        Column(key="tested", title="tested", kind="count"),
        Column(key="passed_as_found", title="passed as found", kind="count"),
        Column(key="repaired", title="tested as left", kind="count"),
        Column(key="passed_first", title="passed first time", kind="count"),
        Column(key="share", title="yield", kind="share"),
        *_SHARE,
    )
    return Table(
        key="first-pass-yield", title="First-pass yield of repairs", columns=columns, rows=rows, notes=(_NOTE,)
    )


def failing_checks(records: Records, period: Period = ALWAYS, *, most: int = 15) -> Table:
    """Return the checks that fail most often before a repair, each run counted once, with their running share."""
    query = (
        select(BOARDS.c.part, FINDINGS.c.check_id, func.count())
        .select_from(RUNS)
        .join(FINDINGS, FINDINGS.c.run_id == RUNS.c.id)
        .join(BOARDS, BOARDS.c.id == RUNS.c.board_id)
        .where(FINDINGS.c.verdict == "fail", RUNS.c.phase != "as left", period.holds(RUNS.c.started))
        .group_by(BOARDS.c.part, FINDINGS.c.check_id)
        .order_by(func.count().desc(), BOARDS.c.part, FINDINGS.c.check_id)
    )
    columns = (Column(key="part", title="board"), Column(key="check", title="check"), *_PARETO)
    return Table(
        key="failing-checks",
        title="Checks that fail most often",
        columns=columns,
        rows=pareto(_rows(records, query), most=most),
        notes=("runs as left are not counted; a board tested twice counts twice",),
    )


_PARETO: Final = (
    Column(key="count", title="count", kind="count"),
    Column(key="share", title="share", kind="share"),
    Column(key="running", title="running", kind="share"),
)


def pareto(counted: Sequence[Sequence[Any]], *, most: int) -> tuple[tuple[Cell, ...], ...]:
    """Return counted things, the most frequent first, with their share and the sum of shares down to each.

    The last of each row is its count, which is already in order. What is beyond `most` rows still counts in the shares.
    """
    whole = sum(row[-1] for row in counted)
    rows, running = [], 0
    for *what, count in counted[:most]:
        running += count
        rows.append((*what, count, count / whole, running / whole))
    return tuple(rows)


def replaced_parts(records: Records, period: Period = ALWAYS, *, most: int = 15) -> Table:
    """Return the parts that are replaced most often, with what their repairs took."""
    query = (
        select(
            REPAIRS.c.board_part, REPAIRS.c.part, func.sum(REPAIRS.c.minutes), func.sum(REPAIRS.c.cost), func.count()
        )
        .where(REPAIRS.c.replaced == 1, period.holds(REPAIRS.c.at))
        .group_by(REPAIRS.c.board_part, REPAIRS.c.part)
        .order_by(func.count().desc(), REPAIRS.c.board_part, REPAIRS.c.part)
    )
    columns = (
        Column(key="board", title="board"),
        Column(key="part", title="part"),
        Column(key="minutes", title="minutes", kind="count"),
        Column(key="cost", title="cost", kind="money"),
        *_PARETO,
    )
    counted = [
        (board, part, int(minutes), int(cost), count) for board, part, minutes, cost, count in _rows(records, query)
    ]
    return Table(
        key="replaced-parts", title="Parts replaced most often", columns=columns, rows=pareto(counted, most=most)
    )


def stays(records: Records, period: Period = ALWAYS) -> list[tuple[str, int, int]]:
    """Return how long boards stayed: part number, minutes, and how many boards, in order of part and minutes."""
    query = (
        select(BOARDS.c.part, CASES.c.stay, func.count())
        .join_from(CASES, BOARDS)
        .where(CASES.c.stay.is_not(None), period.holds(CASES.c.closed))
        .group_by(BOARDS.c.part, CASES.c.stay)
        .order_by(BOARDS.c.part, CASES.c.stay)
    )
    return [(part, minutes, count) for part, minutes, count in _rows(records, query)]


def turnaround(records: Records, period: Period = ALWAYS) -> Table:
    """Return how long boards stay in the depot, from intake to return."""
    parts: dict[str, list[tuple[int, int]]] = {}
    for part, minutes, count in stays(records, period):
        parts.setdefault(part, []).append((minutes, count))
    rows: list[tuple[Cell, ...]] = []
    for part, some in parts.items():
        days = [quantile(some, share) / MINUTES_A_DAY for share in (0.5, 0.9, 1.0)]
        rows.append((part, sum(count for _, count in some), *days))
    columns = (
        Column(key="part", title="board"),
        Column(key="returns", title="returns", kind="count"),
        Column(key="median", title="median", kind="days"),
        Column(key="nine_in_ten", title="nine in ten within", kind="days"),
        Column(key="longest", title="longest", kind="days"),
    )
    note = "cases in which a clock was set back are left out"
    return Table(
        key="turnaround", title="Turnaround, intake to return", columns=columns, rows=tuple(rows), notes=(note,)
    )


def quantile(counted: Sequence[tuple[int, int]], share: float) -> int:
    """Return the smallest value that at least `share` of all do not exceed; values in order, each with its count."""
    whole, running = sum(count for _, count in counted), 0
    for value, count in counted:
        running += count
        if running >= share * whole:
            return value
    raise ValueError(f"no value is reached by {share} of {whole}")


def _stays_in_order() -> Subquery:
    """Every stay with when the same board last left before it."""
    before = func.lag(CASES.c.closed, type_=CASES.c.closed.type)
    left = before.over(partition_by=CASES.c.board_id, order_by=CASES.c.received).label("left")
    return select(CASES.c.work_order, CASES.c.board_id, CASES.c.received, left).subquery()


def repeat_returns(records: Records, period: Period = ALWAYS, *, days: int = REPEAT) -> Table:
    """Return boards that came back within some days of having left."""
    stay = _stays_in_order()
    query = (
        select(BOARDS.c.serial, BOARDS.c.part, stay.c.work_order, stay.c.left, stay.c.received)
        .join_from(stay, BOARDS, BOARDS.c.id == stay.c.board_id)
        .where(stay.c.left.is_not(None), period.holds(stay.c.received))
        .order_by(stay.c.received.desc())
    )
    within = timedelta(days=days)
    rows = tuple(
        (*row, (row.received - row.left) / timedelta(days=1))
        for row in _rows(records, query)
        if row.received - row.left <= within
    )
    columns = (
        Column(key="serial", title="serial"),
        Column(key="part", title="board"),
        Column(key="work_order", title="work order"),
        Column(key="left", title="left", kind="moment"),
        Column(key="received", title="came back", kind="moment"),
        Column(key="after", title="after", kind="days"),
    )
    return Table(key="repeat-returns", title=f"Back within {days} days", columns=columns, rows=rows)


def rogue_boards(records: Records, *, returns: int = ROGUE) -> Table:
    """Return boards that were returned so many times without a finding."""
    count = func.count()
    query = (
        select(BOARDS.c.serial, BOARDS.c.part, count, func.max(CASES.c.closed))
        .join_from(CASES, BOARDS)
        .where(NO_FAULT, CASES.c.open == 0)
        .group_by(BOARDS.c.serial, BOARDS.c.part)
        .having(count >= returns)
        .order_by(count.desc(), BOARDS.c.serial)
    )
    columns = (
        Column(key="serial", title="serial"),
        Column(key="part", title="board"),
        Column(key="returns", title="without finding", kind="count"),
        Column(key="last", title="last left", kind="moment"),
    )
    title = f"Returned {returns} times or more without a finding"
    return Table(key="rogue-boards", title=title, columns=columns, rows=tuple(map(tuple, _rows(records, query))))


def own_repairs(records: Records, *, part: str = "", period: Period = ALWAYS) -> dict[str, int]:
    """Return how often each fault was found, by its text, on boards that passed as left; of one part number, or all."""
    query = (
        select(REPAIRS.c.fault, func.count())
        .join_from(REPAIRS, CASES)
        .where(REPAIRS.c.fault != "", CASES.c.last_left == "pass", period.holds(REPAIRS.c.at))
        .group_by(REPAIRS.c.fault)
        .order_by(func.count().desc(), REPAIRS.c.fault)
    )
    if part:
        query = query.where(REPAIRS.c.board_part == part)
    return {str(fault): int(count) for fault, count in _rows(records, query)}


def failure_shares(records: Records, *, part: str = "", period: Period = ALWAYS) -> Table:
    """Return how often each kind of part fails in which way: the handbook's share, and with the own repairs."""
    rows = tuple(
        (one.part, one.mode, one.handbook, one.repairs, one.share.mean, one.share.low, one.share.high)
        for one in own_shares(own_repairs(records, part=part, period=period))
    )
    columns = (
        Column(key="part", title="part"),
        Column(key="mode", title="fails as"),
        Column(key="handbook", title="handbook", kind="share"),
        Column(key="repairs", title="own repairs", kind="count"),
        Column(key="share", title="share now", kind="share"),
        *_SHARE,
    )
    title = f"Failure shares{f' of {part}' if part else ''}, handbook and own repairs"
    note = "the handbook counts as much as 30 repairs; at least, at most: 95 % limits"
    return Table(key="failure-shares", title=title, columns=columns, rows=rows, notes=(note,))
