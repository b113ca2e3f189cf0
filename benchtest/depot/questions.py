"""What a depot asks of its records: each question one or two aggregates of the database, each answer one table.

A period is half open: from its beginning up to, but not with, its end. Returns and times are counted by when the board
left the depot, runs by when they began, repairs by when they were made. No fault found: every as-found run passed, and
nothing was done to the board.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import Column as TableColumn
from sqlalchemy import ColumnElement, Select, and_, case, func, literal_column, select

from benchtest.depot.shares import own_shares, proportion
from benchtest.depot.table import Cell, Column, Table
from benchtest.records.database.case_tables import CASES, REPAIRS
from benchtest.records.database.opening import Records
from benchtest.records.database.tables import BOARDS, FINDINGS, RUNS

REPEAT: Final = 90
"""Days within which a board that comes back is a repeat return (common practice, no source)."""
ROGUE: Final = 3
"""Returns without a finding after which a board is taken out of service: a rogue unit (aviation repair practice)."""
HOURS_A_DAY: Final = 24
MINUTES_A_DAY: Final = 60 * HOURS_A_DAY
BEGIN: Final = datetime(1970, 1, 1, tzinfo=UTC)
END: Final = datetime(9999, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, kw_only=True, slots=True)
class Period:
    """What time is asked about."""

    since: datetime = BEGIN
    until: datetime = END

    def holds(self, column: TableColumn[Any]) -> ColumnElement[bool]:
        """Return the condition that a moment is in it; one that has not come yet is in none.

        Where all time is asked for, that is said in the words by which a database finds the narrower index.
        """
        if column.nullable and (self.since, self.until) == (BEGIN, END):
            return column.is_not(None)
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


NO_FAULT: Final = and_(CASES.c.found == literal_column("'pass'"), CASES.c.repairs == literal_column("0"))
"""The board passed as found, and nothing was done to it; spelled out, so that the index of just these is used."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Left:
    """Boards that left, alike in what they were returned for and tested with."""

    complaint: str
    profile: str
    version: str
    """SHA-256 of the profile; empty for a board that was never tested."""
    boards: int
    without_finding: int


def boards_that_left(records: Records, period: Period = ALWAYS) -> tuple[Left, ...]:
    """Return the boards that left in a period, counted."""
    by = CASES.c.complaint, CASES.c.profile, CASES.c.profile_digest
    nothing = func.sum(case((NO_FAULT, 1), else_=0))
    query = select(*by, func.count(), nothing).where(period.holds(CASES.c.closed)).group_by(*by)
    return tuple(
        Left(complaint=complaint, profile=profile, version=version, boards=boards, without_finding=int(none))
        for complaint, profile, version, boards, none in _rows(records, query)
    )


def no_fault_found(records: Records, period: Period = ALWAYS) -> Table:
    """Return how often nothing was found, per kind of complaint."""
    return by_complaint(boards_that_left(records, period))


def by_complaint(left: Sequence[Left]) -> Table:
    """Return how often nothing was found among boards that left, per kind of complaint."""
    rows = _nothing_found((one, (one.complaint,)) for one in left)
    columns = (Column(key="complaint", title="complaint"), *_OF_RETURNS)
    return Table(key="no-fault-found", title="No fault found, by complaint", columns=columns, rows=rows, notes=(_NOTE,))


def no_fault_by_profile(records: Records, period: Period = ALWAYS) -> Table:
    """Return how often nothing was found, per version of the profile that the board was tested with as found."""
    return by_profile(boards_that_left(records, period))


def by_profile(left: Sequence[Left]) -> Table:
    """Return how often nothing was found among boards that left, per version of the profile."""
    rows = _nothing_found((one, (one.profile, one.version[:12])) for one in left)
    columns = (Column(key="profile", title="profile"), Column(key="version", title="version"), *_OF_RETURNS)
    title = "No fault found, by profile version"
    note = "version: the first twelve digits of the profile's SHA-256"
    return Table(key="no-fault-by-profile", title=title, columns=columns, rows=rows, notes=(_NOTE, note))


_OF_RETURNS: Final = (
    Column(key="returns", title="returns", kind="count"),
    Column(key="without_finding", title="without finding", kind="count"),
    Column(key="share", title="rate", kind="share"),
    *_SHARE,
)


def _nothing_found(left: Iterable[tuple[Left, tuple[str, ...]]]) -> tuple[tuple[Cell, ...], ...]:
    """Return rows of what was tested, by a key, the most returned first."""
    boards, nothing = Counter[tuple[str, ...]](), Counter[tuple[str, ...]]()
    for one, key in left:
        if one.version:
            boards[key] += one.boards
            nothing[key] += one.without_finding
    found = sorted(boards, key=lambda key: (-boards[key], key))
    return tuple((*key, boards[key], nothing[key], *_limits(nothing[key], boards[key])) for key in found)


