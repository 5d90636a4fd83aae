"""Reads the whole ledger and every record in it, and tells what is no longer as it was entered.

Page by page, so that memory is bounded whatever the works has. Whoever can write the database can also write a chain
anew that fits; only signed places (`Head`) speak against that, and only lines up to the last signed place are safe
from being cut off unseen.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from reports.canonical import digest_of
from reports.chain import Head
from station.database import chainwork, schema
from station.database.chainwork import Broken
from station.database.gather import Content, Key, gather, link_columns, named
from station.database.ledger import KeptEntry, entries, heads, last, stations
from station.database.sealing import pages
from station.database.trees import TREES, Tree, tree_of


class Wrong(StrEnum):
    """What happened to a record or a line."""

    ALTERED = "altered"
    REMOVED = "removed"
    REORDERED = "reordered"
    INSERTED = "inserted"
    NOT_SIGNED_SO = "not as signed"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that is not as it was entered."""

    wrong: Wrong
    station: str
    """Whose chain; empty where no line tells."""

    number: int | None
    kind: str
    key: str
    detail: str
    """In words, without a full stop."""

    @property
    def sentence(self) -> str:
        """For a quality engineer."""
        line = "" if self.number is None else f" (line {self.number} of {self.station})"
        name = f"{self.kind} {self.key}".strip()
        return f"{name[:1].upper()}{name[1:]}{line}: {self.detail}."


HeadCheck = Callable[[Head], str]
"""What speaks against a signature; empty where nothing does."""


@dataclass
class Tally:
    """What was looked at; counted along the way."""

    lines: int = 0
    records: int = 0
    signed: int = 0
    unsigned_lines: int = 0
    """Lines after the last signed place of their chain."""

    open_records: int = 0


def audit(connection: Connection, check: HeadCheck, tally: Tally) -> Iterator[Finding]:
    """Everything that is wrong, as it is found; `tally` is filled meanwhile."""
    for station in stations(connection):
        yield from _chain(connection, station, tally)
        yield from _signed(connection, station, check, tally)
    for tree in TREES:
        yield from _not_entered(connection, tree, tally)
        yield from _orphans(connection, tree)


def _chain(connection: Connection, station: str, tally: Tally) -> Iterator[Finding]:
    """The lines against each other, and each record against its line."""
    broken = Broken(station)
    after = 0
    while page := entries(connection, station, after):
        after = page[-1].entry.number
        tally.lines += len(page)
        for each in page:
            yield from _gap(station, broken.expected, each.entry.number)
            broken.look_at(each)
        yield from _records(connection, page)
    for number, detail in chainwork.judged(broken):
        wrong = Wrong.REORDERED if "place" in detail else Wrong.ALTERED
        entry = broken.flagged[number].entry
        yield Finding(wrong, station, number, entry.kind, entry.key, detail)


def _gap(station: str, expected: int, found: int) -> Iterator[Finding]:
    if found <= expected:
        return
    which = f"line {expected} was" if found == expected + 1 else f"lines {expected} to {found - 1} were"
    yield Finding(Wrong.REMOVED, station, expected, "line", str(expected), f"{which} removed from the ledger")


def _records(connection: Connection, page: Sequence[KeptEntry]) -> Iterator[Finding]:
    """Each record of these lines, gathered again."""
    found: dict[tuple[str, Key], Content] = {}
    for kind in dict.fromkeys(each.entry.kind for each in page):
        tree = tree_of(kind)
        keys = [each.record for each in page if each.entry.kind == kind]
        if tree is not None:
            known = gather(connection, tree, [key for key in keys if key is not None])
            found |= {(kind, key): content for key, content in known.items()}
    aside = _aside(connection, [each for each in page if each.record is None])
    for each in page:
        entry, key = each.entry, each.record
        content = aside.get(entry.number) if key is None else found.get((entry.kind, key))
        if content is None:
            detail = "the record was removed from the database"
            yield Finding(Wrong.REMOVED, entry.station, entry.number, entry.kind, entry.key, detail)
        elif digest_of(content) != entry.content:
            detail = "the record was altered since it was entered"
            yield Finding(Wrong.ALTERED, entry.station, entry.number, entry.kind, entry.key, detail)


def _aside(connection: Connection, lines: Sequence[KeptEntry]) -> dict[int, Content]:
    """What the records of these lines say that were put aside, by the numbers of the lines."""
    if not lines:
        return {}
    table = schema.ledger_aside.c
    numbers = [each.entry.number for each in lines]
    query = sa.select(table.number, table.content).where(
        table.station == lines[0].entry.station, table.number.in_(numbers)
    )
    return {row.number: row.content for row in connection.execute(query)}


def _signed(connection: Connection, station: str, check: HeadCheck, tally: Tally) -> Iterator[Finding]:
    """Signed places against the chain, and their signatures."""
    end, newest = last(connection, station), 0
    for head in heads(connection, station):
        tally.signed += 1
        number, newest = head.mark.number, head.mark.number
        kept = entries(connection, station, number - 1, 1)
        place = (Wrong.NOT_SIGNED_SO, station, number, "signed place", "")
        if number > end.number:
            detail = (
                f"the chain once came to line {number}; its end from line {end.number + 1} on was removed"
            )
            yield Finding(Wrong.REMOVED, station, number, "signed place", "", detail)
        elif not kept or kept[0].entry.number != number or kept[0].link != head.mark.link:
            yield Finding(*place, "the chain up to this line is not the one that was signed")
        if said := check(head):
            yield Finding(*place, said)
    tally.unsigned_lines += max(0, end.number - newest)


def _not_entered(connection: Connection, tree: Tree, tally: Tally) -> Iterator[Finding]:
    """Closed records that no line covers."""
    table = schema.ledger_entry.c
    for keys in pages(connection, tree):
        tally.records += len(keys)
        rows = {_as_text(key): key for key in keys}
        covered = sa.select(table.row).where(table.kind == tree.kind, table.row.in_(list(rows)))
        for row in connection.execute(covered).scalars():
            rows.pop(row, None)
        for key, content in gather(connection, tree, list(rows.values())).items():
            detail = (
                "no line of the ledger covers this record: it was put in by hand, or its line was removed"
            )
            yield Finding(
                Wrong.INSERTED, "", None, tree.kind, named(tree, content), f"{detail} ({_as_text(key)})"
            )
    if tree.still_open is not None:
        count = sa.select(sa.func.count()).select_from(tree.root).where(tree.still_open)
        tally.open_records += int(connection.execute(count).scalar_one())


def _orphans(connection: Connection, tree: Tree) -> Iterator[Finding]:
    """Rows whose record is not there."""
    for child in tree.children:
        pairs = zip(link_columns(tree.root, child), tree.root.primary_key.columns, strict=True)
        there = sa.exists().where(*(link == own for link, own in pairs))
        count = sa.select(sa.func.count()).select_from(child).where(~there)
        lost = int(connection.execute(count).scalar_one())
        if lost:
            detail = f"{lost} rows of {child.name} belong to no {tree.kind} that is there"
            yield Finding(Wrong.INSERTED, "", None, child.name, "", detail)


def _as_text(key: Key) -> str:
    return json.dumps(key)
