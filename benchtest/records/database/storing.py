"""Storing a run, once: the same run again changes nothing, its later state (after a pause) replaces the earlier one.

One transaction per run. Rows that runs share are found or made in one order everywhere, so that two benches that store
at once wait for each other instead of standing in each other's way.
"""

from collections.abc import Mapping, Sequence
from dataclasses import fields, replace
from datetime import UTC, timedelta, timezone
from enum import StrEnum
from typing import Any, Final

from sqlalchemy import Connection, Row, Table, delete, insert, select, update
from sqlalchemy.dialects import postgresql, sqlite

from benchtest.canonical import digest, from_canonical, to_canonical
from benchtest.clock import wall_time
from benchtest.errors import RecordsError
from benchtest.records.database.packed import (
    pack_checklist,
    pack_readings,
    spell_checklist,
    unpack_checklist,
    unpack_readings,
)
from benchtest.records.database.record import Record, Suspect
from benchtest.records.database.tables import (
    BOARDS,
    CALIBRATIONS,
    CERTIFICATE_CHANGES,
    CHECKLISTS,
    EQUIPMENT,
    FINDINGS,
    INSTRUMENTS,
    OUTBOX,
    READINGS,
    RUNS,
    SUSPECTS,
)
from benchtest.records.notes import Change
from benchtest.results import Instrument, Verdict

ELSEWHERE: Final = {"part", "serial", "simulated_faults", "instruments", "lines", "readings", "suspects", "changes"}
"""Fields of a record that are not columns of `runs` as they are."""
SAME_COLUMNS: Final = tuple(one.name for one in fields(Record) if one.name not in ELSEWHERE)


class Stored(StrEnum):
    """What storing did."""

    NEW = "new"
    SAME = "there already"
    REPLACED = "replaced by its later state"
    OLDER = "there in a later state"


def store(connection: Connection, record: Record, *, queue: bool = False) -> Stored:
    """Store a run with everything that belongs to it; with `queue`, also note that a server has yet to take it.

    Raises RecordsError when another run of the same identity is there: one of the two was changed.
    """
    values = _run_values(connection, record)
    made = connection.scalar(_insert(connection, RUNS).values(values).on_conflict_do_nothing().returning(RUNS.c.id))
    if made is not None:
        _add_details(connection, made, record)
        done, run_id = Stored.NEW, made
    else:
        done, run_id = _again(connection, record, values)
    added = add_changes(connection, run_id, record.changes)
    if queue and (done in {Stored.NEW, Stored.REPLACED} or added):
        enqueue(connection, run_id)
    return done


def _again(connection: Connection, record: Record, values: Mapping[str, Any]) -> tuple[Stored, int]:
    """Store a run that is there already, in this state, an earlier or a later one."""
    wanted = select(RUNS.c.id, RUNS.c.run_digest, RUNS.c.resumed).where(RUNS.c.identity == record.identity)
    there = connection.execute(wanted.with_for_update()).one()
    if there.run_digest == record.run_digest:
        connection.execute(
            update(RUNS).where(RUNS.c.id == there.id, RUNS.c.folder != record.folder).values(folder=record.folder)
        )
        return Stored.SAME, there.id
    if there.resumed > record.resumed:
        return Stored.OLDER, there.id
    if there.resumed == record.resumed:
        raise RecordsError(
            f"run {record.number} of board {record.serial}: the records have it with another content "
            f"(run.json was changed after the run, here or there; look at {record.folder})"
        )
    for table in (READINGS, FINDINGS, SUSPECTS):
        connection.execute(delete(table).where(table.c.run_id == there.id))
    connection.execute(update(RUNS).where(RUNS.c.id == there.id).values(values))
    _add_details(connection, there.id, record)
    return Stored.REPLACED, there.id


