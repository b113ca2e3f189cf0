"""The tables of the depot: a case, its entries as they were written, and what was done to boards.

An entry's line is kept as it stands in the case's file, so that a bench which has not got the file can go on with it.
What is personal has columns of its own, which an erasure empties.
"""

from typing import Final

from sqlalchemy import Column, ForeignKey, Index, Integer, LargeBinary, String, Table, Text, and_

from benchtest.records.database.tables import DIGEST, METADATA, RUNS, Moment

__all__ = ["CASES", "ENTRIES", "METADATA", "REPAIRS"]

CASES: Final = Table(
    "cases",
    METADATA,
    Column("work_order", String(64), primary_key=True),
    Column("board_id", ForeignKey("boards.id"), nullable=False),
    Column("part", Text, nullable=False),
    Column("serial_stated", Text, nullable=False),
    Column("revision", Text, nullable=False),
    Column("rma", Text, nullable=False),
    Column("complaint", String(24), nullable=False),
    Column("state", String(32), nullable=False),
    Column("open", Integer, nullable=False),
    Column("received", Moment, nullable=False, index=True),
    Column("back_after", Integer),
    Column("released", Moment),
    Column("closed", Moment, index=True),
    Column("stay", Integer),
    Column("found", String(16), nullable=False),
    Column("first_left", String(16), nullable=False),
    Column("last_left", String(16), nullable=False),
    Column("profile", Text, nullable=False),
    Column("profile_digest", String(DIGEST), nullable=False),
    Column("repairs", Integer, nullable=False),
    Column("minutes", Integer, nullable=False),
    Column("cost", Integer, nullable=False),
    Column("cost_limit", Integer),
    Column("entries", Integer, nullable=False),
    Column("customer", Text, nullable=False),
    Column("contact", Text, nullable=False),
    Column("words", Text, nullable=False),
    Column("photos", Integer, nullable=False),
    Column("erased", Text, nullable=False),
)
"""A board's stay. `found`, `first_left`, `last_left`: outcomes, empty before. `profile_digest`: of the first as-found
run. `words`: of the customer. `stay`: minutes from intake to its end; none before, and none where a clock went back.
`part`: of the board, as `boards` has it. `back_after`: minutes since that board left before; none at first."""
Index("ix_cases_board_id_received", CASES.c.board_id, CASES.c.received)
Index(
    "uq_cases_board_id_open",
    CASES.c.board_id,
    unique=True,
    sqlite_where=CASES.c.open == 1,
    postgresql_where=CASES.c.open == 1,
)
Index(
    "ix_cases_customer", CASES.c.customer, sqlite_where=CASES.c.customer != "", postgresql_where=CASES.c.customer != ""
)

_NOTHING = and_(CASES.c.found == "pass", CASES.c.repairs == 0)
Index("ix_cases_without_finding", CASES.c.board_id, CASES.c.closed, sqlite_where=_NOTHING, postgresql_where=_NOTHING)
Index("ix_cases_stays", CASES.c.part, CASES.c.stay, CASES.c.closed)
Index("ix_cases_back_after", CASES.c.back_after)
Index("ix_runs_figures", RUNS.c.started, RUNS.c.outcome, RUNS.c.phase, RUNS.c.origin, RUNS.c.board_id)
"""All that is asked of very many runs at once, so that their wide rows are not read for it."""

ENTRIES: Final = Table(
    "case_entries",
    METADATA,
    Column("work_order", ForeignKey("cases.work_order", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("kind", String(16), nullable=False),
    Column("at", Moment, nullable=False),
    Column("by", Text, nullable=False),
    Column("line", LargeBinary, nullable=False),
)

REPAIRS: Final = Table(
    "case_repairs",
    METADATA,
    Column("work_order", ForeignKey("cases.work_order", ondelete="CASCADE"), primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("board_part", Text, nullable=False),
    Column("at", Moment, nullable=False),
    Column("what", Text, nullable=False),
    Column("part", Text, nullable=False),
    Column("replaced", Integer, nullable=False),
    Column("lot", Text, nullable=False),
    Column("fault", Text, nullable=False),
    Column("minutes", Integer, nullable=False),
    Column("cost", Integer, nullable=False),
)
"""What was done. `number`: of its entry. `board_part`: part number of the board."""
Index("ix_case_repairs_board_part_at", REPAIRS.c.board_part, REPAIRS.c.at)
