"""Check standards in the store: their runs are kept as any unit's, under an order that is no customer's.

Here is only what a unit has not: a history over all its runs, and the days on which it began anew. Each function gets
an open connection inside a transaction that the store owns.
"""

from __future__ import annotations

import re
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from limits.verdict import Level, Outcome
from reports.record import CheckNote
from station.database import read, schema, write
from station.database.entries import CheckedValue, OrderKind, RunLine, RunState, StandardReset
from station.errors import UserMistake
from station.orders import WorkOrder, serial_key


def enter(connection: Connection, standard: WorkOrder) -> int | None:
    """Enter a standard unless it is there already; the number of its order where it is new.

    Raises UserMistake when a customer's unit has its serial.
    """
    (serial,) = standard.serials
    query = (
        sa.select(schema.work_order.c.number, schema.work_order.c.kind)
        .join_from(schema.unit, schema.work_order)
        .where(schema.unit.c.serial_key == serial_key(serial))
    )
    there = connection.execute(query).one_or_none()
    if there is None:
        return write.add_order(connection, standard, OrderKind.REFERENCE)
    if there.kind != OrderKind.REFERENCE.value:
        raise UserMistake(
            f"{serial} is a unit of work order {there.number}; give the check standard a serial of its own"
        )
    return None


def runs(connection: Connection, serial: str, station: str, latest: int) -> tuple[RunLine, ...]:
    """So many of the latest of its runs at one station, the first one first."""
    run = schema.run.c
    chosen = sa.select(run.id).where(*_here(connection, serial, station))
    return read.lines(connection, chosen.order_by(run.id.desc()).limit(latest))


def runs_since_accepted(connection: Connection, serial: str, station: str) -> tuple[RunLine, ...]:
    """Its runs at one station from the last one that was accepted, or from the first where none was."""
    run, here = schema.run.c, _here(connection, serial, station)
    last = sa.select(sa.func.max(run.id)).where(*here, run.outcome == Outcome.PASS.value).scalar_subquery()
    return read.lines(connection, sa.select(run.id).where(*here, run.id >= sa.func.coalesce(last, 0)))


def count(connection: Connection, serial: str, station: str) -> int:
    """How many runs it has at one station."""
    query = sa.select(sa.func.count(schema.run.c.id)).where(*_here(connection, serial, station))
    return int(connection.execute(query).scalar_one())


def _here(connection: Connection, serial: str, station: str) -> tuple[sa.ColumnElement[bool], ...]:
    run = schema.run.c
    return run.unit_id == _unit_id(connection, serial), run.station == station


def values(
    connection: Connection, serial: str, station: str, latest: int, outcome: Outcome | None
) -> tuple[CheckedValue, ...]:
    """Every reading of so many of its latest judged runs at one station, or of those with an outcome, in order."""
    run, reading, decision = schema.run.c, schema.reading.c, schema.decision.c
    own = (
        (decision.run_id == reading.run_id)
        & (decision.reading == reading.position)
        & (decision.level == Level.WORKS.value)
    )
    chosen = sa.select(run.id).where(*_here(connection, serial, station), run.state == RunState.JUDGED.value)
    if outcome is not None:
        chosen = chosen.where(run.outcome == outcome.value)
    query = (
        sa.select(run.run_number, run.started, run.outcome, schema.reading, decision.lines)
        .join_from(schema.run, schema.reading, reading.run_id == run.id)
        .join(schema.decision, own, isouter=True)
        .where(run.id.in_(chosen.order_by(run.id.desc()).limit(latest)))
        .order_by(run.id, reading.position)
    )
    return tuple(
        CheckedValue(
            run_number=row.run_number,
            started=row.started,
            outcome=Outcome(row.outcome),
            reading=read.reading_of(row),
            own=_ends(row.lines),
        )
        for row in connection.execute(query)
    )


def last_before(connection: Connection, serial: str, station: str, moment: datetime) -> CheckNote | None:
    """Its last judged run at one station that began before a moment, with what it was judged by."""
    run = schema.run.c
    readings = sa.select(sa.func.count()).where(schema.reading.c.run_id == run.id).scalar_subquery()
    query = (
        sa.select(
            schema.unit.c.serial, run.started, run.outcome, schema.document.c.text, readings.label("judged")
        )
        .join_from(schema.run, schema.unit)
        .join(schema.document, schema.document.c.digest == run.limits_digest)
        .where(
            schema.unit.c.serial_key == serial_key(serial),
            run.station == station,
            run.state == RunState.JUDGED.value,
            run.started < moment,
        )
        .order_by(run.started.desc(), run.id.desc())
        .limit(1)
    )
    row = connection.execute(query).one_or_none()
    if row is None:
        return None
    return CheckNote(row.serial, _certificate(row.text), row.started, Outcome(row.outcome), row.judged)


def _certificate(known_values: str) -> str:
    """By what the values of a standard are known, as their file says it (see limits.known)."""
    found = re.search(r"^certificate:\s*(.*?)\s*$", known_values, re.MULTILINE)
    return found[1] if found else ""


def keep_reset(connection: Connection, serial: str, reset: StandardReset) -> int:
    """Note that its history begins anew; the number of that note.

    Raises UserMistake when the standard is not known.
    """
    row = {
        "unit_id": read.unit_row(connection, serial).id,
        "made": reset.made,
        "person": reset.person,
        "why": reset.why,
    }
    return write.insert(connection, schema.standard_reset, row)


def resets(connection: Connection, serial: str) -> tuple[StandardReset, ...]:
    """When its history began anew, the oldest first."""
    table = schema.standard_reset
    unit_id = _unit_id(connection, serial)
    rows = connection.execute(sa.select(table).where(table.c.unit_id == unit_id).order_by(table.c.id))
    return tuple(StandardReset(row.made, row.person, row.why) for row in rows)


def _unit_id(connection: Connection, serial: str) -> int | None:
    table = schema.unit.c
    return connection.execute(
        sa.select(table.id).where(table.serial_key == serial_key(serial))
    ).scalar_one_or_none()


def _ends(lines: list[tuple[list[float], list[float], str]] | None) -> tuple[float, float] | None:
    """Lowest and highest of the control limits that are kept with a decision."""
    return (min(lines[0][1]), max(lines[0][1])) if lines else None
