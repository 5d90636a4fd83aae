"""Which recipes and limit tables were approved, by whom, in the store: only ever added to. Each function gets an open
connection inside a transaction that the store owns.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from station.database import schema, write
from station.database.entries import DocumentKind, StoredText
from station.errors import UserMistake


@dataclass(frozen=True, slots=True)
class Approval:
    """A person with the right to it found that production may run by a text."""

    text: StoredText
    person: str
    made: datetime
    """Aware."""

    why: str
    """May be empty."""


def latest(connection: Connection, kind: DocumentKind, name: str) -> Approval | None:
    """The one that counts: the last one of a recipe or limit table of this name; None where there was none."""
    table, document = schema.approval, schema.document
    query = (
        sa.select(table, document.c.revision, document.c.text)
        .join_from(table, document)
        .where(table.c.kind == kind.value, table.c.name == name)
        .order_by(table.c.number.desc())
        .limit(1)
    )
    row = connection.execute(query).one_or_none()
    return None if row is None else _approval(row)


def insert(connection: Connection, approval: Approval) -> int:
    """Keep one more; its number in the database. Raises UserMistake where this very text is approved already."""
    text = approval.text
    before = latest(connection, text.kind, text.name)
    if before is not None and before.text.digest == text.digest:
        raise UserMistake(f"{text.kind} {text.name} was approved so by {before.person} already")
    table = schema.approval
    numbers = sa.select(sa.func.max(table.c.number)).where(
        table.c.kind == text.kind.value, table.c.name == text.name
    )
    row = {
        "kind": text.kind.value,
        "name": text.name,
        "number": 1 + (connection.execute(numbers).scalar_one() or 0),
        "digest": text.digest,
        "person": approval.person,
        "made": approval.made,
        "why": approval.why,
    }
    return write.insert(connection, table, row)


def _approval(row: Row[tuple[object, ...]]) -> Approval:
    text = StoredText(DocumentKind(row.kind), row.name, row.revision, row.digest, row.text)
    return Approval(text, row.person, row.made, row.why)
