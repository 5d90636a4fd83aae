"""The one border where what the database says becomes one clear message.

Everything SQLAlchemy, sqlite3 or the file system raise behind it comes out as StoreFault, with the database's
place and what to do. SQLite's result codes: https://sqlite.org/rescode.html.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy.exc import SQLAlchemyError, StatementError

from station.errors import StoreFault

_SAYINGS: dict[int, str] = {
    sqlite3.SQLITE_BUSY: "another program keeps it locked; close that program, then try again",
    sqlite3.SQLITE_LOCKED: "another program keeps it locked; close that program, then try again",
    sqlite3.SQLITE_READONLY: "it may not be written; check the permissions of the file and of its folder",
    sqlite3.SQLITE_PERM: "access was refused; check the permissions of the file and of its folder",
    sqlite3.SQLITE_AUTH: "access was refused; check the permissions of the file and of its folder",
    sqlite3.SQLITE_FULL: "there is no room left; free some on its disk, then try again",
    sqlite3.SQLITE_IOERR: "its disk failed or is full; check the disk, then try again",
    sqlite3.SQLITE_CORRUPT: "it is damaged; keep the file, put back the last backup",
    sqlite3.SQLITE_NOTADB: "it is not a database; check which file `works.yaml` names",
    sqlite3.SQLITE_CANTOPEN: "it cannot be opened; check that the file is there and that its folder may be written",
    sqlite3.SQLITE_NOMEM: "memory ran out; close other programs, then try again",
}
"""By primary result code: the low byte of the extended one."""


@contextmanager
def one_border(place: str) -> Iterator[None]:
    """Turn every fault of the database at `place` into StoreFault."""
    try:
        yield
    except (SQLAlchemyError, sqlite3.Error, OSError) as error:
        raise StoreFault(f"database {place}: {_saying(error)}") from error


def _saying(error: Exception) -> str:
    cause = error.orig if isinstance(error, StatementError) and error.orig is not None else error
    text = str(cause).strip().splitlines()
    detail = text[0] if text else type(cause).__name__
    code = getattr(cause, "sqlite_errorcode", None)
    saying = _SAYINGS.get(code & 0xFF) if isinstance(code, int) else None
    return f"{saying} ({detail})" if saying else f"it refused the work: {detail}"
