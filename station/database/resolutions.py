"""What persons decided of undecided runs. Each function gets an open connection inside a transaction that the store
owns.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from limits.verdict import Outcome
from reports.resolution import Resolution, Ruling
from station.database import schema
from station.database.entries import OrderKind, RunId, RunState
from station.errors import UserMistake


def of_runs(
    connection: Connection, run_ids: Iterable[int] | sa.Select[Any]
) -> dict[int, tuple[Resolution, ...]]:
    """Those of each of these runs that has any, the first one first."""
    table = schema.resolution
    query = sa.select(table).where(table.c.run_id.in_(run_ids)).order_by(table.c.run_id, table.c.number)
    found: dict[int, tuple[Resolution, ...]] = {}
    for row in connection.execute(query):
        found[row.run_id] = (*found.get(row.run_id, ()), _resolution(row))
    return found


def refuse(connection: Connection, run_id: RunId, corrects: int | None) -> None:
    """Raises UserMistake where nobody may decide this run, or not again. Holds its unit against other writers."""
    run = _run(connection, run_id)
    name = f"run {run.run_number} of {run.serial}"
    if run.kind == OrderKind.REFERENCE.value:
        raise UserMistake(f"{name} is of a check standard, about which no person decides; measure it again")
    if run.state != RunState.JUDGED.value:
        why = f"{run.state}: {run.why}" if run.why else run.state
        raise UserMistake(
            f"{name} has no verdict ({why}), so there is nothing to resolve; test the unit again"
        )
    if run.outcome != Outcome.UNDECIDED.value:
        raise UserMistake(f"{name} says {run.outcome}; a person decides only what is undecided")
    if (later := _judged_after(connection, run)) is not None:
        what = f"was overtaken by run {later.run_number}, which says {later.outcome}"
        raise UserMistake(f"{name} {what}; only the latest verdict counts")
    _refuse_again(name, of_runs(connection, [run_id]).get(run_id, ()), corrects)


def insert(connection: Connection, run_id: RunId, resolution: Resolution) -> None:
    """Keep one more."""
    row = {
        "run_id": run_id,
        "number": resolution.number,
        "ruling": resolution.ruling.value,
        "person": resolution.person,
        "made": resolution.made,
        "why": resolution.why,
        "corrects": resolution.corrects,
        "text": resolution.text,
        "signature": resolution.signature,
        "fingerprint": resolution.fingerprint,
    }
    connection.execute(schema.resolution.insert(), row)


def _refuse_again(name: str, there: tuple[Resolution, ...], corrects: int | None) -> None:
    if not there:
        if corrects is not None:
            raise UserMistake(f"{name} has no resolution {corrects} to correct; leave out --corrects")
        return
    last = there[-1]
    if corrects is None:
        raise UserMistake(
            f"{name} was {last.sentence} already; to correct that, add --corrects {last.number}"
        )
    if corrects != last.number:
        raise UserMistake(
            f"{name}: resolution {corrects} is not the one that counts; "
            f"it was {last.sentence}, --corrects {last.number}"
        )


def _run(connection: Connection, run_id: RunId) -> Row[Any]:
    query = (
        sa.select(schema.run, schema.unit.c.serial, schema.work_order.c.kind)
        .join_from(schema.run, schema.unit)
        .join(schema.work_order)
        .where(schema.run.c.id == run_id)
        # A run of the same unit cannot begin meanwhile: that holds the unit's row too.
        .with_for_update()
    )
    return connection.execute(query).one()


def _judged_after(connection: Connection, run: Row[Any]) -> Row[Any] | None:
    table = schema.run
    later = (table.c.unit_id == run.unit_id) & (table.c.run_number > run.run_number)
    query: sa.Select[Any] = (
        sa.select(table.c.run_number, table.c.outcome)
        .where(later, table.c.state == RunState.JUDGED.value)
        .order_by(table.c.run_number.desc())
        .limit(1)
    )
    return connection.execute(query).one_or_none()


def _resolution(row: Row[Any]) -> Resolution:
    return Resolution(
        number=row.number,
        ruling=Ruling(row.ruling),
        person=row.person,
        made=row.made,
        why=row.why,
        corrects=row.corrects,
        text=row.text,
        signature=row.signature,
        fingerprint=row.fingerprint,
    )
