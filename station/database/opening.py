"""How a database is reached and made ready: SQLite set up for a works, PostgreSQL as SQLAlchemy does it."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import URL, Connection, Engine

from station.database.address import no_driver
from station.database.schema import HEAD
from station.errors import StoreFault


def identity(file: Path | None) -> tuple[int, int] | None:
    """What tells a file from another one that later has its name; None when there is none."""
    try:
        status = file.stat() if file is not None else None
    except FileNotFoundError:
        return None
    return None if status is None else (status.st_dev, status.st_ino)


def make_engine(url: URL, *, wait_s: float) -> Engine:
    """An engine that opens nothing yet. `wait_s` is how long a writer waits for another."""
    serializer = partial(json.dumps, allow_nan=False)
    try:
        if url.get_backend_name() != "sqlite":
            return sa.create_engine(url, json_serializer=serializer)
        engine = sa.create_engine(url, json_serializer=serializer, connect_args={"timeout": wait_s})
    except ImportError as error:
        raise no_driver(error) from error
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def for_writing(engine: Engine) -> Engine:
    """The same engine, for transactions that write.

    SQLite must be told at the start: who begins as a reader while another writes is refused without a wait.
    """
    return engine.execution_options(begin="BEGIN IMMEDIATE")


def prepare(engine: Engine, place: str, file: Path | None, *, create: bool) -> None:
    """Make sure that the database has this station's form. Raises StoreFault, and then has changed nothing."""
    if file is not None and not file.exists() and not create:
        raise StoreFault(
            f"database {place}: there is no such file; put back the last backup, or make a new one"
        )
    with engine.begin() as connection:
        found = _form(connection, place, create=create)
    if found == HEAD:
        return
    # Alembic takes longer to import than a unit's record to write, and is needed once in a database's life.
    from station.database import migrate

    if found is not None and not migrate.is_known(found):
        what = f"a newer station made it (form {found}, this one knows forms up to {HEAD})"
        raise StoreFault(f"database {place}: {what}; update this station")
    if file is not None:
        _use_write_ahead_log(engine)
    with for_writing(engine).begin() as connection:
        # Asked again, since another program may have been at the same work.
        if _form(connection, place, create=create) != HEAD:
            migrate.upgrade(connection)


def _form(connection: Connection, place: str, *, create: bool) -> str | None:
    """The newest step the database has taken; None when it is empty and may be filled."""
    tables = sa.inspect(connection).get_table_names()
    if "alembic_version" in tables:
        version = sa.table("alembic_version", sa.column("version_num"))
        found = connection.execute(sa.select(version.c.version_num)).scalar_one_or_none()
        if found is not None:
            return str(found)
    if [table for table in tables if table != "alembic_version"]:
        raise StoreFault(
            f"database {place}: it belongs to another program; check which one `works.yaml` names"
        )
    if not create:
        raise StoreFault(f"database {place}: it is empty; put back the last backup, or make a new one")
    return None


def _use_write_ahead_log(engine: Engine) -> None:
    """Readers and a writer then do not wait for each other. The file remembers it."""
    connection = engine.raw_connection()
    try:
        connection.cursor().execute("PRAGMA journal_mode = WAL")
    finally:
        connection.close()


def _set_up(connection: Any, _record: Any) -> None:
    # Python's own transactions would leave changes of the tables outside of any.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    # With a write-ahead log NORMAL loses the last commits at a power cut; FULL costs 0.2 ms.
    connection.execute("PRAGMA synchronous = FULL")


def _begin(connection: Connection) -> None:
    connection.exec_driver_sql(connection.get_execution_options().get("begin", "BEGIN"))