def _run_values(connection: Connection, record: Record) -> dict[str, Any]:
    """Return the row of a run, after making the rows that it points at."""
    board = _one(connection, BOARDS, {"serial": record.serial, "part": record.part})
    equipment = _equipment(connection, record.instruments)
    offset = record.started.utcoffset() or timedelta()
    return {
        **{name: getattr(record, name) for name in SAME_COLUMNS},
        "board_id": board,
        "equipment_id": equipment,
        "offset_minutes": round(offset.total_seconds() / 60),
        "checks": len(record.readings),
        "not_tested": sum(one.verdict is Verdict.NOT_TESTED for one in record.readings),
        "simulated_faults": to_canonical(list(record.simulated_faults)).decode(),
    }


def _equipment(connection: Connection, instruments: Sequence[Instrument]) -> int:
    spelled = [[one.name, one.serial, one.certificate, one.calibrated, one.due] for one in instruments]
    key = digest(to_canonical(spelled))
    found: int | None = connection.scalar(select(EQUIPMENT.c.id).where(EQUIPMENT.c.digest == key))
    if found is not None:
        return found
    ids = {(name, serial): _one(connection, INSTRUMENTS, {"name": name, "serial": serial})
           for name, serial in sorted({(one.name, one.serial) for one in instruments})}  # fmt: skip
    made = connection.scalar(
        _insert(connection, EQUIPMENT).values(digest=key).on_conflict_do_nothing().returning(EQUIPMENT.c.id)
    )
    if made is None:  # another bench was quicker, and has written all of it
        return _one(connection, EQUIPMENT, {"digest": key})
    rows = [
        {
            "equipment_id": made,
            "position": position,
            "instrument_id": ids[one.name, one.serial],
            "certificate": one.certificate,
            "calibrated": one.calibrated,
            "due": one.due,
        }
        for position, one in enumerate(instruments)
    ]
    if rows:
        connection.execute(insert(CALIBRATIONS), rows)
    return int(made)


def _add_details(connection: Connection, run_id: int, record: Record) -> None:
    spelled = spell_checklist(record.lines)
    checklist = _one(connection, CHECKLISTS, {"digest": digest(spelled)}, content=lambda: pack_checklist(record.lines))
    content = pack_readings(record.readings)
    connection.execute(insert(READINGS).values(run_id=run_id, checklist_id=checklist, content=content))
    if found := [{"run_id": run_id, **row} for row in _findings(record)]:
        connection.execute(insert(FINDINGS), found)
    if record.suspects:
        rows = [
            {"run_id": run_id, "rank": rank, "faults": s.faults, "sentence": s.sentence, "probability": s.probability}
            for rank, s in enumerate(record.suspects, 1)
        ]
        connection.execute(insert(SUSPECTS), rows)


def _findings(record: Record) -> list[dict[str, Any]]:
    """Return the rows of what was read and did not pass."""
    return [
        {
            "position": position,
            "check_id": line.check,
            "verdict": one.verdict.value,
            "value": float(one.value) if isinstance(one.value, float | int) else None,
            "word": one.value if isinstance(one.value, str) else None,
            "uncertainty": one.uncertainty,
            "unit": line.unit,
            "note": one.note,
        }
        for position, (line, one) in enumerate(zip(record.lines, record.readings, strict=True))
        if one.verdict not in {Verdict.PASS, Verdict.NOT_TESTED}
    ]


def add_changes(connection: Connection, run_id: int, changes: Sequence[Change]) -> int:
    """Add what became of a certificate; return how much of it is news. It is withdrawn once, whoever tells of it."""
    known = {(one.status, one.replaced_by) for one in changes_of(connection, run_id)} if changes else set()
    news = [one for one in changes if (one.status, one.replaced_by) not in known]
    for one in news:
        row = {name: getattr(one, name) for name in ("key", "status", "reason", "by", "at", "replaced_by")}
        connection.execute(
            _insert(connection, CERTIFICATE_CHANGES).values(run_id=run_id, **row).on_conflict_do_nothing()
        )
    return len(news)


def enqueue(connection: Connection, run_id: int) -> None:
    """Note that a server has yet to take a run, or its news."""
    row = {"run_id": run_id, "queued": wall_time(), "news": 1, "attempts": 0, "problem": ""}
    more = {"news": OUTBOX.c.news + 1}
    statement = _insert(connection, OUTBOX).values(row)
    connection.execute(statement.on_conflict_do_update(index_elements=[OUTBOX.c.run_id], set_=more))


