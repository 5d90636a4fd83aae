"""All rows that an export shows, in a fixed order and a bounded memory; of all records, or of some runs.

A choice holds what belongs to the chosen runs: their unit and order, what they were made with, what was made of them.
What belongs to no run, such as matings, is only in an export of everything.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from itertools import groupby
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from station.database import schema
from station.database.dictionary import exported_tables
from station.errors import UserMistake

Row = dict[str, Any]
_AT_ONCE = 20
"""Runs, or rows of other tables, in memory at once; one may have a megabyte of sweeps."""

_MANY = 1000
"""Rows at once of tables whose rows are short."""


@dataclass(frozen=True, slots=True)
class Choice:
    """Which runs; all of them where nothing is said."""

    order: str | None = None
    """Number of a work order. Its units belong to it whether they were tested or not."""

    since: date | None = None
    """First day on which a run may have begun, UTC."""

    until: date | None = None
    """Last one."""

    @property
    def is_everything(self) -> bool:
        """Whether no run and no other record is left out."""
        return self == Choice()


@dataclass(frozen=True, slots=True)
class RunRows:
    """All rows of one run."""

    serial: str
    run_number: int
    order: Row
    unit: Row
    run: Row
    parts: Mapping[str, Sequence[Row]]
    """Of each table that belongs to runs."""


@dataclass(frozen=True, slots=True)
class Outflow:
    """The chosen rows as they are at one moment."""

    connection: Connection
    choice: Choice

    def other_rows(self, table: sa.Table) -> Iterator[Sequence[Row]]:
        """The rows of a table that belongs to no run alone."""
        return _other_rows(self.connection, table, self.choice)

    def runs(self) -> Iterator[RunRows]:
        """Every chosen run with all that belongs to it."""
        query = _chosen(self.choice).order_by(schema.run.c.id)
        streamed = self.connection.execution_options(yield_per=_AT_ONCE).execute(query)
        for some in streamed.scalars().partitions():
            yield from _whole(self.connection, some)


def refuse_unknown(connection: Connection, choice: Choice) -> None:
    """Raises UserMistake where there is no such order."""
    table = schema.work_order
    if choice.order is None:
        return
    if connection.execute(sa.select(table.c.id).where(table.c.number == choice.order)).first() is None:
        raise UserMistake(f"there is no work order {choice.order}; `station orders` lists them")


def tables_of_runs() -> tuple[sa.Table, ...]:
    """Those whose every row belongs to one run, the runs themselves first."""
    return (schema.run, *(table for table in exported_tables() if "run_id" in table.c))


def _other_rows(connection: Connection, table: sa.Table, choice: Choice) -> Iterator[Sequence[Row]]:
    query = sa.select(table).order_by(*table.primary_key.columns)
    if not choice.is_everything:
        query = query.where(_belongs(table, choice))
    heavy = any(isinstance(column.type, sa.LargeBinary) for column in table.columns)
    rows = connection.execution_options(yield_per=_AT_ONCE if heavy else _MANY).execute(query).mappings()
    for some in rows.partitions():
        yield [dict(row) for row in some]


def _whole(connection: Connection, run_ids: Sequence[int]) -> Iterator[RunRows]:
    plain = connection.execution_options(yield_per=None)
    parts: dict[str, dict[int, list[Row]]] = {}
    for table in tables_of_runs()[1:]:
        query = sa.select(table).where(table.c.run_id.in_(run_ids))
        rows = plain.execute(query.order_by(table.c.run_id, *table.primary_key.columns)).mappings()
        parts[table.name] = {
            run_id: [dict(row) for row in some] for run_id, some in groupby(rows, lambda row: row["run_id"])
        }
    run, unit, order = schema.run, schema.unit, schema.work_order
    heads = (_by_id(plain, table, _ids(table, run_ids)) for table in (run, unit, order))
    run_rows, unit_rows, order_rows = heads
    for run_id in run_ids:
        mine = run_rows[run_id]
        piece = unit_rows[mine["unit_id"]]
        its = {name: found.get(run_id, []) for name, found in parts.items()}
        yield RunRows(piece["serial"], mine["run_number"], order_rows[piece["order_id"]], piece, mine, its)


def _ids(table: sa.Table, run_ids: Sequence[int]) -> sa.Select[Any]:
    run, unit = schema.run.c, schema.unit.c
    if table is schema.run:
        return sa.select(run.id).where(run.id.in_(run_ids))
    units = sa.select(run.unit_id).where(run.id.in_(run_ids))
    return units if table is schema.unit else sa.select(unit.order_id).where(unit.id.in_(units))


def _by_id(connection: Connection, table: sa.Table, ids: sa.Select[Any]) -> dict[int, Row]:
    rows = connection.execute(sa.select(table).where(table.c.id.in_(ids))).mappings()
    return {row["id"]: dict(row) for row in rows}


def _chosen(choice: Choice) -> sa.Select[Any]:
    """The numbers of the chosen runs."""
    run = schema.run.c
    query = sa.select(run.id)
    if choice.order is not None:
        query = query.where(run.unit_id.in_(_units_of_order(choice.order)))
    if choice.since is not None:
        query = query.where(run.started >= _midnight(choice.since))
    if choice.until is not None:
        query = query.where(run.started < _midnight(choice.until + timedelta(days=1)))
    return query


def _units_of_order(number: str) -> sa.Select[Any]:
    order = schema.work_order.c
    return sa.select(schema.unit.c.id).where(
        schema.unit.c.order_id.in_(sa.select(order.id).where(order.number == number))
    )


def _midnight(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, tzinfo=UTC)


def _belongs(table: sa.Table, choice: Choice) -> sa.ColumnElement[bool]:
    """Whether a row of a table that belongs to no run alone belongs to the choice."""
    run, unit = schema.run.c, schema.unit.c
    chosen = run.id.in_(_chosen(choice))
    calibrations = sa.select(run.calibration_id).where(chosen)
    if table is schema.unit or table is schema.work_order:
        mine: sa.ColumnElement[bool] = unit.id.in_(sa.select(run.unit_id).where(chosen))
        if choice.order is not None and choice.since is choice.until is None:
            mine = mine | unit.id.in_(_units_of_order(choice.order))
        return mine if table is schema.unit else table.c.id.in_(sa.select(unit.order_id).where(mine))
    if table is schema.calibration:
        return table.c.id.in_(calibrations)
    if "calibration_id" in table.c:
        return table.c.calibration_id.in_(calibrations)
    if table is schema.document:
        named = schema.calibration_document.c
        used = [
            sa.select(column).where(chosen)
            for column in (run.recipe_digest, run.limits_digest, run.bench_digest)
        ]
        used.append(sa.select(schema.load.c.digest).where(schema.load.c.run_id.in_(_chosen(choice))))
        used.append(sa.select(named.digest).where(named.calibration_id.in_(calibrations)))
        return table.c.digest.in_(sa.union(*used))
    return sa.false()
