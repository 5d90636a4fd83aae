"""The works' people, and what they asked to do, in the store: only ever added to, never changed or taken out.

Each function gets an open connection inside a transaction that the store owns.
"""

from __future__ import annotations

import hashlib
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from station.database import person, schema, write
from station.database.person import ActEntry, Answer, Change, PersonEvent, name_key
from station.errors import StoreFault
from station.rights import Act, Role


def events(connection: Connection) -> tuple[PersonEvent, ...]:
    """Everything recorded of people, the oldest first."""
    table, secret = schema.person_event, schema.person_secret
    query = sa.select(table, secret.c.secret).join_from(table, secret, isouter=True).order_by(table.c.id)
    return tuple(_event(row) for row in connection.execute(query))


def is_anybody(connection: Connection) -> bool:
    """Whether the works has registered anybody."""
    return connection.execute(sa.select(schema.person_event.c.id).limit(1)).first() is not None


def insert(connection: Connection, event: PersonEvent) -> int:
    """Record one thing more; its number in the database. Raises UserMistake where it may not follow what there is."""
    if connection.dialect.name != "sqlite":
        # Two at once must not each retire the other's last administrator. SQLite has one writer at a time anyway.
        connection.execute(sa.text("LOCK TABLE person_event IN SHARE ROW EXCLUSIVE MODE"))
    there = events(connection)
    person.refuse(there, event)
    key = name_key(event.name)
    row = {
        "name_key": key,
        "number": 1 + sum(name_key(each.name) == key for each in there),
        "name": event.name,
        "change": event.change.value,
        "roles": " ".join(sorted(event.roles)),
        "badge": event.badge,
        "secret_sha256": _sha256(event.secret) if event.secret else None,
        "person": event.by,
        "made": event.made,
    }
    table = schema.person_event
    event_id = connection.execute(table.insert().returning(table.c.id), row).scalar_one()
    if event.secret:
        connection.execute(schema.person_secret.insert(), {"event_id": event_id, "secret": event.secret})
    return int(event_id)


def insert_act(connection: Connection, entry: ActEntry) -> int:
    """Keep what somebody asked to do, and what they were told; its number in the database."""
    row = {
        "name_key": name_key(entry.name),
        "name": entry.name,
        "act": entry.act.value if entry.act else None,
        "about": entry.about,
        "made": entry.made,
        "answer": entry.answer.value,
    }
    return write.insert(connection, schema.act, row)


def acts(connection: Connection, most: int) -> tuple[ActEntry, ...]:
    """The latest so many, the newest first."""
    query = sa.select(schema.act).order_by(schema.act.c.id.desc()).limit(most)
    return tuple(
        ActEntry(row.name, Act(row.act) if row.act else None, row.about, row.made, Answer(row.answer))
        for row in connection.execute(query)
    )


def wrong_since(connection: Connection, name: str, since: datetime) -> tuple[datetime, ...]:
    """When a wrong PIN was given for a name after its last right one, the oldest first; none from before `since`."""
    table = schema.act.c
    mine = table.name_key == name_key(name)
    right = sa.select(sa.func.coalesce(sa.func.max(table.id), 0)).where(
        mine, table.answer != Answer.WRONG.value
    )
    query = (
        sa.select(table.made)
        .where(
            mine,
            table.answer == Answer.WRONG.value,
            table.made > since,
            table.id > right.scalar_subquery(),
        )
        .order_by(table.id)
    )
    return tuple(connection.execute(query).scalars())


def _event(row: Row[tuple[object, ...]]) -> PersonEvent:
    secret = row.secret or ""
    if row.secret_sha256 != (_sha256(secret) if secret else None):
        raise StoreFault(
            f"the PIN of {row.name} is not the one that was set; the database was changed by hand"
        )
    return PersonEvent(
        name=row.name,
        change=Change(row.change),
        by=row.person,
        made=row.made,
        roles=tuple(Role(each) for each in row.roles.split()),
        badge=row.badge,
        secret=secret,
    )


def _sha256(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()
