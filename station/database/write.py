"""Values to rows. Each function gets an open connection inside a transaction that the store owns."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection

from limits.reading import Reading
from limits.verdict import Decision, Outcome, Verdict
from station.database import refuse, schema, sweep_codec
from station.database.entries import (
    Because,
    CertificateEntry,
    OrderKind,
    RunHead,
    RunId,
    RunState,
    StoredText,
)
from station.database.gather import Key
from station.errors import StoreFault
from station.measurements.sweep import Sweep
from station.orders import Serial, WorkOrder, serial_key

Values = dict[str, Any]

# Statements that every unit needs several times are built once: building one takes five times as long as to carry it
# out, and SQLAlchemy would compare each new one with those it knows.
_HIGHEST_RUN = sa.select(sa.func.max(schema.run.c.run_number)).where(
    schema.run.c.unit_id == sa.bindparam("unit_id")
)
_SWEEPS = (
    sa.select(sa.func.count())
    .select_from(schema.sweep)
    .where(schema.sweep.c.run_id == sa.bindparam("run_id"))
)
_END = (
    schema.run.update()
    .where(schema.run.c.id == sa.bindparam("run_id"), schema.run.c.state == RunState.RUNNING.value)
    .values({name: sa.bindparam(name) for name in ("state", "why", "finished", "outcome")})
)


@cache
def _into(table: sa.Table) -> sa.Insert:
    return table.insert()


def add_order(connection: Connection, order: WorkOrder, kind: OrderKind = OrderKind.PRODUCTION) -> int:
    """Keep one order and its units; its number in the database."""
    row = {
        "number": order.number,
        "customer": order.customer,
        "model": order.model,
        "tx_hz": order.tx_hz,
        "rx_hz": order.rx_hz,
        "due": order.due,
        "kind": kind.value,
    }
    order_id = insert(connection, schema.work_order, row)
    units = [_unit_row(order_id, place, serial) for place, serial in enumerate(order.serials)]
    if units:
        connection.execute(schema.unit.insert(), units)
    return order_id


def keep_texts(connection: Connection, texts: Iterable[StoredText]) -> list[tuple[str, Key]]:
    """Keep each text, unless one of the same digest is there already; which records are new."""
    # The one statement that SQL leaves to each database; both spell it alike.
    insert: Any = {"sqlite": sqlite.insert, "postgresql": postgresql.insert}[connection.dialect.name]
    rows = [
        {
            "digest": text.digest,
            "kind": text.kind.value,
            "name": text.name,
            "revision": text.revision,
            "text": text.text,
        }
        for text in texts
    ]
    column = schema.document.c.digest
    query = sa.select(column).where(column.in_([row["digest"] for row in rows]))
    there = set(connection.execute(query).scalars())
    new = {row["digest"]: row for row in rows if row["digest"] not in there}
    if not new:
        return []
    # Another program may be keeping the same file just now: whoever is first enters it.
    added = insert(schema.document).on_conflict_do_nothing().returning(column)
    kept = connection.execute(added, list(new.values())).scalars()
    return [("document", (digest,)) for digest in sorted(kept)]


def next_run_number(connection: Connection, unit_id: int) -> int:
    """1 for a unit's first run. The unit's row must be held, or two runs would get the same one."""
    return int(connection.execute(_HIGHEST_RUN, {"unit_id": unit_id}).scalar_one() or 0) + 1


def insert_run(connection: Connection, head: RunHead, unit_id: int, number: int) -> RunId:
    """Enter a run that has begun, and what it measures with."""
    row = {
        "unit_id": unit_id,
        "run_number": number,
        "operator": head.operator,
        "station": head.station,
        "started": head.started,
        "state": RunState.RUNNING.value,
        "why": "",
        "temperature_c": _float(head.temperature_c),
        "settled_since": head.settled_since,
        "recipe_digest": head.recipe.digest,
        "limits_digest": head.limits.digest,
        "bench_digest": head.bench.digest,
        "calibration_id": head.calibration,
        **(_because_row(head.because) if head.because else {}),
    }
    run_id = RunId(insert(connection, schema.run, row))
    named = [{"role": each.role, "identity": each.identity} for each in head.instruments]
    _insert_rows(connection, schema.instrument, run_id, named)
    loads = [{"port": each.port, "digest": each.text.digest} for each in head.loads]
    _insert_rows(connection, schema.load, run_id, loads)
    return run_id


def _because_row(because: Because) -> Values:
    return {
        "retest_code": because.code,
        "retest_means": because.means,
        "retest_why": because.why or None,
    }


def sweep_row(sweep: Sweep) -> Values:
    """A sweep's row but for its run and place. Packing takes longer than storing, so it is done beforehand."""
    return {
        "ports": sweep.hookup.name,
        "phase": sweep.phase,
        "started": sweep.started,
        "took_s": float(sweep.took_s),
        "bandwidth_hz": float(sweep.settings.bandwidth_hz),
        "averages": int(sweep.settings.averages),
        "power_dbm": float(sweep.settings.power_dbm),
        "points": len(sweep.freq_hz),
        "data": sweep_codec.encode(sweep.freq_hz, sweep.s),
        "doubt": "",
    }


