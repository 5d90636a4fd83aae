"""What the store counts over many runs. Each function gets an open connection inside a transaction.

Check standards are no production and never count.
"""

from __future__ import annotations

from datetime import date
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from limits.verdict import Outcome
from reports.resolution import Ruling
from station.database import schema
from station.database.disposition import Fate
from station.database.entries import OrderKind, RunState

Rows = list[dict[str, Any]]

_run, _order = schema.run.c, schema.work_order.c


def run_counts(connection: Connection, since: date | None, until: date | None) -> Rows:
    """Runs counted by UTC day, model, order, station, operator and recipe; `reports.trends.yields` says as what."""
    runs = _runs()
    judged = runs.c.state == RunState.JUDGED.value
    first, latest = judged & (runs.c.nth == 1), judged & (runs.c.nth_last == 1)
    fault = runs.c.state == RunState.STATION_FAULT.value
    keys = [runs.c[name] for name in ("day", "model", "order", "station", "operator", "recipe")]
    query = _between(
        sa.select(
            *keys,
            sa.func.count().label("runs"),
            _count(judged, "judged"),
            _count(first, "first"),
            _count(first & (runs.c.outcome == Outcome.PASS.value), "first_passed"),
            _count(latest, "latest"),
            _count(latest & (runs.c.outcome == Outcome.PASS.value), "latest_passed"),
            _count(
                latest & (runs.c.outcome == Outcome.UNDECIDED.value) & runs.c.ruling.is_(None),
                "latest_undecided",
            ),
            _count(latest & (runs.c.ruling == Ruling.RELEASE.value), "latest_released"),
            _count(latest & (runs.c.ruling == Ruling.REJECT.value), "latest_rejected"),
            _count(fault, "faults"),
            _count(runs.c.state == RunState.STOPPED.value, "stopped"),
            sa.func.coalesce(sa.func.sum(sa.case((fault, runs.c.hours))), 0.0).label("hours_lost"),
        ).group_by(*keys),
        runs,
        since,
        until,
    )
    return _rows(connection, query)


def retests(connection: Connection, since: date | None, until: date | None) -> Rows:
    """Judged runs beyond a unit's first, counted as `run_counts` does and by the `reason` for them, or none."""
    runs = _runs()
    keys = [runs.c[name] for name in ("day", "model", "order", "station", "operator", "recipe", "reason")]
    query = sa.select(*keys, sa.func.count().label("retests")).group_by(*keys)
    again = query.where(runs.c.state == RunState.JUDGED.value, runs.c.nth > 1)
    return _rows(connection, _between(again, runs, since, until))


def first_failures(connection: Connection, since: date | None, until: date | None) -> Rows:
    """`unit`, `order`, `model`, `name`, `title` of every characteristic that failed in a unit's first judged run."""
    runs, decision, reading = _runs(), schema.decision.c, schema.reading.c
    query = (
        sa.select(runs.c.unit_id.label("unit"), runs.c.order, runs.c.model, reading.name, reading.title)
        .distinct()
        .select_from(runs)
        .join(schema.decision, decision.run_id == runs.c.id)
        .join(schema.reading, (reading.run_id == decision.run_id) & (reading.position == decision.reading))
        .where(
            runs.c.state == RunState.JUDGED.value,
            runs.c.nth == 1,
            decision.outcome == Outcome.FAIL.value,
        )
    )
    return _rows(connection, _between(query, runs, since, until))


def readings(
    connection: Connection, model: str, name: str, last: int | None = None, *, retests: bool = False
) -> Rows:
    """One characteristic of a model's units in judged runs, the oldest first; `reports.trends.readings` says as what.

    Of each unit its first judged run, or every one with `retests`. `last` is how many at most: the last ones begun.
    A mask counts with the worst point of its first level.
    """
    table, other = schema.reading.c, schema.reading.alias()
    first_place = (
        sa.select(sa.func.min(other.c.position))
        .where(other.c.run_id == table.run_id, other.c.name == table.name)
        .scalar_subquery()
    )
    query = (
        sa.select(
            _run.id.label("run"),
            _run.started,
            schema.unit.c.serial,
            _order.number.label("order"),
            _run.operator,
            _run.station,
            _recipe().label("recipe"),
            _run.recipe_digest,
            _run.calibration_id.label("calibration"),
            _order.tx_hz,
            _order.rx_hz,
            table.title,
            table.unit,
            table.value,
            table.claim,
        )
        .join_from(schema.run, schema.reading)
        .join(schema.unit, schema.unit.c.id == _run.unit_id)
        .join(schema.work_order)
        .join(schema.document, schema.document.c.digest == _run.recipe_digest)
        .where(
            table.name == name,
            table.position == first_place,
            _order.model == model,
            _order.kind == OrderKind.PRODUCTION.value,
            _run.state == RunState.JUDGED.value,
        )
        .order_by(_run.id.desc())
        .limit(last)
    )
    if not retests:
        query = query.where(~_judged_before())
    return sorted(_rows(connection, query), key=lambda row: (row["started"], row["run"]))


