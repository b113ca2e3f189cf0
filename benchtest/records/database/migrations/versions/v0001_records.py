"""The first tables: boards, runs, readings, equipment, certificates, and what waits to be delivered."""

import sqlalchemy as sa
from alembic import op

from benchtest.records.database.tables import Moment

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make them all."""
    _shared()
    _runs()
    _of_runs()


def _shared() -> None:
    op.create_table(
        "boards",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("serial", sa.String(length=64), nullable=False),
        sa.Column("part", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_boards"),
        sa.UniqueConstraint("serial", "part", name="uq_boards_serial_part"),
    )
    op.create_table(
        "checklists",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_checklists"),
        sa.UniqueConstraint("digest", name="uq_checklists_digest"),
    )
    op.create_table(
        "equipment",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_equipment"),
        sa.UniqueConstraint("digest", name="uq_equipment_digest"),
    )
    op.create_table(
        "instruments",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_instruments"),
        sa.UniqueConstraint("serial", "name", name="uq_instruments_serial_name"),
    )
    op.create_table(
        "calibrations",
        sa.Column("equipment_id", sa.Integer(), nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("instrument_id", sa.Integer(), nullable=False),
        sa.Column("certificate", sa.Text(), nullable=False),
        sa.Column("calibrated", sa.Text(), nullable=False),
        sa.Column("due", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["equipment_id"], ["equipment.id"], name="fk_calibrations_equipment_id_equipment"),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name="fk_calibrations_instrument_id_instruments"
        ),
        sa.PrimaryKeyConstraint("equipment_id", "position", name="pk_calibrations"),
    )
    op.create_index("ix_calibrations_instrument_id", "calibrations", ["instrument_id"])


def _runs() -> None:
    op.create_table(
        "runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("identity", sa.String(length=64), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("board_id", sa.Integer(), nullable=False),
        sa.Column("equipment_id", sa.Integer(), nullable=False),
        sa.Column("started", Moment(length=24), nullable=False),
        sa.Column("ended", Moment(length=24), nullable=False),
        sa.Column("offset_minutes", sa.Integer(), nullable=False),
        sa.Column("outcome", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("paper", sa.String(length=16), nullable=False),
        sa.Column("origin", sa.String(length=16), nullable=False),
        sa.Column("phase", sa.String(length=16), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("variant", sa.Text(), nullable=False),
        sa.Column("technician", sa.Text(), nullable=False),
        sa.Column("work_order", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("profile", sa.Text(), nullable=False),
        sa.Column("profile_digest", sa.String(length=64), nullable=False),
        sa.Column("fixture", sa.Text(), nullable=False),
        sa.Column("fixture_digest", sa.String(length=64), nullable=False),
        sa.Column("bench", sa.Text(), nullable=False),
        sa.Column("place", sa.Text(), nullable=False),
        sa.Column("software", sa.Text(), nullable=False),
        sa.Column("folder", sa.Text(), nullable=False),
        sa.Column("run_digest", sa.String(length=64), nullable=False),
        sa.Column("journal_head", sa.String(length=64), nullable=False),
        sa.Column("resumed", sa.Integer(), nullable=False),
        sa.Column("checks", sa.Integer(), nullable=False),
        sa.Column("not_tested", sa.Integer(), nullable=False),
        sa.Column("simulated_faults", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["board_id"], ["boards.id"], name="fk_runs_board_id_boards"),
        sa.ForeignKeyConstraint(["equipment_id"], ["equipment.id"], name="fk_runs_equipment_id_equipment"),
        sa.PrimaryKeyConstraint("id", name="pk_runs"),
        sa.UniqueConstraint("identity", name="uq_runs_identity"),
    )
    op.create_index("ix_runs_board_id_started", "runs", ["board_id", "started"])
    op.create_index(
        "ix_runs_customer",
        "runs",
        ["customer"],
        sqlite_where=sa.text("customer != ''"),
        postgresql_where=sa.text("customer != ''"),
    )
    op.create_index("ix_runs_equipment_id_started", "runs", ["equipment_id", "started"])
    op.create_index("ix_runs_number", "runs", ["number"])
    op.create_index("ix_runs_started", "runs", ["started"])
    op.create_index(
        "ix_runs_work_order",
        "runs",
        ["work_order"],
        sqlite_where=sa.text("work_order != ''"),
        postgresql_where=sa.text("work_order != ''"),
    )


def _of_runs() -> None:
    op.create_table(
        "certificate_changes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(length=32), nullable=False),
        sa.Column("status", sa.String(length=16), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", Moment(length=24), nullable=False),
        sa.Column("replaced_by", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_certificate_changes_run_id_runs", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id", name="pk_certificate_changes"),
        sa.UniqueConstraint("key", name="uq_certificate_changes_key"),
    )
    op.create_index("ix_certificate_changes_run_id", "certificate_changes", ["run_id"])
    op.create_table(
        "findings",
        sa.Column("run_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("check_id", sa.Text(), nullable=False),
        sa.Column("verdict", sa.String(length=16), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("word", sa.Text(), nullable=True),
        sa.Column("uncertainty", sa.Float(), nullable=True),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_findings_run_id_runs", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("run_id", "position", name="pk_findings"),
    )
    op.create_index("ix_findings_check_id", "findings", ["check_id"])
    op.create_table(
        "outbox",
        sa.Column("run_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("queued", Moment(length=24), nullable=False),
        sa.Column("news", sa.Integer(), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("problem", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_outbox_run_id_runs", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("run_id", name="pk_outbox"),
    )
    op.create_table(
        "readings",
        sa.Column("run_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("checklist_id", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["checklist_id"], ["checklists.id"], name="fk_readings_checklist_id_checklists"),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_readings_run_id_runs", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("run_id", name="pk_readings"),
    )
    op.create_index("ix_readings_checklist_id", "readings", ["checklist_id"])
    op.create_table(
        "suspects",
        sa.Column("run_id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("rank", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("faults", sa.Text(), nullable=False),
        sa.Column("sentence", sa.Text(), nullable=False),
        sa.Column("probability", sa.Float(), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["runs.id"], name="fk_suspects_run_id_runs", ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("run_id", "rank", name="pk_suspects"),
    )
