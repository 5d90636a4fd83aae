"""The one border where what the database says becomes one clear message.

Everything SQLAlchemy, sqlite3, psycopg or the file system raise behind it comes out as StoreFault, with the
database's place and what to do. SQLite's result codes: https://sqlite.org/rescode.html. PostgreSQL's: appendix A of
its manual.
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
"""SQLite's, by primary result code: the low byte of the extended one."""

_SERVER_SAYINGS: dict[str, str] = {
    "28": "it does not let this user in; check user and password in `works.yaml`",
    "3D": "there is no database of this name on the server; let its keeper create it",
    "25006": "it may not be written; ask its keeper",
    "42501": "access was refused; ask its keeper for the right to read and write the tables",
    "53100": "there is no room left on the server; ask its keeper",
    "53300": "it takes no connections just now; try again, or ask its keeper",
    "55000": "it takes no connections just now; try again, or ask its keeper",
    "57": "the server was shut down or restarted; try again",
    "40": "another program wrote at the same moment; try again",
}
"""By SQLSTATE, or the class that its first two characters are."""

_AWAY = "the server cannot be reached; check that it runs, and its address in `works.yaml`"
_WORDS = {"28": "role", "3D": "does not exist", "55000": "not currently accepting connections"}
"""What a failed connection says, whose SQLSTATE the driver does not give; asked in this order."""


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
    saying = _SAYINGS.get(code & 0xFF) if isinstance(code, int) else _of_server(cause, detail)
    return f"{saying} ({detail})" if saying else f"it refused the work: {detail}"


def _of_server(cause: BaseException, detail: str) -> str | None:
    """What a server's fault means; None for what is none, or unknown."""
    if type(cause).__module__.partition(".")[0] != "psycopg":
        return None
    state = getattr(cause, "sqlstate", None)
    if state is None:
        if type(cause).__name__ != "OperationalError":
            return None
        return next((_SERVER_SAYINGS[known] for known, words in _WORDS.items() if words in detail), _AWAY)
    return _SERVER_SAYINGS.get(state) or _SERVER_SAYINGS.get(state[:2])
