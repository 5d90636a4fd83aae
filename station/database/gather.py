"""Records as one value each, gathered from their rows by the trees of `trees`.

The same record gives the same content on every database, whatever numbers its rows have there.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import cache
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from reports.chain import moment_text
from station.database import schema
from station.database.trees import NATURAL, SECRET, Tree

Content = dict[str, Any]
"""A record as JSON can say it."""

Key = tuple[Any, ...]
"""The primary key of a record's root row."""

Blobs = dict[str, bytes]
"""Packed data by its SHA-256."""


def gather(
    connection: Connection, tree: Tree, keys: Sequence[Key], blobs: Blobs | None = None
) -> dict[Key, Content]:
    """The content of those of these records that are there; a few hundred at most.

    `blobs`, where given, is filled with the packed data that the contents only name.
    """
    if not keys:
        return {}
    root, *children = _queries(tree)
    wanted = {"rows": [key[0] for key in keys] if len(tree.root.primary_key) == 1 else list(keys)}
    found = dict(_rows(connection, root, wanted, blobs))
    for query in children:
        for key, content in _rows(connection, query, wanted, blobs):
            if key in found:
                found[key].setdefault(query.table, []).append(content)
    return found


def named(tree: Tree, content: Content) -> str:
    """What a person calls the record. Tells what it can of one that was spoilt."""
    try:
        return " ".join(tree.key.format_map(content).split())
    except (KeyError, TypeError, ValueError):
        return f"a {tree.kind} that has lost its name"


Convert = Callable[[Any], Any]


@dataclass(frozen=True, slots=True)
class _Query:
    """How the rows of one table are asked for, and where each of their values goes."""

    table: str
    select: sa.Select[Any]
    keys: int
    """So many of the first columns are the key of the record's root row."""

    fields: tuple[tuple[tuple[str, ...], Convert | None, bool], ...]
    """Of each further column: its place in the content, what makes it JSON, whether it is packed data."""


@dataclass
class _Builder:
    """Collects columns and joins for one table."""

    source: sa.FromClause
    columns: list[sa.ColumnElement[Any]] = field(default_factory=list)
    fields: list[tuple[tuple[str, ...], Convert | None, bool]] = field(default_factory=list)

    def add(
        self, table: sa.FromClause, names: Iterable[str], original: sa.Table, place: tuple[str, ...]
    ) -> None:
        """Take columns of a table, or of an alias of it; those that refer to a record are followed."""
        for name in names:
            target = _referred(original.c[name])
            if target is None:
                self.fields.append((self._place(place, name), *_converter(original.c[name])))
                self.columns.append(table.c[name])
                continue
            there = target.alias()
            self.source = self.source.join(there, there.c.id == table.c[name], isouter=True)
            self.add(there, NATURAL[target.name], target, (*place, name.removesuffix("_id")))

    def _place(self, place: tuple[str, ...], name: str) -> tuple[str, ...]:
        # A key of one column stands for the record by itself: `unit: SKV-0101`.
        return place if place and name in _LONE else (*place, name.removesuffix("_id"))


_LONE = {names[0] for names in NATURAL.values() if len(names) == 1}


def _referred(column: sa.Column[Any]) -> sa.Table | None:
    """The record's table that a column refers to by a number that only this database knows."""
    targets = [key.column.table for key in column.foreign_keys if key.column.table.name in NATURAL]
    return targets[0] if targets else None


@cache
def _queries(tree: Tree) -> tuple[_Query, ...]:
    root = tree.root
    own = list(root.primary_key.columns)
    names = [column.name for column in root.columns if column.name != "id"]
    return (_query(root, own, names, ()), *(_child_query(root, child) for child in tree.children))


def _child_query(root: sa.Table, child: sa.Table) -> _Query:
    links = link_columns(root, child)
    skipped = {"id", *(column.name for column in links)}
    names = [column.name for column in child.columns if column.name not in skipped]
    return _query(child, links, names, order_columns(root, child))


def link_columns(root: sa.Table, child: sa.Table) -> list[sa.Column[Any]]:
    """The columns by which a child's rows know their root row, in the order of its primary key."""
    (constraint,) = (each for each in child.foreign_key_constraints if each.referred_table is root)
    there = {element.column.name: element.parent for element in constraint.elements}
    return [there[column.name] for column in root.primary_key.columns]


def order_columns(root: sa.Table, child: sa.Table) -> list[sa.Column[Any]]:
    """What puts the rows of one record in their order."""
    if "position" in child.c:
        return [child.c.position]
    linked = {column.name for column in link_columns(root, child)}
    return [column for column in child.primary_key.columns if column.name not in linked]


def _query(
    table: sa.Table, keys: Sequence[sa.Column[Any]], names: Sequence[str], order: Sequence[sa.Column[Any]]
) -> _Query:
    builder = _Builder(table)
    builder.add(table, names, table, ())
    rows: sa.BindParameter[Any] = sa.bindparam("rows", expanding=True)
    chosen = keys[0].in_(rows) if len(keys) == 1 else sa.tuple_(*keys).in_(rows)
    columns = [each.label(f"c{place}") for place, each in enumerate((*keys, *builder.columns))]
    select = sa.select(*columns).select_from(builder.source).where(chosen).order_by(*keys, *order)
    return _Query(table.name, select, len(keys), tuple(builder.fields))


def _rows(
    connection: Connection, query: _Query, wanted: dict[str, Any], blobs: Blobs | None
) -> Iterator[tuple[Key, Content]]:
    for row in connection.execute(query.select, wanted):
        content: Content = {}
        for (place, convert, packed), value in zip(query.fields, row[query.keys :], strict=True):
            if value is None:
                continue
            plain = value if convert is None else convert(value)
            if packed and blobs is not None:
                blobs[plain] = value.encode() if isinstance(value, str) else bytes(value)
            _put(content, place, plain)
        yield tuple(row[: query.keys]), content


def _put(content: Content, place: tuple[str, ...], value: Any) -> None:
    for name in place[:-1]:
        content = content.setdefault(name, {})
    content[place[-1]] = value


def _converter(column: sa.Column[Any]) -> tuple[Convert | None, bool]:
    """What makes a column's value JSON, and whether it is told by its digest."""
    kind = column.type
    if f"{column.table.name}.{column.name}" in SECRET:
        return _sha256_of_text, True
    if isinstance(kind, schema.UtcTime):
        return moment_text, False
    if isinstance(kind, sa.Date):
        return date.isoformat, False
    if isinstance(kind, sa.LargeBinary):
        return _sha256, True
    return None, False


def _sha256_of_text(text: str) -> str:
    return _sha256(text.encode())


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
