"""The ledger: one line for each record, chained to the line before, so that nothing can be changed unseen.

Each station has a chain of its own, made as `reports.chain` says; the content of a record is what
`gather` finds of it.

**To write a record of weight**: insert its rows, then, in the same transaction and as its last step,
`chain.enter(connection, [("run", (run_id,))])`; the kind is one of `trees.TREES`. Nothing is entered twice: a record
that was closed is never changed, a correction is a new record that refers to the old one.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from reports.canonical import digest_of
from reports.chain import BEGINNING, Entry, Head, Mark, linked
from station.database import schema
from station.database.gather import Key, gather, named
from station.database.trees import tree_of
from station.errors import StoreFault

_LAST = (
    sa.select(schema.ledger_entry.c.number, schema.ledger_entry.c.link)
    .where(schema.ledger_entry.c.station == sa.bindparam("station"))
    .order_by(schema.ledger_entry.c.number.desc())
    .limit(1)
)
_AT_ONCE = 200
_SHOWN = 8
_CHAINING = 0x5358
"""With a station's hash, the lock that a server gives to one writer of a chain at a time; any number does."""


@dataclass(frozen=True, slots=True)
class KeptEntry:
    """A line as it stands in this database."""

    entry: Entry
    link: str
    row: str
    """The primary key of the record's root row here, as JSON."""

    @property
    def record(self) -> Key | None:
        """That key; None where it was spoilt."""
        try:
            key = json.loads(self.row)
        except ValueError:
            return None
        return tuple(key) if isinstance(key, list) else None


@dataclass(frozen=True, slots=True)
class Chain:
    """The chain that this program writes to: that of its station."""

    station: str
    clock: Callable[[], datetime]

    def enter(self, connection: Connection, records: Sequence[tuple[str, Key]], late: str = "") -> None:
        """Write a line for each record, (kind, primary key of its root row), in this order.

        In the transaction of their rows, as its last step: other writers of the chain wait from here to its end.
        """
        if not records:
            return
        contents = _contents(connection, records)
        hold(connection, self.station)
        mark, made = last(connection, self.station), self.clock()
        rows = []
        for kind, key in records:
            name, content = contents[kind, key]
            entry = Entry(self.station, mark.number + 1, kind, name, made, late, content)
            mark = Mark(self.station, entry.number, linked(mark.link, entry.digest))
            rows.append(row_of(KeptEntry(entry, mark.link, json.dumps(key))))
        connection.execute(schema.ledger_entry.insert(), rows)


def _contents(
    connection: Connection, records: Sequence[tuple[str, Key]]
) -> dict[tuple[str, Key], tuple[str, str]]:
    """Name and digest of each record."""
    found: dict[tuple[str, Key], tuple[str, str]] = {}
    for kind in dict.fromkeys(kind for kind, _ in records):
        tree = tree_of(kind)
        if tree is None:
            raise ValueError(f"no tree of records is called {kind!r}")
        keys = [key for each, key in records if each == kind]
        for start in range(0, len(keys), _AT_ONCE):
            some = gather(connection, tree, keys[start : start + _AT_ONCE])
            for key, content in some.items():
                found[kind, key] = (named(tree, content), digest_of(content))
    return found


def hold(connection: Connection, station: str) -> None:
    """Keep other writers of the chain away until the transaction ends; on SQLite there is one writer at a time."""
    if connection.dialect.name == "postgresql":
        lock = sa.text("SELECT pg_advisory_xact_lock(:what, hashtext(:station))")
        connection.execute(lock, {"what": _CHAINING, "station": station})


def last(connection: Connection, station: str) -> Mark:
    """Where a station's chain has come to."""
    row = connection.execute(_LAST, {"station": station}).one_or_none()
    return Mark(station, 0, BEGINNING) if row is None else Mark(station, row.number, row.link)


