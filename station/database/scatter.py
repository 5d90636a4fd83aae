"""Records put into another database: the way back from `gather`, with that database's own numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from station.database import schema
from station.database.gather import Blobs, Content, Key, link_columns
from station.database.trees import NATURAL, SECRET, Tree


class Homeless(Exception):
    """A record refers to one that this database does not have."""


def find(connection: Connection, tree: Tree, content: Content) -> Key | None:
    """The record that is known by the same name here; None where there is none, or where records have no name."""
    columns = _identity(tree.root)
    if not columns:
        return None
    row = _row(connection, tree.root, content, {})
    query = sa.select(*tree.root.primary_key.columns).where(
        *(column == row.get(column.name) for column in columns)
    )
    found = connection.execute(query).first()
    return None if found is None else tuple(found)


def scatter(connection: Connection, tree: Tree, content: Content, blobs: Blobs) -> Key:
    """Write a record's rows; the key of its root row. Raises Homeless, and what the database raises."""
    root = tree.root
    row = _row(connection, root, content, blobs)
    key = connection.execute(root.insert().returning(*root.primary_key.columns), row).one()
    own = dict(zip((column.name for column in root.primary_key.columns), key, strict=True))
    for child in tree.children:
        links = zip(link_columns(root, child), root.primary_key.columns, strict=True)
        linked = {link.name: own[column.name] for link, column in links}
        rows = [{**_row(connection, child, each, blobs), **linked} for each in content.get(child.name, ())]
        if rows:
            connection.execute(child.insert(), rows)
    return tuple(key)


def _identity(table: sa.Table) -> Sequence[sa.Column[Any]]:
    """The columns by which a row is known everywhere: its key where that is no mere number, or what is unique."""
    if "id" not in table.primary_key.columns:
        return list(table.primary_key.columns)
    unique = (each for each in table.constraints if isinstance(each, sa.UniqueConstraint))
    return next((list(each.columns) for each in unique), [])


def _row(connection: Connection, table: sa.Table, content: Mapping[str, Any], blobs: Blobs) -> dict[str, Any]:
    """One row but for what links it to its root; every column named, so that rows can be written together."""
    row: dict[str, Any] = {}
    for column in table.columns:
        if column.name == "id":
            continue
        target = next(
            (key.column.table for key in column.foreign_keys if key.column.table.name in NATURAL), None
        )
        if target is None:
            row[column.name] = _value(column, content.get(column.name), blobs)
        elif (told := content.get(column.name.removesuffix("_id"))) is not None:
            row[column.name] = _number(connection, target, told)
        else:
            row[column.name] = None
    return row


def _number(connection: Connection, table: sa.Table, told: Any) -> int:
    """This database's number of a record that is told by its natural key."""
    names = NATURAL[table.name]
    values = told if isinstance(told, dict) else {names[0]: told}
    wanted = _row(connection, table, values, {})
    query = sa.select(sa.func.min(table.c.id)).where(*(table.c[name] == wanted[name] for name in names))
    number = connection.execute(query).scalar_one()
    if number is None:
        raise Homeless(f"it refers to a {table.name} that is not here: {told}")
    return int(number)


def _value(column: sa.Column[Any], told: Any, blobs: Blobs) -> Any:
    if told is None:
        return None
    if f"{column.table.name}.{column.name}" in SECRET:
        return blobs.get(told, b"").decode()
    if isinstance(column.type, schema.UtcTime):
        return datetime.fromisoformat(told)
    if isinstance(column.type, sa.Date):
        return date.fromisoformat(told)
    if isinstance(column.type, sa.LargeBinary):
        return blobs.get(told, b"")
    return told
