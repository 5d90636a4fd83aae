"""What persons decided about units, in the store: only ever added to. Each function gets an open connection inside a
transaction that the store owns.
"""

from __future__ import annotations

from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from station.database import disposition, read, schema, write
from station.database.disposition import Disposition, Fate
from station.database.entries import RunId


def of_unit(connection: Connection, serial: str) -> tuple[Disposition, ...]:
    """All of a unit, the first one first. Raises UserMistake when nobody ordered the unit."""
    unit = read.unit_row(connection, serial)
    table = schema.disposition
    query = sa.select(table).where(table.c.unit_id == unit.id).order_by(table.c.number)
    return tuple(
        Disposition(row.number, Fate(row.fate), row.person, row.made, row.why, row.after_run, row.corrects)
        for row in connection.execute(query)
    )


def refuse_resolution(connection: Connection, run_id: RunId) -> None:
    """Raises UserMistake where what a run says of its unit counts no more, so that nobody need decide it."""
    query = (
        sa.select(schema.unit.c.serial, schema.run.c.run_number)
        .join_from(schema.run, schema.unit)
        .where(schema.run.c.id == run_id)
    )
    run = connection.execute(query).one()
    disposition.refuse_outdated(
        run.serial, of_unit(connection, run.serial), run.run_number, "nothing of it is left to resolve"
    )


def insert(
    connection: Connection,
    serial: str,
    fate: Fate,
    person: str,
    made: datetime,
    why: str,
    corrects: int | None,
) -> int:
    """Keep one more; its number in the database. Raises UserMistake where it may not be decided so."""
    unit = read.unit_row(connection, serial, hold=True)
    there, runs = of_unit(connection, serial), read.runs(connection, serial)
    disposition.refuse(unit.serial, there, runs, fate, corrects)
    row = {
        "unit_id": unit.id,
        "number": len(there) + 1,
        "fate": fate.value,
        "person": person,
        "made": made,
        "why": why,
        "after_run": runs[-1].run_number if runs else 0,
        "corrects": corrects,
    }
    return write.insert(connection, schema.disposition, row)
