"""The tables of the records, the same on SQLite and PostgreSQL.

A run is one row. What many runs share stands once: the board, the checklist of its procedure, the equipment that
measured. All readings of a run are one packed value (`packed`); a reading that did not pass has a row of its own
besides, for those are what people ask about. See docs/decisions/0020.

Every constraint has a name, so that a later version can change it on either database.
"""

from datetime import UTC, datetime
from typing import Final

from sqlalchemy import (
    Column,
    Dialect,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeDecorator

METADATA: Final = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
        "pk": "pk_%(table_name)s",
    }
)
DIGEST: Final = 64
"""Characters of a SHA-256."""


class Moment(TypeDecorator[datetime]):
    """A moment as text in UTC, `2026-03-14T09:15:00.000Z`: it sorts as time does, and a person can read it."""

    impl = String(24)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, _dialect: Dialect) -> str | None:
        return None if value is None else spelled(value)

    def process_result_value(self, value: str | None, _dialect: Dialect) -> datetime | None:
        return None if value is None else datetime.fromisoformat(value)


def spelled(moment: datetime) -> str:
    """Return a moment with an offset as the records spell it. Raises ValueError when it has none."""
    if moment.tzinfo is None:
        raise ValueError(f"{moment} has no offset from UTC")
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


BOARDS: Final = Table(
    "boards",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("serial", String(64), nullable=False),
    Column("part", Text, nullable=False),
    UniqueConstraint("serial", "part"),
)

CHECKLISTS: Final = Table(
    "checklists",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("digest", String(DIGEST), nullable=False, unique=True),
    Column("content", LargeBinary, nullable=False),
)
"""What one procedure looked at, in order: check, step, title, unit, limits."""

INSTRUMENTS: Final = Table(
    "instruments",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("name", Text, nullable=False),
    Column("serial", Text, nullable=False),
    UniqueConstraint("serial", "name"),
)

EQUIPMENT: Final = Table(
    "equipment",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("digest", String(DIGEST), nullable=False, unique=True),
)
"""What a bench measured with, at one state of its calibrations; many runs share it."""

CALIBRATIONS: Final = Table(
    "calibrations",
    METADATA,
    Column("equipment_id", ForeignKey("equipment.id"), primary_key=True),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("instrument_id", ForeignKey("instruments.id"), nullable=False, index=True),
    Column("certificate", Text, nullable=False),
    Column("calibrated", Text, nullable=False),
    Column("due", Text, nullable=False),
)

RUNS: Final = Table(
    "runs",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("identity", String(DIGEST), nullable=False, unique=True),
    Column("number", Text, nullable=False, index=True),
    Column("board_id", ForeignKey("boards.id"), nullable=False),
    Column("equipment_id", ForeignKey("equipment.id"), nullable=False),
    Column("started", Moment, nullable=False, index=True),
    Column("ended", Moment, nullable=False),
    Column("offset_minutes", Integer, nullable=False),
    Column("outcome", String(16), nullable=False),
    Column("reason", Text, nullable=False),
    Column("paper", String(16), nullable=False),
    Column("origin", String(16), nullable=False),
    Column("phase", String(16), nullable=False),
    Column("revision", Text, nullable=False),
    Column("variant", Text, nullable=False),
    Column("technician", Text, nullable=False),
    Column("work_order", Text, nullable=False),
    Column("customer", Text, nullable=False),
    Column("profile", Text, nullable=False),
    Column("profile_digest", String(DIGEST), nullable=False),
    Column("fixture", Text, nullable=False),
    Column("fixture_digest", String(DIGEST), nullable=False),
    Column("bench", Text, nullable=False),
    Column("place", Text, nullable=False),
    Column("software", Text, nullable=False),
    Column("folder", Text, nullable=False),
    Column("run_digest", String(DIGEST), nullable=False),
    Column("journal_head", String(DIGEST), nullable=False),
    Column("resumed", Integer, nullable=False),
    Column("checks", Integer, nullable=False),
    Column("not_tested", Integer, nullable=False),
    Column("simulated_faults", Text, nullable=False),
)
"""One run. `offset_minutes`: minutes east of UTC where it ran. `paper`: certificate, report, or empty."""
Index("ix_runs_board_id_started", RUNS.c.board_id, RUNS.c.started)
Index("ix_runs_equipment_id_started", RUNS.c.equipment_id, RUNS.c.started)
for _column in (RUNS.c.work_order, RUNS.c.customer):
    Index(f"ix_runs_{_column.name}", _column, sqlite_where=_column != "", postgresql_where=_column != "")

READINGS: Final = Table(
    "readings",
    METADATA,
    Column("run_id", ForeignKey("runs.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("checklist_id", ForeignKey("checklists.id"), nullable=False, index=True),
    Column("content", LargeBinary, nullable=False),
)
"""All readings of a run, packed; apart from `runs`, so that a look through many runs does not turn their pages."""

FINDINGS: Final = Table(
    "findings",
    METADATA,
    Column("run_id", ForeignKey("runs.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("check_id", Text, nullable=False, index=True),
    Column("verdict", String(16), nullable=False),
    Column("value", Float),
    Column("word", Text),
    Column("uncertainty", Float),
    Column("unit", Text, nullable=False),
    Column("note", Text, nullable=False),
)
"""The readings that were taken and did not pass."""

SUSPECTS: Final = Table(
    "suspects",
    METADATA,
    Column("run_id", ForeignKey("runs.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("rank", Integer, primary_key=True, autoincrement=False),
    Column("faults", Text, nullable=False),
    Column("sentence", Text, nullable=False),
    Column("probability", Float, nullable=False),
)

CERTIFICATE_CHANGES: Final = Table(
    "certificate_changes",
    METADATA,
    Column("id", Integer, primary_key=True),
    Column("run_id", ForeignKey("runs.id", ondelete="CASCADE"), nullable=False, index=True),
    Column("key", String(32), nullable=False, unique=True),
    Column("status", String(16), nullable=False),
    Column("reason", Text, nullable=False),
    Column("by", Text, nullable=False),
    Column("at", Moment, nullable=False),
    Column("replaced_by", Text, nullable=False),
)
"""What became of a certificate after it was issued; only ever added to. Without a row it is valid."""

OUTBOX: Final = Table(
    "outbox",
    METADATA,
    Column("run_id", ForeignKey("runs.id", ondelete="CASCADE"), primary_key=True, autoincrement=False),
    Column("queued", Moment, nullable=False),
    Column("news", Integer, nullable=False),
    Column("attempts", Integer, nullable=False),
    Column("problem", Text, nullable=False),
)
"""On a bench: its runs that the shared database has not taken yet. `news` counts what there is to be told of each, so
that what is added while a run is on its way is not taken for delivered."""
