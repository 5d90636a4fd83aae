"""What the units of a model read, each in its latest judged run. The function gets an open connection."""

from __future__ import annotations

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from limits.population import UnitReading
from limits.quantity import Channels
from station.database import read, schema
from station.database.entries import OrderKind, RunState


def latest_readings(connection: Connection, model: str) -> tuple[UnitReading, ...]:
    """Every reading of the latest judged run of each unit, in the order of testing; check standards are none.

    Each characteristic comes once for each unit: as it was measured, not with the notes of its decisions; of a mask
    the worst point of the first level.
    """
    run, order, unit = schema.run.c, schema.work_order.c, schema.unit.c
    latest = (
        sa.select(sa.func.max(run.id))
        .join_from(schema.run, schema.unit)
        .join(schema.work_order)
        .where(
            order.model == model,
            order.kind == OrderKind.PRODUCTION.value,
            run.state == RunState.JUDGED.value,
        )
        .group_by(run.unit_id)
    )
    query = (
        sa.select(schema.reading, unit.serial, order.tx_hz, order.rx_hz)
        .join_from(schema.reading, schema.run)
        .join(schema.unit)
        .join(schema.work_order)
        .where(run.id.in_(latest))
        .order_by(run.id, schema.reading.c.position)
    )
    found: dict[tuple[str, str], UnitReading] = {}
    for row in connection.execute(query):
        unit_reading = UnitReading(row.serial, Channels(row.tx_hz, row.rx_hz), read.reading_of(row))
        found.setdefault((row.serial, row.name), unit_reading)
    return tuple(found.values())
