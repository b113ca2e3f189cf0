"""The depot: cases, their entries, what was done to boards."""

import sqlalchemy as sa
from alembic import op

from benchtest.records.database.tables import Moment

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Make the tables of the depot."""
    _cases()
    _entries()
    _repairs()


def _cases() -> None:
    op.create_table(
        "cases",
        sa.Column("work_order", sa.String(length=64), nullable=False),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("serial_stated", sa.Text(), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("rma", sa.Text(), nullable=False),
        sa.Column("complaint", sa.String(length=24), nullable=False),
        sa.Column("state", sa.String(length=32), nullable=False),
        sa.Column("open", sa.Integer(), nullable=False),
        sa.Column("received", Moment(), nullable=False),
        sa.Column("back_after", sa.Integer(), nullable=True),
        sa.Column("released", Moment(), nullable=True),
        sa.Column("closed", Moment(), nullable=True),
        sa.Column("stay", sa.Integer(), nullable=True),
        sa.Column("found", sa.String(length=16), nullable=False),
        sa.Column("first_left", sa.String(length=16), nullable=False),
        sa.Column("last_left", sa.String(length=16), nullable=False),
        sa.Column("profile", sa.Text(), nullable=False),
        sa.Column("profile_digest", sa.String(length=64), nullable=False),
        sa.Column("repairs", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("cost", sa.Integer(), nullable=False),
        sa.Column("cost_limit", sa.Integer(), nullable=True),
        sa.Column("entries", sa.Integer(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("contact", sa.Text(), nullable=False),
        sa.Column("words", sa.Text(), nullable=False),
        sa.Column("photos", sa.Integer(), nullable=False),
        sa.Column("erased", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["board_id"], ["boards.id"], name="fk_cases_board_id_boards"),
        sa.PrimaryKeyConstraint("work_order", name="pk_cases"),
    )
    op.create_index("ix_cases_back_after", "cases", ["back_after"])
    op.create_index("ix_cases_board_id_received", "cases", ["board_id", "received"])
    op.create_index("ix_cases_closed", "cases", ["closed"])
    op.create_index(
        "ix_cases_customer",
        "cases",
        ["customer"],
        sqlite_where=sa.text("customer != ''"),
        postgresql_where=sa.text("customer != ''"),
    )
    op.create_index("ix_cases_received", "cases", ["received"])
    op.create_index("ix_cases_stays", "cases", ["part", "stay", "closed"])
    op.create_index(
        "ix_cases_without_finding",
        "cases",
        ["board_id", "closed"],
        sqlite_where=sa.text("found = 'pass' AND repairs = 0"),
        postgresql_where=sa.text("found = 'pass' AND repairs = 0"),
    )
    op.create_index(
        "uq_cases_board_id_open",
        "cases",
        ["board_id"],
        unique=True,
        sqlite_where=sa.text("open = 1"),
        postgresql_where=sa.text("open = 1"),
    )


def _entries() -> None:
    op.create_table(
        "case_entries",
        sa.Column("work_order", sa.String(length=64), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.String(length=16), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("line", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["work_order"], ["cases.work_order"], name="fk_case_entries_work_order_cases", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("work_order", "number", name="pk_case_entries"),
    )


def _repairs() -> None:
    op.create_table(
        "case_repairs",
        sa.Column("work_order", sa.String(length=64), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("board_part", sa.Text(), nullable=False),
        sa.Column("at", Moment(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.Column("replaced", sa.Integer(), nullable=False),
        sa.Column("lot", sa.Text(), nullable=False),
        sa.Column("fault", sa.Text(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("cost", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["work_order"], ["cases.work_order"], name="fk_case_repairs_work_order_cases", ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("work_order", "number", name="pk_case_repairs"),
    )
    op.create_index("ix_case_repairs_board_part_at", "case_repairs", ["board_part", "at"])
    op.create_index("ix_runs_figures", "runs", ["started", "outcome", "phase", "origin", "board_id"])
