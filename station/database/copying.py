"""All records copied at one moment, from either kind of database, while others go on writing.

A copy is always an SQLite file of the same tables: one form for backups of both engines, and the way from one engine
to the other.
"""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from station.database import schema
from station.errors import UserMistake

_AT_ONCE = 200
"""Rows held in memory; a sweep's row may have a megabyte."""


def url_of(file: Path) -> str:
    """What a store calls an SQLite file."""
    return f"sqlite:///{quote(str(file.absolute()))}"


def for_snapshot(engine: Engine) -> Engine:
    """The same engine, for transactions that see one moment from beginning to end.

    SQLite's do so by themselves.
    """
    if engine.dialect.name == "sqlite":
        return engine
    return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)


def vacuum_into(engine: Engine, target: Path) -> None:
    """A copy of an SQLite database, without the room that it no longer uses; `target` must not be there yet.

    https://sqlite.org/lang_vacuum.html#vacuuminto
    """
    connection = engine.raw_connection()
    try:
        connection.cursor().execute("VACUUM INTO ?", (str(target),))
    finally:
        connection.close()


def copy_rows(source: Connection, target: Connection) -> None:
    """Every row of every table, with its number, into tables that have none yet.

    Raises UserMistake when they have some.
    """
    for table in schema.metadata.sorted_tables:
        if target.execute(sa.select(sa.literal(1)).select_from(table).limit(1)).first() is not None:
            what = f"the database holds records already (in its table {table.name})"
            raise UserMistake(f"{what}; name an empty one with --database URL")
    for table in schema.metadata.sorted_tables:
        rows = source.execution_options(yield_per=_AT_ONCE).execute(
            sa.select(table).order_by(*table.primary_key.columns)
        )
        for some in rows.mappings().partitions():
            target.execute(table.insert(), [dict(row) for row in some])
        if target.dialect.name == "postgresql" and "id" in table.c:
            _count_on(target, table)


def _count_on(target: Connection, table: sa.Table) -> None:
    """A server counts rows apart from their numbers; the next one goes on after the highest."""
    highest = sa.select(sa.func.max(table.c.id)).scalar_subquery()
    counter = sa.func.pg_get_serial_sequence(table.name, "id")
    target.execute(sa.select(sa.func.setval(counter, sa.func.coalesce(highest, 1), highest.is_not(None))))


def counts(connection: Connection) -> dict[str, int]:
    """How many rows each table has."""
    count = sa.func.count()
    return {
        table.name: int(connection.execute(sa.select(count).select_from(table)).scalar_one())
        for table in schema.metadata.sorted_tables
    }


def settle(file: Path) -> None:
    """Leave an SQLite file that nobody has open as one whole file, all of it on the disk."""
    _journal(file, "DELETE")
    with file.open("rb") as stream:
        os.fsync(stream.fileno())


def ready_for_use(file: Path) -> None:
    """Make a settled file what a works' database is: readers and a writer do not wait for each other."""
    _journal(file, "WAL")


def unsound(file: Path) -> str:
    """What SQLite finds wrong with a file's pages and indexes; empty when nothing is."""
    with closing(sqlite3.connect(file)) as connection:
        (said,) = connection.execute("PRAGMA integrity_check(1)").fetchone()
    return "" if said == "ok" else str(said)


def _journal(file: Path, mode: str) -> None:
    with closing(sqlite3.connect(file)) as connection:
        connection.execute(f"PRAGMA journal_mode = {mode}")
