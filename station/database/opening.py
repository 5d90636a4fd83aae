"""How a database is reached and made ready: SQLite set up for a works, PostgreSQL as SQLAlchemy does it.

An SQLite file that may not be written, or lies where nothing may be, is opened for reading only.
"""

from __future__ import annotations

import json
import os
import sqlite3
import urllib.parse
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.engine import URL, Connection, Engine
from sqlalchemy.pool import NullPool

from station.database.address import file_of, no_driver
from station.database.ledger import Chain
from station.database.schema import HEAD
from station.errors import StoreFault

_CHANGING = 0x5357
"""The lock that a server gives to one program at a time while it changes tables; any number does."""


def identity(file: Path | None) -> tuple[int, int] | None:
    """What tells a file from another one that later has its name; None when there is none."""
    try:
        status = file.stat() if file is not None else None
    except FileNotFoundError:
        return None
    return None if status is None else (status.st_dev, status.st_ino)


def may_be_written(file: Path | None) -> bool:
    """Whether this program may write the file and, beside it, what SQLite puts there; or there is no file yet."""
    if file is None or not os.path.lexists(file):
        return True
    real = file.resolve()
    return os.access(real, os.W_OK) and os.access(real.parent, os.W_OK)


def make_engine(url: URL, *, wait_s: float, writable: bool) -> Engine:
    """An engine that opens nothing yet. `wait_s` is how long a writer waits for another."""
    serializer = partial(json.dumps, allow_nan=False)
    file = file_of(url)
    try:
        if file is None:
            # A day is one of UTC. Asked before each use, since a server may have been restarted since the last.
            utc = {"options": "-c timezone=utc"}
            return sa.create_engine(url, json_serializer=serializer, connect_args=utc, pool_pre_ping=True)
        if writable:
            engine = sa.create_engine(url, json_serializer=serializer, connect_args={"timeout": wait_s})
        else:
            # Each transaction anew, since what may be read safely depends on whether anybody writes just then.
            engine = sa.create_engine(url, creator=partial(_open_to_read, file, wait_s), poolclass=NullPool)
    except ImportError as error:
        raise no_driver(error) from error
    event.listen(engine, "connect", _set_up)
    event.listen(engine, "begin", _begin)
    return engine


def _open_to_read(file: Path, wait_s: float) -> sqlite3.Connection:
    """A connection that writes nothing.

    Where nothing may be written SQLite reads a file with a write-ahead log only when the log and its index are
    there, or when it is told that nobody changes the file (`immutable`). Told so, it overlooks the log: so only
    when the log is not there, or is empty and nobody has it open. https://sqlite.org/wal.html#readonly
    """
    real = file.resolve()
    log, index = (real.with_name(real.name + ending) for ending in ("-wal", "-shm"))
    filled, open_to_others = log.exists() and log.stat().st_size > 0, log.exists() and index.exists()
    if filled and not index.exists():
        raise StoreFault(
            f"database {file}: its newest records are still in {log.name}, and cannot be read where nothing may be "
            "written; copy both files to a folder that you may write, and read them there"
        )
    mode = "mode=ro" if filled or open_to_others else "mode=ro&immutable=1"
    return sqlite3.connect(f"file:{urllib.parse.quote(str(real))}?{mode}", uri=True, timeout=wait_s)


def for_writing(engine: Engine) -> Engine:
    """The same engine, for transactions that write.

    SQLite must be told at the start: who begins as a reader while another writes is refused without a wait.
    """
    return engine.execution_options(begin="BEGIN IMMEDIATE")


def prepare(
    engine: Engine, place: str, file: Path | None, *, create: bool, writable: bool, chain: Chain
) -> None:
    """Make sure that the database has this station's form. Raises StoreFault, and then has changed nothing.

    Records from before there was a ledger are entered into `chain`.
    """
    if file is not None and not file.exists() and not create:
        raise StoreFault(
            f"database {place}: the file is gone, and with it every record of the works; restore it from the backup"
        )
    with engine.begin() as connection:
        found = _form(connection, place, create=create)
    if found == HEAD:
        return
    # Alembic takes longer to import than a unit's record to write, and is needed once in a database's life.
    from station.database import migrate, sealing

    if found is not None and not migrate.is_known(found):
        what = f"a newer station made it (form {found}, this one knows forms up to {HEAD})"
        raise StoreFault(f"database {place}: {what}; update this station")
    if not writable:
        what = f"an older station made it (form {found}, this one needs {HEAD}) and it may not be written"
        raise StoreFault(f"database {place}: {what}; open it once where it may be written, such as in a copy")
    if file is not None:
        _use_write_ahead_log(engine)
    with _making_tables(engine, place) as connection:
        # Asked again, since another program may have been at the same work.
        if _form(connection, place, create=create) != HEAD:
            migrate.upgrade(connection)
            sealing.seal(connection, chain)
    if file is not None and found is not None:
        _give_back_room(engine)


@contextmanager
def _making_tables(engine: Engine, place: str) -> Iterator[Connection]:
    """A transaction that may change tables, one at a time.

    SQLite does so by a new table in the old one's place, and would take dropping that for the loss of all rows that
    others refer to. So references are looked at in the end instead. https://sqlite.org/lang_altertable.html#otheralter
    """
    with for_writing(engine).connect() as connection:
        if engine.dialect.name != "sqlite":
            with connection.begin():
                connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_CHANGING})")
                yield connection
            return
        # Within a transaction SQLite would overlook these settings.
        outside = connection.connection.cursor()
        outside.execute("PRAGMA foreign_keys = OFF")
        try:
            with connection.begin():
                yield connection
                if (lost := connection.exec_driver_sql("PRAGMA foreign_key_check").first()) is not None:
                    what = f"rows of {lost[0]} refer to rows of {lost[2]} that are not there"
                    raise StoreFault(f"database {place}: {what}; keep the file, put back the last backup")
        finally:
            outside.execute("PRAGMA foreign_keys = ON")


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
        raise StoreFault(f"database {place}: it is empty, no record is in it; restore it from the backup")
    return None


def _use_write_ahead_log(engine: Engine) -> None:
    """Readers and a writer then do not wait for each other. The file remembers it."""
    connection = engine.raw_connection()
    try:
        connection.cursor().execute("PRAGMA journal_mode = WAL")
    finally:
        connection.close()


def _give_back_room(engine: Engine) -> None:
    """Make an SQLite file as small as its content: a step that makes tables anew leaves the old ones' room in it.

    Where that cannot be done now, as on a full disk or while others read, the file stays large, which harms nobody.
    """
    connection = engine.raw_connection()
    try:
        with suppress(sqlite3.OperationalError):
            connection.cursor().execute("VACUUM")
            connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)")
    finally:
        connection.close()


def _set_up(connection: Any, _record: Any) -> None:
    # Python's own transactions would leave changes of the tables outside of any.
    connection.isolation_level = None
    connection.execute("PRAGMA foreign_keys = ON")
    # With a write-ahead log NORMAL loses the last commits at a power cut; FULL costs 0.2 ms.
    connection.execute("PRAGMA synchronous = FULL")


def _begin(connection: Connection) -> None:
    # To the driver itself, since there is nothing in it for SQLAlchemy to do.
    driver: Any = connection.connection.dbapi_connection
    driver.execute(connection.get_execution_options().get("begin", "BEGIN"))
