"""Cases in the records database: written with every entry, and made again from the folders when it is lost."""

from collections.abc import Iterable
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, func, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from benchtest.depot.case import Case, followed, replayed
from benchtest.depot.entries import Entry, Released, Repaired, Tested, read_entry
from benchtest.depot.personal import NOTHING, Personal
from benchtest.records.database.case_tables import CASES, ENTRIES, REPAIRS
from benchtest.records.database.tables import BOARDS

_PERSONAL: Final[dict[str, tuple[str, Any]]] = {
    "customer": ("customer", ""),
    "contact": ("contact", ""),
    "complaint": ("words", ""),
    "photos": ("photos", 0),
}
"""Personal field → its column, and what stands there once it was taken out."""


def lines_of(connection: Connection, work_order: str) -> tuple[bytes, ...]:
    """Return the lines of a case as the database has them, and let nobody else write to it until the block is left."""
    connection.execute(select(CASES.c.state).where(CASES.c.work_order == work_order).with_for_update()).all()
    query = select(ENTRIES.c.line).where(ENTRIES.c.work_order == work_order).order_by(ENTRIES.c.number)
    return tuple(connection.scalars(query))


def personal_of(connection: Connection, work_order: str) -> Personal:
    """Return what the database has of a customer; photos lie on the bench that took the board in."""
    query = select(CASES.c.customer, CASES.c.contact, CASES.c.words).where(CASES.c.work_order == work_order)
    found = connection.execute(query).one_or_none()
    return Personal() if found is None else Personal(customer=found[0], contact=found[1], complaint=found[2])


def taken_up(connection: Connection, case: Case | None, lines: Iterable[bytes], personal: Personal) -> Case | None:
    """Store lines that the database lacks, after the case that it has, and return the case with them."""
    for line in lines:
        case = followed(case, read_entry(line))
        store(connection, case, personal)
    return case


def store(connection: Connection, case: Case, personal: Personal = NOTHING) -> None:
    """Store the last entry of a case, and where the case stands with it. `personal` counts at its intake only."""
    entry = case.entries[-1]
    if entry.number == 1:
        connection.execute(insert(CASES).values(**_row(case), **_beginning(connection, case, personal)))
    else:
        erased = dict(_PERSONAL[name] for name in case.erased)
        connection.execute(update(CASES).where(CASES.c.work_order == case.work_order).values(**_row(case), **erased))
    connection.execute(
        insert(ENTRIES).values(
            work_order=case.work_order,
            number=entry.number,
            kind=entry.kind,
            at=entry.moment,
            by=entry.by,
            line=entry.line(),
        )
    )
    if isinstance(entry.fact, Repaired):
        _store_repair(connection, case, entry, entry.fact)


def _beginning(connection: Connection, case: Case, personal: Personal) -> dict[str, Any]:
    intake, board = case.intake, board_id(connection, part=case.intake.part, serial=case.intake.serial)
    return {
        "work_order": case.work_order,
        "board_id": board,
        "part": intake.part,
        "back_after": _back_after(connection, board, case.entries[0].moment),
        "serial_stated": intake.serial_stated,
        "revision": intake.revision,
        "rma": intake.rma,
        "complaint": intake.complaint.value,
        "received": case.entries[0].moment,
        "customer": personal.customer,
        "contact": personal.contact,
        "words": personal.complaint,
        "photos": len(personal.photos),
    }


def _back_after(connection: Connection, board: int, received: datetime) -> int | None:
    """Return the minutes since a board last left; None for one that was never here before."""
    left = connection.scalar(
        select(func.max(CASES.c.closed)).where(CASES.c.board_id == board, CASES.c.closed <= received)
    )
    return None if left is None else int((received - left).total_seconds() // 60)


def reckon_returns(connection: Connection, work_orders: Iterable[str]) -> None:
    """Reckon anew how long boards had been away: cases that are restored come in any order."""
    for order in work_orders:
        board = select(CASES.c.board_id).where(CASES.c.work_order == order).scalar_subquery()
        stays = select(CASES.c.work_order, CASES.c.board_id, CASES.c.received).where(CASES.c.board_id == board)
        for stay in connection.execute(stays).all():
            after = _back_after(connection, stay.board_id, stay.received)
            connection.execute(update(CASES).where(CASES.c.work_order == stay.work_order).values(back_after=after))


def _row(case: Case) -> dict[str, Any]:
    """Return what changes from entry to entry."""
    tests = case.all_of(Tested)
    released = [entry.moment for entry in case.entries if isinstance(entry.fact, Released)]
    return {
        "state": case.state.value,
        "open": int(case.open),
        "released": released[-1] if released else None,
        "closed": _closed(case),
        "stay": _stay(case),
        "found": case.found.value if case.found else "",
        "first_left": case.first_left.value if case.first_left else "",
        "last_left": case.left.value if case.left else "",
        "profile": tests[0].profile if tests else "",
        "profile_digest": tests[0].profile_digest if tests else "",
        "repairs": len(case.all_of(Repaired)),
        "minutes": case.minutes,
        "cost": case.cost,
        "cost_limit": case.limit,
        "entries": len(case.entries),
        "erased": " ".join(sorted(case.erased)),
    }


def _closed(case: Case) -> datetime | None:
    return next((entry.moment for entry in case.entries if entry.kind in {"returned", "scrapped"}), None)


def _stay(case: Case) -> int | None:
    """Return the minutes from intake to the end; None before it, and where a clock was set back in between."""
    closed = _closed(case)
    if closed is None or case.clock_back:
        return None
    return int((closed - case.entries[0].moment).total_seconds() // 60)


def _store_repair(connection: Connection, case: Case, entry: Entry, fact: Repaired) -> None:
    connection.execute(
        insert(REPAIRS).values(
            work_order=case.work_order,
            number=entry.number,
            board_part=case.intake.part,
            at=entry.moment,
            what=fact.what,
            part=fact.part,
            replaced=int(fact.replaced),
            lot=fact.lot,
            fault=fact.fault,
            minutes=fact.minutes,
            cost=fact.cost,
        )
    )


def board_id(connection: Connection, *, part: str, serial: str) -> int:
    """Return the number of a board in the records; a board that was never seen gets one."""
    same = select(BOARDS.c.id).where(BOARDS.c.serial == serial, BOARDS.c.part == part)
    found = connection.scalar(same)
    if found is None:
        kind = postgresql if connection.dialect.name == "postgresql" else sqlite
        connection.execute(kind.insert(BOARDS).values(serial=serial, part=part).on_conflict_do_nothing())
        found = connection.scalar(same)
    assert found is not None
    return int(found)


def case_of(lines: Iterable[bytes]) -> Case | None:
    """Return the case that lines tell; None where there are none. Raises ValueError when they tell none."""
    entries = [read_entry(line) for line in lines]
    return replayed(entries) if entries else None
