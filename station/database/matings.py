"""How often the cables of a bench were screwed on, in the store: one row for each time, and one for each service.

Nothing is ever changed: a service begins a new count, and the rows before it stay. Each function gets an open
connection inside a transaction that the store owns.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from station.database import schema, write


@dataclass(frozen=True, slots=True)
class Service:
    """A person gauged or replaced a cable's connector."""

    made: datetime
    """Aware."""

    person: str
    why: str
    """What was done; may be empty."""


@dataclass(frozen=True, slots=True)
class CableCount:
    """What the store knows of one cable."""

    matings: int = 0
    """Since its last service."""

    services: tuple[Service, ...] = ()
    """The oldest first."""


def keep_matings(connection: Connection, station: str, made: Mapping[str, int], when: datetime) -> list[int]:
    """Add so many matings to each cable of a station; the numbers of the new rows."""
    rows = [
        {"station": station, "cable": cable, "made": when, "matings": int(matings), "person": "", "why": ""}
        for cable, matings in made.items()
    ]
    return [write.insert(connection, schema.cable_event, row) for row in rows]


def keep_service(connection: Connection, station: str, cable: str, service: Service) -> int:
    """Begin a cable's count anew; the number of the new row."""
    row = {
        "station": station,
        "cable": cable,
        "made": service.made,
        "matings": 0,
        "person": service.person,
        "why": service.why,
    }
    return write.insert(connection, schema.cable_event, row)


def counts(connection: Connection, station: str) -> dict[str, CableCount]:
    """Every cable of a station that was ever screwed on or serviced, by name."""
    table = schema.cable_event
    here = table.c.station == station
    query = sa.select(table).where(here, table.c.matings == 0).order_by(table.c.id)
    services: dict[str, list[Service]] = {}
    for row in connection.execute(query):
        services.setdefault(row.cable, []).append(Service(row.made, row.person, row.why))
    last = (
        sa.select(table.c.cable, sa.func.max(table.c.id).label("id"))
        .where(here, table.c.matings == 0)
        .group_by(table.c.cable)
        .subquery()
    )
    since = (
        sa.select(table.c.cable, sa.func.sum(table.c.matings))
        .join(last, last.c.cable == table.c.cable, isouter=True)
        .where(here, table.c.id > sa.func.coalesce(last.c.id, 0))
        .group_by(table.c.cable)
    )
    matings = {cable: int(count) for cable, count in connection.execute(since)}
    return {
        cable: CableCount(matings.get(cable, 0), tuple(services.get(cable, ())))
        for cable in sorted({*matings, *services})
    }