def stations(connection: Connection) -> tuple[str, ...]:
    """Every station that has a chain, or a signed place of one, here."""
    entry, head = schema.ledger_entry.c.station, schema.ledger_head.c.station
    found = {row[0] for table in (entry, head) for row in connection.execute(sa.select(table).distinct())}
    return tuple(sorted(found))


def entries(
    connection: Connection, station: str, after: int = 0, at_most: int = _AT_ONCE
) -> tuple[KeptEntry, ...]:
    """The next lines of a chain after a number."""
    table = schema.ledger_entry
    query = (
        sa.select(table)
        .where(table.c.station == station, table.c.number > after)
        .order_by(table.c.number)
        .limit(at_most)
    )
    return tuple(_kept(row) for row in connection.execute(query))


def of_key(connection: Connection, key: str) -> tuple[KeptEntry, ...]:
    """The lines of the records that are known by this key."""
    table = schema.ledger_entry
    query = sa.select(table).where(table.c.key == key).order_by(table.c.station, table.c.number)
    return tuple(_kept(row) for row in connection.execute(query))


def keys_like(connection: Connection, start: str) -> tuple[str, ...]:
    """Some keys that begin so, in their order."""
    column = schema.ledger_entry.c.key
    query = sa.select(column).where(column.startswith(start, autoescape=True)).distinct().order_by(column)
    return tuple(connection.execute(query.limit(_SHOWN)).scalars())


def keep_head(connection: Connection, head: Head) -> None:
    """Keep a signed place, unless it was signed before. Raises StoreFault where the chain does not say so."""
    mark, table = head.mark, schema.ledger_head
    found = entries(connection, mark.station, mark.number - 1, 1)
    if not found or (found[0].entry.number, found[0].link) != (mark.number, mark.link):
        raise StoreFault(f"the ledger of {mark.station} has no line {mark.number} of this link to be signed")
    signed = head_after(connection, mark.station, mark.number)
    if signed is not None and signed.mark == mark:
        return
    row = {
        "station": mark.station,
        "number": mark.number,
        "link": mark.link,
        "made": head.made,
        "signature": head.signature,
        "fingerprint": head.fingerprint,
    }
    connection.execute(table.insert(), row)


def heads(connection: Connection, station: str) -> Iterator[Head]:
    """The signed places of a chain, the first one first."""
    table = schema.ledger_head
    query = sa.select(table).where(table.c.station == station).order_by(table.c.number)
    for row in connection.execute(query):
        yield _head(row)


def head_after(connection: Connection, station: str, number: int) -> Head | None:
    """The first signed place that depends on a line; None where none does yet."""
    table = schema.ledger_head
    query = (
        sa.select(table)
        .where(table.c.station == station, table.c.number >= number)
        .order_by(table.c.number)
        .limit(1)
    )
    row = connection.execute(query).one_or_none()
    return None if row is None else _head(row)


def last_head(connection: Connection, station: str) -> Head | None:
    """The newest signed place of a chain; None where nothing was signed."""
    table = schema.ledger_head
    query = sa.select(table).where(table.c.station == station).order_by(table.c.number.desc()).limit(1)
    row = connection.execute(query).one_or_none()
    return None if row is None else _head(row)


def _head(row: Row[Any]) -> Head:
    mark = Mark(row.station, row.number, row.link)
    return Head(mark, row.made, row.signature, row.fingerprint)


def _kept(row: Row[Any]) -> KeptEntry:
    entry = Entry(row.station, row.number, row.kind, row.key, row.made, row.late, row.content)
    return KeptEntry(entry, row.link, row.row)


def row_of(kept: KeptEntry) -> dict[str, Any]:
    """A line as it is written."""
    entry = kept.entry
    return {
        "station": entry.station,
        "number": entry.number,
        "kind": entry.kind,
        "key": entry.key,
        "made": entry.made,
        "late": entry.late,
        "content": entry.content,
        "link": kept.link,
        "row": kept.row,
    }
