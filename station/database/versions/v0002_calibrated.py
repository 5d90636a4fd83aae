"""The second form: calibrations, check standards, matings and persons' decisions; sweeps of any number of ports.

Written down once and never changed again: databases made by it exist. So it calls nothing of the station.
"""

from __future__ import annotations

import struct
import zlib
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

ID = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
TIME = sa.DateTime(timezone=True)

_OLD_HEADER = struct.Struct("<2sBBI")
_NEW_HEADER = struct.Struct("<2sBBBI")
_CHECK = struct.Struct("<I")
_PORTS = 2


def upgrade() -> None:
    """Make the new tables, and give every old row what it lacks."""
    _standards()
    _cables()
    _calibrations()
    _resolutions()
    _orders()
    _runs()
    _sweeps()
    _certificates()


def _orders() -> None:
    """All orders so far were customers'."""
    op.add_column("work_order", sa.Column("kind", sa.Text(), nullable=True))
    op.execute("UPDATE work_order SET kind = 'production'")
    with op.batch_alter_table("work_order") as table:
        table.alter_column("kind", nullable=False)
        table.create_check_constraint("ck_work_order_kind", "kind IN ('production', 'reference')")
    with op.batch_alter_table("document") as table:
        table.drop_constraint("ck_document_kind", type_="check")
        table.create_check_constraint(
            "ck_document_kind", "kind IN ('recipe', 'limit table', 'bench', 'load', 'kit', 'known values')"
        )


def _runs() -> None:
    """No run so far was corrected by the station, or had its unit's temperature read twice."""
    op.add_column("run", sa.Column("temperature_end_c", sa.Double(), nullable=True))
    op.add_column("run", sa.Column("settled_since", TIME, nullable=True))
    op.add_column("run", sa.Column("calibration_id", ID, nullable=True))
    with op.batch_alter_table("run") as table:
        table.create_foreign_key("fk_run_calibration_id", "calibration", ["calibration_id"], ["id"])


def _sweeps() -> None:
    """All sweeps so far were of two ports, with their phases."""
    op.add_column("sweep", sa.Column("ports", sa.Text(), nullable=True))
    op.add_column("sweep", sa.Column("phase", sa.Boolean(), nullable=True))
    op.execute("UPDATE sweep SET ports = first_port || '-' || second_port, phase = true")
    _pack_anew()
    with op.batch_alter_table("sweep") as table:
        table.drop_constraint("ck_sweep_two_ports", type_="check")
        table.drop_column("first_port")
        table.drop_column("second_port")
        table.alter_column("ports", nullable=False)
        table.alter_column("phase", nullable=False)


def _pack_anew() -> None:
    """Sweep by sweep, since all of them may be more than a memory holds."""
    connection = op.get_bind()
    sweep = sa.table("sweep", sa.column("run_id"), sa.column("position"), sa.column("data", sa.LargeBinary()))
    for run_id, position in connection.execute(sa.select(sweep.c.run_id, sweep.c.position)).all():
        this = (sweep.c.run_id == run_id) & (sweep.c.position == position)
        old = connection.execute(sa.select(sweep.c.data).where(this)).scalar_one()
        connection.execute(sweep.update().where(this).values(data=with_ports(bytes(old))))


def with_ports(old: bytes) -> bytes:
    """A packed two-port sweep with the number of ports in its header: after the bytes per number.

    One that is damaged stays as it is: a new check sum would make it look sound.
    """
    body, check = old[: -_CHECK.size], old[-_CHECK.size :]
    if len(body) < _OLD_HEADER.size or check != _CHECK.pack(zlib.crc32(body)):
        return old
    mark, version, width, points = _OLD_HEADER.unpack_from(body)
    new = _NEW_HEADER.pack(mark, version, width, _PORTS, points) + body[_OLD_HEADER.size :]
    return new + _CHECK.pack(zlib.crc32(new))


def _certificates() -> None:
    """All certificates so far told of the measured verdict alone."""
    op.add_column("certificate", sa.Column("resolution", sa.Integer(), nullable=True))
    op.execute("UPDATE certificate SET resolution = 0")
    with op.batch_alter_table("certificate") as table:
        table.alter_column("resolution", nullable=False)


