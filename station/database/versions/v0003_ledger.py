"""The third form: the ledger, the works' people and what they did.

Written down once and never changed again after its release: databases made by it exist. So it calls nothing of the
station. Records that are there already are entered into the ledger right after it by `sealing`, in the same
transaction.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TIME = sa.DateTime(timezone=True)


def upgrade() -> None:
    """Make the new tables."""
    _people()
    _approvals()
    _dispositions()
    _ledger()
    _runs()


def _people() -> None:
    """Nobody was registered so far."""
    op.create_table(
        "person_event",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("change", sa.Text(), nullable=False),
        sa.Column("roles", sa.Text(), nullable=False),
        sa.Column("badge", sa.Text(), nullable=False),
        sa.Column("secret_sha256", sa.String(length=64), nullable=True),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.CheckConstraint(
            "change IN ('added', 'changed', 'pin set', 'retired')", name="ck_person_event_change"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_person_event"),
        sa.UniqueConstraint("name_key", "number", name="uq_person_event_name_key_number"),
    )
    op.create_table(
        "person_secret",
        sa.Column("event_id", ID, autoincrement=False, nullable=False),
        sa.Column("secret", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["event_id"], ["person_event.id"], name="fk_person_secret_event_id"),
        sa.PrimaryKeyConstraint("event_id", name="pk_person_secret"),
    )
    op.create_table(
        "act",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("name_key", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("act", sa.Text(), nullable=True),
        sa.Column("about", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("answer", sa.Text(), nullable=False),
        sa.CheckConstraint("answer IN ('allowed', 'no right', 'wrong name or PIN')", name="ck_act_answer"),
        sa.PrimaryKeyConstraint("id", name="pk_act"),
    )
    op.create_index("ix_act_name_key", "act", ["name_key"])


def _ledger() -> None:
    """One line for each record, and the signed ends of what was entered up to then."""
    op.create_table(
        "ledger_entry",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("late", sa.Text(), nullable=False),
        sa.Column("content", sa.String(length=64), nullable=False),
        sa.Column("link", sa.String(length=64), nullable=False),
        sa.Column("row", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("station", "number", name="pk_ledger_entry"),
    )
    op.create_index("ix_ledger_entry_kind_row", "ledger_entry", ["kind", "row"])
    op.create_index("ix_ledger_entry_key", "ledger_entry", ["key"])
    op.create_table(
        "ledger_head",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("link", sa.String(length=64), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("signature", sa.LargeBinary(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("station", "number", name="pk_ledger_head"),
    )
    op.create_table(
        "ledger_aside",
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("content", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("station", "number", name="pk_ledger_aside"),
    )


def _runs() -> None:
    """Stations number apart from each other; in the works' database their runs come together.

    Nobody said so far why a unit was tested again.
    """
    with op.batch_alter_table("run") as table:
        table.drop_constraint("uq_run_unit_id_run_number", type_="unique")
        table.create_unique_constraint(
            "uq_run_unit_id_station_run_number", ["unit_id", "station", "run_number"]
        )
        for name in ("retest_code", "retest_means", "retest_why"):
            table.add_column(sa.Column(name, sa.Text(), nullable=True))


def _approvals() -> None:
    """Nothing was approved so far."""
    op.create_table(
        "approval",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('recipe', 'limit table')", name="ck_approval_kind"),
        sa.ForeignKeyConstraint(["digest"], ["document.digest"], name="fk_approval_digest"),
        sa.PrimaryKeyConstraint("id", name="pk_approval"),
        sa.UniqueConstraint("kind", "name", "number", name="uq_approval_kind_name_number"),
    )


def _dispositions() -> None:
    """Nothing was decided about units so far but what their runs left undecided."""
    op.create_table(
        "disposition",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("unit_id", ID, nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("fate", sa.Text(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("after_run", sa.Integer(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.CheckConstraint("fate IN ('release', 'rework', 'scrap')", name="ck_disposition_fate"),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name="fk_disposition_unit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_disposition"),
        sa.UniqueConstraint("unit_id", "number", name="uq_disposition_unit_id_number"),
    )