def _one(connection: Connection, table: Table, key: Mapping[str, Any], **rest: Any) -> int:
    """Return the id of the row with this key, which is made when it is not there."""
    wanted = select(table.c.id).where(*(table.c[name] == value for name, value in key.items()))
    found: int | None = connection.scalar(wanted)
    if found is None:
        row = {**key, **{name: make() for name, make in rest.items()}}
        connection.execute(_insert(connection, table).values(row).on_conflict_do_nothing())
        found = connection.scalar(wanted)
    assert found is not None
    return found


def _insert(connection: Connection, table: Table) -> sqlite.Insert | postgresql.Insert:
    return postgresql.insert(table) if connection.dialect.name == "postgresql" else sqlite.insert(table)


# ---------------------------------------------------------------- and back


def load(connection: Connection, run_id: int) -> Record:
    """Return a stored run whole, to hand it on. Raises ValueError when what is stored is not whole."""
    wanted = (
        select(RUNS, BOARDS.c.part, BOARDS.c.serial, READINGS.c.content, CHECKLISTS.c.content.label("checklist"))
        .join(BOARDS, BOARDS.c.id == RUNS.c.board_id)
        .join(READINGS, READINGS.c.run_id == RUNS.c.id)
        .join(CHECKLISTS, CHECKLISTS.c.id == READINGS.c.checklist_id)
        .where(RUNS.c.id == run_id)
    )
    row = connection.execute(wanted).one()
    zone = timezone(timedelta(minutes=row.offset_minutes)) if row.offset_minutes else UTC
    record = Record(
        **{name: getattr(row, name) for name in SAME_COLUMNS},
        part=row.part,
        serial=row.serial,
        simulated_faults=tuple(from_canonical(row.simulated_faults)),
        instruments=_instruments(connection, row.equipment_id),
        lines=unpack_checklist(row.checklist),
        readings=unpack_readings(row.content),
        suspects=_suspects(connection, run_id),
        changes=changes_of(connection, run_id),
    )
    return replace(record, started=record.started.astimezone(zone), ended=record.ended.astimezone(zone))


def _instruments(connection: Connection, equipment_id: int) -> tuple[Instrument, ...]:
    wanted = (
        select(INSTRUMENTS.c.name, INSTRUMENTS.c.serial, CALIBRATIONS)
        .join(INSTRUMENTS, INSTRUMENTS.c.id == CALIBRATIONS.c.instrument_id)
        .where(CALIBRATIONS.c.equipment_id == equipment_id)
        .order_by(CALIBRATIONS.c.position)
    )
    return tuple(
        Instrument(name=r.name, serial=r.serial, certificate=r.certificate, calibrated=r.calibrated, due=r.due)
        for r in connection.execute(wanted)
    )


def _suspects(connection: Connection, run_id: int) -> tuple[Suspect, ...]:
    wanted = select(SUSPECTS).where(SUSPECTS.c.run_id == run_id).order_by(SUSPECTS.c.rank)
    rows = connection.execute(wanted)
    return tuple(Suspect(faults=r.faults, sentence=r.sentence, probability=r.probability) for r in rows)


def changes_of(connection: Connection, run_id: int) -> tuple[Change, ...]:
    """Return what became of the certificate of a run, in the order in which it was told."""
    wanted = select(CERTIFICATE_CHANGES).where(CERTIFICATE_CHANGES.c.run_id == run_id)
    return tuple(_change(row) for row in connection.execute(wanted.order_by(CERTIFICATE_CHANGES.c.id)))


def _change(row: Row[Any]) -> Change:
    return Change(key=row.key, status=row.status, reason=row.reason, by=row.by, at=row.at, replaced_by=row.replaced_by)


def identifier(connection: Connection, identity: str) -> int:
    """Return the id of a stored run."""
    return int(connection.execute(select(RUNS.c.id).where(RUNS.c.identity == identity)).scalar_one())
