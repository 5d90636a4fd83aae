"""Records carried from a station's own store to the database of the works: in order, each once, over any outage.

What was carried is known by the works' database itself: the last line of this station's chain there. Each page of
lines goes in one transaction there, so a program or server that dies in mid-page leaves the page undone, and the next
go begins where the last whole page ended. A line is accepted only where it follows from the last one there, and a
record only where it still is as it was entered.

A record that is known there already with other content (an order of one number with another customer, two stations
that number the same unit's runs alike) is not overwritten: its line is kept, and what it says is put aside and told.
"""

from __future__ import annotations

import json
from dataclasses import dataclass

import sqlalchemy as sa
from sqlalchemy.engine import Connection
from sqlalchemy.exc import IntegrityError

from reports.canonical import digest_of
from reports.chain import Mark, linked
from station.database import ledger, schema
from station.database.gather import Blobs, Content, Key, gather
from station.database.ledger import KeptEntry
from station.database.scatter import Homeless, find, scatter
from station.database.trees import tree_of
from station.errors import StoreFault

PAGE = 50
"""Lines in one transaction; a run's packed sweeps may have a megabyte."""


@dataclass(frozen=True, slots=True)
class Carried:
    """What one page did."""

    lines: int
    told: tuple[str, ...]
    """What a person should look at, in words."""


@dataclass(frozen=True, slots=True)
class Backlog:
    """How far a station's records have come."""

    station: str
    here: int
    """Lines in the station's own store."""

    there: int
    """Lines of it in the works' database."""

    aside: int
    """Of those, lines whose record was put aside."""

    @property
    def lines(self) -> int:
        """Lines still to be carried."""
        return self.here - self.there


def backlog(here: Connection, there: Connection, station: str) -> Backlog:
    """How much is still to be carried."""
    table = schema.ledger_aside.c
    aside = sa.select(sa.func.count()).where(table.station == station)
    return Backlog(
        station,
        ledger.last(here, station).number,
        ledger.last(there, station).number,
        int(there.execute(aside).scalar_one()),
    )


def carry_page(here: Connection, there: Connection, station: str) -> Carried:
    """Carry the next lines; none where all are there. `there` is an open transaction that the caller ends.

    Raises StoreFault where the chain there is not a beginning of the one here, or a record here was altered.
    """
    ledger.hold(there, station)
    mark = ledger.last(there, station)
    _refuse_other_chain(here, mark)
    page = ledger.entries(here, station, mark.number, PAGE)
    blobs: Blobs = {}
    contents = _contents(here, page, blobs)
    told: list[str] = []
    for kept, content in zip(page, contents, strict=True):
        if kept.entry.number != mark.number + 1 or kept.link != linked(mark.link, kept.entry.digest):
            raise StoreFault(
                f"line {mark.number + 1} of {station} is not as it was entered; run `station ledger`"
            )
        told += _take_in(there, kept, content, blobs)
        mark = Mark(station, kept.entry.number, kept.link)
    _carry_heads(here, there, station, mark)
    return Carried(len(page), tuple(told))


def _refuse_other_chain(here: Connection, mark: Mark) -> None:
    if mark.number == 0:
        return
    same = ledger.entries(here, mark.station, mark.number - 1, 1)
    if not same or (same[0].entry.number, same[0].link) != (mark.number, mark.link):
        raise StoreFault(
            f"the works' database has another chain of a station called {mark.station}; give each station a name "
            "of its own in bench.yaml, or restore this one's records"
        )


def _contents(here: Connection, page: tuple[KeptEntry, ...], blobs: Blobs) -> list[Content]:
    """What each line's record says, as it was entered."""
    contents = []
    for kept in page:
        entry, key, tree = kept.entry, kept.record, tree_of(kept.entry.kind)
        content = None if tree is None or key is None else gather(here, tree, [key], blobs).get(key)
        if content is None or digest_of(content) != entry.content:
            what = f"{entry.kind} {entry.key} (line {entry.number} of {entry.station})"
            raise StoreFault(f"{what} is not as it was entered, so it is not carried; run `station ledger`")
        contents.append(content)
    return contents


def _take_in(there: Connection, kept: KeptEntry, content: Content, blobs: Blobs) -> list[str]:
    """Write a line and its record, or put the record aside; what is to be told."""
    entry = kept.entry
    tree = tree_of(entry.kind)
    if tree is None:
        raise ValueError(entry.kind)
    why, told = "", []
    key: Key = ()
    try:
        with there.begin_nested():
            found = find(there, tree, content)
            key = scatter(there, tree, content, blobs) if found is None else found
            if found is not None and digest_of(gather(there, tree, [key])[key]) != entry.content:
                why = "another record of this name is there already"
    except (Homeless, IntegrityError) as error:
        why = str(error) if isinstance(error, Homeless) else "a part of it is there already in another record"
    row = "null" if why else json.dumps(key)
    there.execute(schema.ledger_entry.insert(), ledger.row_of(KeptEntry(entry, kept.link, row)))
    if why:
        aside = {"station": entry.station, "number": entry.number, "why": why, "content": content}
        there.execute(schema.ledger_aside.insert(), aside)
        told.append(f"{entry.kind} {entry.key} of {entry.station} was put aside: {why}")
    elif tree.root is schema.run:
        told += _overlaps(there, key[0], entry.key)
    return told


def _overlaps(there: Connection, run_id: int, name: str) -> list[str]:
    """Other stations that tested the same unit at the same time."""
    own, other = schema.run.alias(), schema.run.alias()
    query = sa.select(other.c.station, other.c.run_number).where(
        own.c.id == run_id,
        other.c.unit_id == own.c.unit_id,
        other.c.station != own.c.station,
        other.c.started < own.c.finished,
        sa.or_(other.c.finished.is_(None), other.c.finished > own.c.started),
    )
    return [
        f"{name} overlaps in time with run {row.run_number} of the same unit at {row.station}"
        for row in there.execute(query)
    ]


def _carry_heads(here: Connection, there: Connection, station: str, mark: Mark) -> None:
    """The signed places that are there now and were not yet."""
    newest = ledger.last_head(there, station)
    for head in ledger.heads(here, station):
        if (newest.mark.number if newest else 0) < head.mark.number <= mark.number:
            ledger.keep_head(there, head)