def insert_sweep(connection: Connection, run_id: RunId, row: Values) -> int:
    """Keep a sweep after those the run has; its place among them, from 0."""
    position = int(connection.execute(_SWEEPS, {"run_id": run_id}).scalar_one())
    connection.execute(_into(schema.sweep), {"run_id": run_id, "position": position, **row})
    return position


def doubt_sweep(connection: Connection, run_id: RunId, position: int, doubt: str) -> None:
    """Write why a sweep is not believed. Raises StoreFault when the run has no such sweep that counts."""
    table = schema.sweep
    counts = (table.c.run_id == run_id) & (table.c.position == position) & (table.c.doubt == "")
    if connection.execute(table.update().where(counts).values(doubt=doubt)).rowcount != 1:
        raise refuse.no_such_sweep(run_id, position)


def end_temperature(connection: Connection, run_id: RunId, temperature_c: float) -> None:
    """Write how warm the unit of a running run is after its last sweep."""
    table = schema.run
    connection.execute(
        table.update().where(table.c.id == run_id).values(temperature_end_c=float(temperature_c))
    )


def insert_results(
    connection: Connection, run_id: RunId, readings: Sequence[Reading], verdict: Verdict
) -> None:
    """Keep readings and decisions; a reading that comes several times has one row."""
    every = (*readings, *(decision.reading for decision in verdict.decisions))
    places = {reading: place for place, reading in enumerate(dict.fromkeys(every))}
    decisions = [_decision_row(decision, places[decision.reading]) for decision in verdict.decisions]
    _insert_rows(connection, schema.reading, run_id, [_reading_row(reading) for reading in places])
    _insert_rows(connection, schema.decision, run_id, decisions)


def end(
    connection: Connection,
    run_id: RunId,
    state: RunState,
    why: str,
    finished: datetime,
    outcome: Outcome | None,
) -> None:
    """Write how a run ended. Raises StoreFault when it has ended before, or never began."""
    row = {"state": state.value, "why": why, "finished": finished, "outcome": outcome and outcome.value}
    if connection.execute(_END, {"run_id": run_id, **row}).rowcount != 1:
        raise refuse.not_running(run_id)


def end_abandoned(connection: Connection, station: str, why: str, finished: datetime) -> tuple[RunId, ...]:
    """Write of every run of the station that nobody ended that it was a station fault; which ones they were."""
    table = schema.run
    query = sa.select(table.c.id).where(table.c.station == station, table.c.state == RunState.RUNNING.value)
    found = tuple(RunId(run_id) for run_id in connection.execute(query.with_for_update()).scalars())
    for run_id in found:
        end(connection, run_id, RunState.STATION_FAULT, why, finished, None)
    return found


def insert_certificate(connection: Connection, entry: CertificateEntry) -> int:
    """Note that a certificate or failure sheet was made; its number in the database."""
    row = {
        "run_id": entry.run_id,
        "number": entry.number,
        "kind": entry.kind.value,
        "issued": entry.issued,
        "sha256": entry.sha256,
        "file": entry.file,
        "resolution": entry.resolution,
    }
    return insert(connection, schema.certificate, row)


def insert(connection: Connection, table: sa.Table, row: Values) -> int:
    """The new row's number."""
    # The values apart from the statement: one that carries them is built and compared anew each time.
    key = connection.execute(_into(table), row).inserted_primary_key
    if key is None:
        raise StoreFault("the database gave a new row no number")
    return int(key[0])


def _unit_row(order_id: int, place: int, serial: Serial) -> Values:
    return {"order_id": order_id, "position": place, "serial": serial, "serial_key": serial_key(serial)}


def _insert_rows(connection: Connection, table: sa.Table, run_id: RunId, rows: Sequence[Values]) -> None:
    """Rows of one run in their order."""
    if rows:
        placed = [{"run_id": run_id, "position": place, **row} for place, row in enumerate(rows)]
        connection.execute(_into(table), placed)


def _reading_row(reading: Reading) -> Values:
    low, high = reading.span_hz or (None, None)
    return {
        "name": reading.name,
        "title": reading.title,
        "unit": reading.unit,
        "value": _float(reading.value),
        "u": _float(reading.u),
        "at_hz": _float(reading.at_hz),
        "span_low_hz": _float(low),
        "span_high_hz": _float(high),
        "trace": reading.trace,
        "note": reading.note,
        "claim": reading.claim.value,
    }


def _decision_row(decision: Decision, reading: int) -> Values:
    return {
        "reading": reading,
        "level": decision.level.value,
        "limit_text": decision.limit_text,
        "rule": decision.rule,
        "outcome": decision.outcome.value,
        "margin": _float(decision.margin),
        "lines": [
            [list(map(float, line.freq_hz)), list(map(float, line.value)), line.words]
            for line in decision.lines
        ],
    }


def _float(value: float | None) -> float | None:
    """A plain float: the numbers of numpy are stored as bytes by some drivers."""
    return None if value is None else float(value)