def _cables() -> None:
    """How often the cables of a bench were screwed on, and when they were serviced."""
    op.create_table(
        "cable_event",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("cable", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("matings", sa.Integer(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.CheckConstraint(
            "matings >= 0 AND (matings = 0) = (person <> '')", name="ck_cable_event_made_or_serviced"
        ),
        sa.PrimaryKeyConstraint("id", name="pk_cable_event"),
    )
    op.create_index("ix_cable_event_station_cable", "cable_event", ["station", "cable"])


def _standards() -> None:
    """What is known of check standards, beside their runs."""
    op.create_table(
        "standard_reset",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("unit_id", ID, nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(["unit_id"], ["unit.id"], name="fk_standard_reset_unit_id"),
        sa.PrimaryKeyConstraint("id", name="pk_standard_reset"),
    )
    op.create_index("ix_standard_reset_unit_id", "standard_reset", ["unit_id"])


def _of_calibration(name: str, *columns: sa.Column[Any] | sa.ForeignKeyConstraint) -> None:
    op.create_table(
        name,
        sa.Column("calibration_id", ID, autoincrement=False, nullable=False),
        sa.Column("position", sa.Integer(), autoincrement=False, nullable=False),
        *columns,
        sa.ForeignKeyConstraint(["calibration_id"], ["calibration.id"], name=f"fk_{name}_calibration_id"),
        sa.PrimaryKeyConstraint("calibration_id", "position", name=f"pk_{name}"),
    )


def _calibrations() -> None:
    """Calibrations of the bench, and what came of them."""
    op.create_table(
        "calibration",
        sa.Column("id", ID, sa.Identity(), nullable=False),
        sa.Column("station", sa.Text(), nullable=False),
        sa.Column("operator", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("valid_for_s", sa.Double(), nullable=False),
        sa.Column("analyzer", sa.Text(), nullable=False),
        sa.Column("temperature_c", sa.Double(), nullable=True),
        sa.Column("cables", sa.Text(), nullable=False),
        sa.Column("load_return_loss_db", sa.Double(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_calibration"),
    )
    op.create_index("ix_calibration_station", "calibration", ["station"])
    _of_calibration(
        "calibration_document",
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.ForeignKeyConstraint(["digest"], ["document.digest"], name="fk_calibration_document_digest"),
    )
    _of_calibration(
        "error_terms",
        sa.Column("hookups", sa.Text(), nullable=False),
        sa.Column("largest_step_hz", sa.Double(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.Column("leak", sa.LargeBinary(), nullable=False),
        sa.Column("match", sa.LargeBinary(), nullable=False),
        sa.Column("tracking", sa.LargeBinary(), nullable=False),
    )
    _of_calibration(
        "residual",
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("port", sa.Integer(), nullable=False),
        sa.Column("value_db", sa.Double(), nullable=False),
        sa.Column("at_hz", sa.Double(), nullable=False),
        sa.Column("turn_deg", sa.Double(), nullable=False),
    )
    _of_calibration(
        "noise",
        sa.Column("bandwidth_hz", sa.Double(), nullable=False),
        sa.Column("floor_dbm", sa.Double(), nullable=False),
        sa.Column("trace_db", sa.Double(), nullable=False),
        sa.Column("leakage_db", sa.Double(), nullable=True),
    )
    _of_calibration(
        "calibration_load",
        sa.Column("port", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
    )
    _of_calibration(
        "standard_sweep",
        sa.Column("standard", sa.Text(), nullable=False),
        sa.Column("test_ports", sa.Text(), nullable=False),
        sa.Column("use", sa.Text(), nullable=False),
        sa.Column("ports", sa.Text(), nullable=False),
        sa.Column("started", TIME, nullable=False),
        sa.Column("took_s", sa.Double(), nullable=False),
        sa.Column("bandwidth_hz", sa.Double(), nullable=False),
        sa.Column("averages", sa.Integer(), nullable=False),
        sa.Column("power_dbm", sa.Double(), nullable=False),
        sa.Column("points", sa.Integer(), nullable=False),
        sa.Column("phase", sa.Boolean(), nullable=False),
        sa.Column("data", sa.LargeBinary(), nullable=False),
    )


def _resolutions() -> None:
    """What persons decided of undecided runs."""
    op.create_table(
        "resolution",
        sa.Column("run_id", ID, autoincrement=False, nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("ruling", sa.Text(), nullable=False),
        sa.Column("person", sa.Text(), nullable=False),
        sa.Column("made", TIME, nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("corrects", sa.Integer(), nullable=True),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("signature", sa.LargeBinary(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.CheckConstraint("ruling IN ('release', 'reject')", name="ck_resolution_ruling"),
        sa.CheckConstraint("(number = 1) = (corrects IS NULL)", name="ck_resolution_later_corrects"),
        sa.ForeignKeyConstraint(["run_id"], ["run.id"], name="fk_resolution_run_id"),
        sa.PrimaryKeyConstraint("run_id", "number", name="pk_resolution"),
    )
