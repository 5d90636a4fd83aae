"""From the URL in `works.yaml` to the database that it means.

Reaches nothing, and never repeats what was written: it may hold a password.
"""

from __future__ import annotations

import difflib
from pathlib import Path

from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from station.errors import UserMistake

_KINDS = ("sqlite", "postgresql")
_EXAMPLE = "write it like sqlite:///records.sqlite or postgresql://USER@HOST/NAME"
_NO_DRIVER = "Python has no driver of this name that the station can use"


def database_url(text: str) -> URL:
    """The URL in `text`. Raises UserMistake when it is none that a store can use."""
    try:
        url = make_url(text)
    except (ArgumentError, ValueError):
        # Without the cause: it quotes what stands where a port should, which may be half a password.
        raise _mistake("is no URL of a database") from None
    kind = url.get_backend_name()
    if kind not in _KINDS:
        raise _mistake(_of_no_kind(kind))
    if url.drivername == "postgresql":
        # What the station is installed with; SQLAlchemy would look for an older one.
        url = url.set(drivername="postgresql+psycopg")
    try:
        if url.get_dialect().is_async:
            raise _mistake(_NO_DRIVER)
    except NoSuchModuleError as error:
        raise _mistake(_NO_DRIVER) from error
    if "@" in (url.host or ""):
        raise _mistake("has an '@' too many; in a password write '%40' for it")
    if kind == "sqlite" and url.host is not None:
        raise _mistake("names a server, but SQLite has files only")
    if kind == "sqlite" and file_of(url) is None:
        raise _mistake("names no file, so nothing would be kept")
    return url


def no_driver(error: ImportError) -> UserMistake:
    """What is said when the library that speaks to the database is not installed."""
    return _mistake(f"the library that speaks to it is not installed ({error})")


def file_of(url: URL) -> Path | None:
    """The file of an SQLite database; None for a server's."""
    if url.get_backend_name() != "sqlite" or url.database in (None, "", ":memory:"):
        return None
    return Path(str(url.database))


def place_of(url: URL) -> str:
    """What messages call the database: its file, or its server and name."""
    plain = URL.create(
        url.get_backend_name(), username=url.username, host=url.host, port=url.port, database=url.database
    )
    return str(file_of(url) or plain.render_as_string())


def _mistake(what: str) -> UserMistake:
    return UserMistake(f"`database` in works.yaml: {what}; {_EXAMPLE}")


def _of_no_kind(kind: str) -> str:
    near = difflib.get_close_matches(kind, _KINDS, n=1)
    return (
        f"names no kind of database; did you mean '{near[0]}'?"
        if near
        else "is neither SQLite nor PostgreSQL"
    )
