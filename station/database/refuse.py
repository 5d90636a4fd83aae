"""What the store does not take in, asked before anything is written. Each function only reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from limits.verdict import Outcome
from reports.resolution import Ruling
from station.database import resolutions, schema
from station.database.entries import CertificateEntry, CertificateKind, OrderKind, RunId, RunState
from station.errors import StoreFault, UserMistake
from station.orders import Serial, WorkOrder, serial_key

_STATE = sa.select(schema.run.c.state).where(schema.run.c.id == sa.bindparam("run_id")).with_for_update()
_SHOWN = 5
_AT_ONCE = 500
"""How many values one query may carry on every database."""


def known_orders(connection: Connection, orders: Sequence[WorkOrder]) -> None:
    """Raises UserMistake that names the orders and serials that come twice, or are there already."""
    said = [*_twice(orders), *_known(connection, orders)]
    if said:
        raise UserMistake(f"nothing was taken in: {'; '.join(said)}")


def ended(connection: Connection, run_id: RunId) -> None:
    """Raises StoreFault when the run is not running; holds its row against other writers."""
    if connection.execute(_STATE, {"run_id": run_id}).scalar_one_or_none() != RunState.RUNNING.value:
        raise not_running(run_id)


def not_running(run_id: RunId) -> StoreFault:
    """What is said when a run that has ended is to be added to."""
    return StoreFault(f"run {run_id} is not running any more, so nothing can be added to it; begin a new run")


def no_such_sweep(run_id: RunId, position: int) -> StoreFault:
    """What is said when a doubt is about a sweep that is not there, or was doubted before."""
    return StoreFault(f"run {run_id} has no sweep {position} that counts, so it cannot be doubted")


def unfit_certificate(connection: Connection, entry: CertificateEntry) -> None:
    """Raises StoreFault when it does not fit the run's outcome, UserMistake when there is one already.

    Holds the run's row against other writers.
    """
    run = schema.run.c
    query = sa.select(run.outcome).where(run.id == entry.run_id).with_for_update()
    outcome = connection.execute(query).scalar_one_or_none()
    kind = (
        sa.select(schema.work_order.c.kind)
        .join_from(schema.run, schema.unit)
        .join(schema.work_order)
        .where(run.id == entry.run_id)
    )
    if connection.execute(kind).scalar_one_or_none() == OrderKind.REFERENCE.value:
        raise StoreFault(f"no {entry.kind.value} can be of a check standard")
    last = next(reversed(resolutions.of_runs(connection, [entry.run_id]).get(entry.run_id, ())), None)
    if entry.resolution != (last.number if last else 0):
        raise StoreFault(f"{entry.number} tells of a decision that is not the last one about its run")
    passed = outcome == Outcome.PASS.value or (last is not None and last.ruling is Ruling.RELEASE)
    if outcome is None or passed is not (entry.kind is CertificateKind.CERTIFICATE):
        raise StoreFault(f"no {entry.kind.value} can be of a run that says {outcome or 'nothing'}")
    table = schema.certificate
    twin = (table.c.run_id == entry.run_id) & (table.c.resolution == entry.resolution)
    same = twin | (table.c.number == entry.number)
    there = connection.execute(sa.select(table).where(same).order_by(table.c.id).limit(1)).one_or_none()
    if there is None:
        return
    if there.run_id != entry.run_id:
        raise UserMistake(f"the number {entry.number} is taken already, by {there.file}; choose another")
    when = f"issued {there.issued:%Y-%m-%d}, {there.file}"
    raise UserMistake(f"the run has {there.kind} {there.number} already ({when}); use that one")


def _twice(orders: Sequence[WorkOrder]) -> Iterator[str]:
    numbers = [order.number for order in orders]
    serials = [serial for order in orders for serial in order.serials]
    last = {serial_key(serial): serial for serial in serials}
    for name, counted in (
        ("work order", Counter(numbers)),
        ("serial", Counter(last[serial_key(serial)] for serial in serials)),
    ):
        if words := [word for word, count in counted.items() if count > 1]:
            yield f"{_named(name, words)} {'comes' if len(words) == 1 else 'come'} twice; enter it once"


def _known(connection: Connection, orders: Sequence[WorkOrder]) -> Iterator[str]:
    work_order, unit = schema.work_order.c, schema.unit.c
    numbers = sa.select(work_order.number, work_order.number)
    known = sorted(_found(connection, numbers, work_order.number, [order.number for order in orders]))
    # The line of a known order goes as a whole, so its serials need not be told as well.
    new = {serial_key(each): each for order in orders if order.number not in known for each in order.serials}
    owners = sa.select(unit.serial_key, work_order.number).join_from(schema.unit, schema.work_order)
    taken = _found(connection, owners, unit.serial_key, list(new))
    if known:
        their = "its line" if len(known) == 1 else "their lines"
        yield f"{_named('work order', known)} {_are(known)} known already; remove {their} from the file"
    if taken:
        words = [f"{new[key]} (of work order {number})" for key, number in sorted(taken.items())]
        it = "it" if len(words) == 1 else "them"
        yield f"{_named('serial', words)} {_are(words)} known already; correct {it} in the file"


def _found(
    connection: Connection,
    query: sa.Select[Any],
    column: sa.Column[str],
    values: Sequence[str | Serial],
) -> dict[str, str]:
    """What the query says of those values that are there."""
    found: dict[str, str] = {}
    for start in range(0, len(values), _AT_ONCE):
        some = query.where(column.in_(values[start : start + _AT_ONCE]))
        found.update((row[0], row[1]) for row in connection.execute(some))
    return found


def _named(name: str, words: Sequence[str]) -> str:
    more = f" and {len(words) - _SHOWN} more" if len(words) > _SHOWN else ""
    return f"{name}{'' if len(words) == 1 else 's'} {', '.join(words[:_SHOWN])}{more}"


def _are(words: Sequence[str]) -> str:
    return "is" if len(words) == 1 else "are"