def characteristics(connection: Connection, model: str) -> list[str]:
    """The names of all that the latest judged run of a model's units was read in."""
    latest = (
        sa.select(sa.func.max(_run.id))
        .join_from(schema.run, schema.unit)
        .join(schema.work_order)
        .where(
            _order.model == model,
            _order.kind == OrderKind.PRODUCTION.value,
            _run.state == RunState.JUDGED.value,
        )
        .scalar_subquery()
    )
    query = sa.select(schema.reading.c.name).where(schema.reading.c.run_id == latest)
    return sorted(set(connection.execute(query).scalars()))


def _judged_before() -> sa.Exists:
    """Whether the run's unit was judged in an earlier one."""
    earlier = schema.run.alias()
    return (
        sa.select(earlier.c.id)
        .where(
            earlier.c.unit_id == _run.unit_id,
            earlier.c.run_number < _run.run_number,
            earlier.c.state == RunState.JUDGED.value,
        )
        .correlate(schema.run)
        .exists()
    )


def _recipe() -> sa.ColumnElement[str]:
    return schema.document.c.name + " " + schema.document.c.revision


def _runs() -> sa.Subquery:
    """Every production run with its place among the unit's runs that ended alike: `nth` since final assembly or
    the last rework before it, `nth_last` counted back from the newest.
    """
    alike = (_run.unit_id, _run.state, _reworks())
    place = sa.func.row_number()
    return (
        sa.select(
            _run.id,
            _run.unit_id,
            _run.state,
            _run.outcome,
            _run.station,
            _run.operator,
            # PostgreSQL gives a date, SQLite its text.
            sa.cast(sa.func.date(_run.started), sa.Text).label("day"),
            _order.model,
            _order.number.label("order"),
            _recipe().label("recipe"),
            _hours().label("hours"),
            _ruling().label("ruling"),
            _run.retest_code.label("reason"),
            place.over(partition_by=alike, order_by=_run.run_number).label("nth"),
            place.over(partition_by=alike[:2], order_by=_run.run_number.desc()).label("nth_last"),
        )
        .join_from(schema.run, schema.unit)
        .join(schema.work_order)
        .join(schema.document, schema.document.c.digest == _run.recipe_digest)
        .where(_order.kind == OrderKind.PRODUCTION.value)
        .subquery()
    )


def _ruling() -> sa.ScalarSelect[Any]:
    """What a person decided of the run, the last time; null where nobody did."""
    table = schema.resolution.c
    query = sa.select(table.ruling).where(table.run_id == _run.id).order_by(table.number.desc()).limit(1)
    return query.correlate(schema.run).scalar_subquery()


def _reworks() -> sa.ScalarSelect[int]:
    """How often a run's unit was reworked before it; a rework that was corrected counts no more."""
    done, later = schema.disposition.alias(), schema.disposition.alias()
    corrected = sa.exists().where(later.c.unit_id == done.c.unit_id, later.c.corrects == done.c.number)
    return (
        sa.select(sa.func.count())
        .where(
            done.c.unit_id == _run.unit_id,
            done.c.fate == Fate.REWORK.value,
            done.c.after_run < _run.run_number,
            ~corrected,
        )
        .correlate(schema.run)
        .scalar_subquery()
    )


def _hours() -> sa.ColumnElement[Any]:
    seconds = sa.extract("epoch", _run.finished) - sa.extract("epoch", _run.started)
    return sa.cast(seconds, sa.Double) / 3600.0


def _count(what: sa.ColumnElement[bool], name: str) -> sa.Label[int]:
    return sa.func.coalesce(sa.func.sum(sa.case((what, 1), else_=0)), 0).label(name)


def _between(
    query: sa.Select[Any], runs: sa.Subquery, since: date | None, until: date | None
) -> sa.Select[Any]:
    """Both days included."""
    if since is not None:
        query = query.where(runs.c.day >= since.isoformat())
    if until is not None:
        query = query.where(runs.c.day <= until.isoformat())
    return query


def _rows(connection: Connection, query: sa.Select[Any]) -> Rows:
    return [dict(row) for row in connection.execute(query).mappings()]
