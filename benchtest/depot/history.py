"""What the depot knows of one board: its earlier stays, what happened in each, and what that means at intake."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlalchemy import select

from benchtest.depot.case import Case, money
from benchtest.depot.entries import (
    BeyondRepair,
    Entry,
    Erased,
    Intake,
    LimitSet,
    Released,
    Reopened,
    Repaired,
    Returned,
    Scrapped,
    Tested,
    Triaged,
    read_entry,
)
from benchtest.depot.questions import REPEAT, ROGUE
from benchtest.depot.table import Cell, Column, Table
from benchtest.records.database.case_tables import CASES, ENTRIES
from benchtest.records.database.opening import Records
from benchtest.records.database.tables import BOARDS, RUNS


@dataclass(frozen=True, kw_only=True, slots=True)
class Stay:
    """One stay of a board, as much of it as matters at the next."""

    work_order: str
    part: str
    received: datetime
    closed: datetime | None
    state: str
    found: str
    repairs: int

    @property
    def without_finding(self) -> bool:
        """Whether it was over, and nothing was found or done."""
        return self.closed is not None and self.found == "pass" and self.repairs == 0


def stays_of(records: Records, *, serial: str, part: str = "") -> tuple[Stay, ...]:
    """Return the stays of a board, the oldest first; without a part number, of all boards with that serial number."""
    query = (
        select(
            CASES.c.work_order,
            BOARDS.c.part,
            CASES.c.received,
            CASES.c.closed,
            CASES.c.state,
            CASES.c.found,
            CASES.c.repairs,
        )
        .join_from(CASES, BOARDS)
        .where(BOARDS.c.serial == serial)
        .order_by(CASES.c.received, CASES.c.work_order)
    )
    if part:
        query = query.where(BOARDS.c.part == part)
    with records.reading() as connection:
        return tuple(Stay(**row._asdict()) for row in connection.execute(query))


def warnings(earlier: Sequence[Stay], *, now: datetime, days: int = REPEAT, returns: int = ROGUE) -> Iterator[str]:
    """Yield what whoever takes in a board should know, from its earlier stays."""
    closed = [stay for stay in earlier if stay.closed is not None]
    nothing = [stay for stay in closed if stay.without_finding]
    if closed:
        last = closed[-1]
        assert last.closed is not None
        after = now - last.closed
        if timedelta(0) <= after <= timedelta(days=days):
            ago = "today" if after.days == 0 else f"{after.days} day{'' if after.days == 1 else 's'} ago"
            yield (
                f"REPEAT RETURN: it left {ago} (work order {last.work_order}, "
                f"{'nothing was found' if last.without_finding else _done(last)})"
            )
    if len(nothing) >= returns:
        orders = ", ".join(stay.work_order for stay in nothing)
        yield (
            f"RETURNED {len(nothing)} TIMES WITHOUT A FINDING ({orders}): do not send it back a further time as it is; "
            "look at its machine, its load and its wiring, or take it out of service"
        )


def _done(stay: Stay) -> str:
    return f"{stay.repairs} repair{'' if stay.repairs == 1 else 's'}, {stay.state}"


def history(records: Records, *, serial: str, part: str = "") -> Table:
    """Return everything that happened to a board in the depot, and its runs outside of it, in order of time."""
    rows = sorted(_happened(records, serial, part), key=lambda row: (row[0], row[1]))
    columns = (
        Column(key="at", title="when", kind="moment"),
        Column(key="work_order", title="work order"),
        Column(key="what", title="what"),
        Column(key="by", title="by"),
    )
    shown: tuple[tuple[Cell, ...], ...] = tuple((at, order, what, by) for at, order, _, what, by in rows)
    return Table(key="board-history", title=f"History of {serial}", columns=columns, rows=shown)


def _happened(records: Records, serial: str, part: str) -> Iterator[tuple[datetime, str, int, str, str]]:
    """Yield when, under which work order, as which entry, what, and by whom."""
    entries = select(ENTRIES.c.line).join_from(ENTRIES, CASES).join(BOARDS, BOARDS.c.id == CASES.c.board_id)
    runs = select(RUNS.c.started, RUNS.c.number, RUNS.c.outcome, RUNS.c.phase, RUNS.c.technician).join_from(
        RUNS, BOARDS
    )
    wanted = BOARDS.c.serial == serial, *((BOARDS.c.part == part,) if part else ())
    with records.reading() as connection:
        told = [read_entry(line) for line in connection.scalars(entries.where(*wanted))]
        linked = {entry.fact.run for entry in told if isinstance(entry.fact, Tested)}
        for entry in told:
            yield entry.moment, entry.work_order, entry.number, in_words(entry), entry.by
        for started, number, outcome, phase, technician in connection.execute(runs.where(*wanted)):
            if number not in linked:
                yield started, "", 0, f"run {number}{f', {phase}' if phase else ''}: {outcome}", technician


def in_words(entry: Entry) -> str:
    """Return an entry in one line."""
    match entry.fact:
        case Intake() | Triaged() | Repaired() as fact:
            return _work_in_words(fact)
        case Tested() as fact:
            return f"run {fact.run}, {fact.phase}: {fact.outcome}"
        case LimitSet() as fact:
            return f"cost limit {money(fact.limit)} ({fact.reference})"
        case Released() as fact:
            return "released" + (f" alone: {fact.alone}" if fact.alone else "")
        case Returned() as fact:
            return "; ".join(filter(None, ["returned", fact.way, fact.note]))
        case Erased() as fact:
            return f"personal data erased ({', '.join(fact.fields)}): {fact.reason}"
        case Scrapped() as fact:
            return f"scrapped ({fact.reference})"
        case BeyondRepair() | Reopened() as fact:
            return f"{entry.kind}: {fact.reason}"


def _work_in_words(fact: Intake | Triaged | Repaired) -> str:
    match fact:
        case Intake():
            return "; ".join(filter(None, [f"came in: {fact.complaint}", fact.condition]))
        case Triaged():
            return "; ".join(filter(None, ["to be tested", fact.hazard and f"hazard: {fact.hazard}", fact.note]))
        case Repaired():
            return _repair_in_words(fact)


def _repair_in_words(fact: Repaired) -> str:
    part = f" {fact.part}" if fact.part else ""
    return "; ".join(
        filter(
            None,
            [
                f"{'replaced' if fact.replaced else 'repaired'}{part}: {fact.what}",
                fact.fault and f"fault: {fact.fault}",
                fact.lot and f"lot {fact.lot}",
                f"{fact.minutes} min" if fact.minutes else "",
                money(fact.cost) if fact.cost else "",
            ],
        )
    )


def board_of(case: Case) -> str:
    """Return the board of a case as it is spoken of."""
    return f"{case.intake.part} {case.intake.serial}"
