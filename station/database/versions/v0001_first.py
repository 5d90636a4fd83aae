"""The first form: orders and units, runs with their sweeps, readings and decisions, certificates.

Written down once and never changed again: databases made by it exist.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TIME = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Make every table."""
    _orders()
    _runs()
    _results()


def _orders() -> None:
    """What is to be tested, and the files it is tested by."""
    op.create_table(
        "work_order",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("customer", sa.Text(), nullable=False),
        sa.Column("model", sa.Text(), nullable=False),
        sa.Column("tx_hz", sa.Double(), nullable=False),
        sa.Column("rx_hz", sa.Double(), nullable=False),
        sa.Column("due", sa.Date(), nullable=False),
        sa.CheckConstraint("tx_hz > 0 AND rx_hz > 0 AND tx_hz <> rx_hz", name="ck_work_order_channels"),
        sa.PrimaryKeyConstraint("id", name="pk_work_order"),
        sa.UniqueConstraint("number", name="uq_work_order_number"),
    )
    op.create_table(
        "unit",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("order_id", ID, nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("serial", sa.Text(), nullable=False),
        sa.Column("serial_key", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["order_id"], ["work_order.id"], name="fk_unit_order_id"),
        sa.PrimaryKeyConstraint("id", name="pk_unit"),
        sa.UniqueConstraint("order_id", "position", name="uq_unit_order_id_position"),
        sa.UniqueConstraint("serial_key", name="uq_unit_serial_key"),
    )
    op.create_table(
        "document",
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("revision", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('recipe', 'limit table', 'bench', 'load')", name="ck_document_kind"),
        sa.PrimaryKeyConstraint("digest", name="pk_document"),
    )


def _runs() -> None:
    """What was measured, and with what."""
    op.create_table(
        "run",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("unit_id", ID, nullable=False),
        sa.Column("run_number", sa.Integer(), nullable=False),
        sa.Column("operator", sa.Text(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("started", TIME, nullable=False),
        sa.Column("finished", TIME, nullable=True),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=True),
        sa.Column("temperature_c", sa.Double(), nullable=True),
        sa.Column("recipe_digest", sa.String(length=64), nullable=False),
        sa.Column("limits_digest", sa.String(length=64), nullable=False),
        sa.Column("bench_digest", sa.String(length=64), nullable=False),
        sa.CheckConstraint("(state = 'judged') = (outcome IS NOT NULL)", name="ck_run_judged_has_outcome"),
        sa.CheckConstraint("(state = 'running') = (finished IS NULL)", name="ck_run_ended_has_time"),
        sa.CheckConstraint("outcome IN ('pass', 'fail', 'undecided')", name="ck_run_outcome"),
        sa.CheckConstraint("state IN ('running', 'judged', 'station fault', 'stopped')", name="ck_run_state"),
        sa.ForeignKeyConstraint(["bench_digest"], ["document.digest"], name="fk_run_bench_digest"),
        sa.ForeignKeyConstraint(["limits_digest"], ["document.digest"], name="fk_run_limits_digest"),
        sa.ForeignKeyConstraint(["recipe_digest"], ["document.digest"], name="fk_run_recipe_digest"),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name="fk_run_unit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_run"),
        sa.UniqueConstraint("unit_id", "run_number", name="uq_run_unit_id_run_number"),
    )
    op.create_table(
        "instrument",
        sa.Column("run_id", ID, autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("identity", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_instrument_run_id"),
        sa.PrimaryKeyConstraint("run_id", "position", name="pk_instrument"),
    )
    op.create_table(
        "load",
        sa.Column("run_id", ID, autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("port", sa.Text(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["digest"], ["document.digest"], name="fk_load_digest"),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_load_run_id"),
        sa.PrimaryKeyConstraint("run_id", "position", name="pk_load"),
    )
    op.create_table(
        "sweep",
        sa.Column("run_id", ID, autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("first_port", sa.Text(), nullable=False),
        sa.Column("second_port", sa.Text(), nullable=False),
        sa.Column("started", TIME, nullable=False),
        sa.Column("took_s", sa.Double(), nullable=False),
        sa.Column("bandwidth_hz", sa.Double(), nullable=False),
        sa.Column("averages", sa.Integer(), nullable=False),
        sa.Column("power_dbm", sa.Double(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
        sa.Column("doubt", sa.Text(), nullable=False),
        sa.CheckConstraint("first_port <> second_port", name="ck_sweep_two_ports"),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_sweep_run_id"),
        sa.PrimaryKeyConstraint("run_id", "position", name="pk_sweep"),
    )


def _results() -> None:
    """What came of it."""
    op.create_table(
        "reading",
        sa.Column("run_id", ID, autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("title", sa.Text(), nullable=False),
        sa.Column("unit", sa.Text(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("u", sa.Double(), nullable=True),
        sa.Column("at_hz", sa.Double(), nullable=True),
        sa.Column("span_low_hz", sa.Double(), nullable=True),
        sa.Column("span_high_hz", sa.Double(), nullable=True),
        sa.Column("trace", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("claim", sa.Text(), nullable=False),
        sa.CheckConstraint("claim IN ('value', 'at least')", name="ck_reading_claim"),
        sa.CheckConstraint("(span_low_hz IS NULL) = (span_high_hz IS NULL)", name="ck_reading_whole_span"),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_reading_run_id"),
        sa.PrimaryKeyConstraint("run_id", "position", name="pk_reading"),
    )
    op.create_index("ix_reading_name", "reading", ["name"])
    op.create_table(
        "decision",
        sa.Column("run_id", ID, autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("reading", sa.Integer(), nullable=False),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("limit_text", sa.Text(), nullable=False),
        sa.Column("rule", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.Column("margin", sa.Double(), nullable=True),
        sa.Column("lines", sa.JSON(), nullable=False),
        sa.CheckConstraint("level IN ('specification', 'works limit')", name="ck_decision_level"),
        sa.CheckConstraint("outcome IN ('pass', 'fail', 'undecided')", name="ck_decision_outcome"),
        sa.ForeignKeyConstraint(
            ["run_id", "reading"], ["reading.run_id", "reading.position"], name="fk_decision_run_id_reading"
        ),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_decision_run_id"),
        sa.PrimaryKeyConstraint("run_id", "position", name="pk_decision"),
    )
    op.create_table(
        "certificate",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("run_id", ID, nullable=False),
        sa.Column("number", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("issued", TIME, nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("file", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('certificate', 'failure sheet')", name="ck_certificate_kind"),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_certificate_run_id"),
        sa.PrimaryKeyConstraint("id", name="pk_certificate"),
        sa.UniqueConstraint("number", name="uq_certificate_number"),
    )
    op.create_index("ix_certificate_run_id", "certificate", ["run_id"])