def first_pass_yield(records: Records, period: Period = ALWAYS) -> Table:
    """Return how many repaired boards passed their first as-left run, and how many boards passed as they came in."""
    repaired = func.sum(case((CASES.c.first_left != "", 1), else_=0))
    first = func.sum(case((CASES.c.first_left == "pass", 1), else_=0))
    found = func.sum(case((CASES.c.found == "pass", 1), else_=0))
    query = (
        select(CASES.c.part, func.count(), found, repaired, first)
        .where(CASES.c.found != "", period.holds(CASES.c.received))
        .group_by(CASES.c.part)
        .order_by(CASES.c.part)
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


_FAILED: Final = RUNS.c.outcome == "fail", RUNS.c.phase != "as left"


def failing_checks(records: Records, period: Period = ALWAYS, *, most: int = 15) -> Table:
    """Return the checks that fail most often before a repair, each run counted once, with their running share."""
    query = (
        select(BOARDS.c.part, FINDINGS.c.check_id, func.count())
        .select_from(RUNS)
        .join(FINDINGS, FINDINGS.c.run_id == RUNS.c.id)
        .join(BOARDS, BOARDS.c.id == RUNS.c.board_id)
        .where(*_FAILED, FINDINGS.c.verdict == "fail", period.holds(RUNS.c.started))
        .group_by(BOARDS.c.part, FINDINGS.c.check_id)
        .order_by(func.count().desc(), BOARDS.c.part, FINDINGS.c.check_id)
    )
    columns = (Column(key="part", title="board"), Column(key="check", title="check"), *_PARETO)
    return Table(
        key="failing-checks",
        title="Checks that fail most often",
        columns=columns,
        rows=pareto(_rows(records, query), most=most),
        notes=("of runs that failed, but for those as left; a board tested twice counts twice",),
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
    """Return how long boards stayed: part number, whole hours, and how many boards, in order of part and hours."""
    hours = (CASES.c.stay // 60).label("hours")
    query = (
        select(CASES.c.part, hours, func.count())
        .where(CASES.c.stay.is_not(None), period.holds(CASES.c.closed))
        .group_by(CASES.c.part, hours)
        .order_by(CASES.c.part, hours)
    )
    return [(part, int(spent), count) for part, spent, count in _rows(records, query)]


def turnaround(records: Records, period: Period = ALWAYS) -> Table:
    """Return how long boards stay in the depot, from intake to return, to the hour."""
    return of_stays(stays(records, period))


def of_stays(stayed: Sequence[tuple[str, int, int]]) -> Table:
    """Return the turnaround of boards that stayed so long."""
    parts: dict[str, list[tuple[int, int]]] = {}
    for part, hours, count in stayed:
        parts.setdefault(part, []).append((hours, count))
    rows: list[tuple[Cell, ...]] = []
    for part, some in parts.items():
        days = [quantile(some, share) / HOURS_A_DAY for share in (0.5, 0.9, 1.0)]
        rows.append((part, sum(count for _, count in some), *days))
    columns = (
        Column(key="part", title="board"),
        Column(key="returns", title="returns", kind="count"),
        Column(key="median", title="median", kind="days"),
        Column(key="nine_in_ten", title="nine in ten within", kind="days"),
        Column(key="longest", title="longest", kind="days"),
    )
    notes = ("cases in which a clock was set back are left out",)
    title = "Turnaround, intake to return"
    return Table(key="turnaround", title=title, columns=columns, rows=tuple(rows), notes=notes)


def quantile(counted: Sequence[tuple[int, int]], share: float) -> int:
    """Return the smallest value that at least `share` of all do not exceed; values in order, each with its count."""
    whole, running = sum(count for _, count in counted), 0
    for value, count in counted:
        running += count
        if running >= share * whole:
            return value
    raise ValueError(f"no value is reached by {share} of {whole}")


def repeat_returns(records: Records, period: Period = ALWAYS, *, days: int = REPEAT, most: int | None = None) -> Table:
    """Return boards that came back within some days of having left, the latest first, at most so many."""
    soon = CASES.c.back_after <= days * MINUTES_A_DAY
    query = (
        select(BOARDS.c.serial, CASES.c.part, CASES.c.work_order, CASES.c.received, CASES.c.back_after)
        .join_from(CASES, BOARDS)
        .where(soon, period.holds(CASES.c.received))
        .order_by(CASES.c.received.desc())
        .limit(most)
    )
    rows = tuple((*row[:4], row.back_after / MINUTES_A_DAY) for row in _rows(records, query))
    columns = (
        Column(key="serial", title="serial"),
        Column(key="part", title="board"),
        Column(key="work_order", title="work order"),
        Column(key="received", title="came back", kind="moment"),
        Column(key="after", title="after", kind="days"),
    )
    notes = (f"the latest {most}, at most",) if most else ()
    return Table(key="repeat-returns", title=f"Back within {days} days", columns=columns, rows=rows, notes=notes)


def rogue_boards(records: Records, *, returns: int = ROGUE, most: int | None = None) -> Table:
    """Return boards that were returned so many times without a finding."""
    count = func.count().label("returns")
    often = (
        select(CASES.c.board_id, count, func.max(CASES.c.closed).label("last"))
        .where(NO_FAULT, CASES.c.closed.is_not(None))
        .group_by(CASES.c.board_id)
        .having(func.count() >= returns)
        .subquery()
    )
    query = (
        select(BOARDS.c.serial, BOARDS.c.part, often.c.returns, often.c.last)
        .join_from(often, BOARDS, BOARDS.c.id == often.c.board_id)
        .order_by(often.c.returns.desc(), BOARDS.c.serial)
        .limit(most)
    )
    columns = (
        Column(key="serial", title="serial"),
        Column(key="part", title="board"),
        Column(key="returns", title="without finding", kind="count"),
        Column(key="last", title="last left", kind="moment"),
    )
    title = f"Returned {returns} times or more without a finding"
    rows, notes = tuple(map(tuple, _rows(records, query))), (f"the first {most}, at most",) if most else ()
    return Table(key="rogue-boards", title=title, columns=columns, rows=rows, notes=notes)


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
