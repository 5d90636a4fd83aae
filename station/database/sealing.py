"""Records from before there was a ledger are entered into it when their database is brought to today's form.

They are entered kind by kind in the order of the catalog, each kind in the order of its rows, and each line says that
it came late: the ledger shows them unchanged from that day on, and says nothing of the time before.
"""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from station.database import schema
from station.database.gather import Key
from station.database.ledger import Chain
from station.database.trees import TREES, Tree

LATE = "was there before the ledger"
_AT_ONCE = 200


def seal(connection: Connection, chain: Chain) -> None:
    """Enter every closed record that has no line, where no line was ever entered."""
    if connection.execute(sa.select(schema.ledger_entry.c.number).limit(1)).one_or_none() is not None:
        return
    for tree in TREES:
        for keys in pages(connection, tree):
            chain.enter(connection, [(tree.kind, key) for key in keys], LATE)


def pages(connection: Connection, tree: Tree, size: int = _AT_ONCE) -> Iterator[list[Key]]:
    """The keys of every closed record of a kind, in their order, so many at once."""
    columns = list(tree.root.primary_key.columns)
    query = sa.select(*columns).order_by(*columns).limit(size)
    if tree.still_open is not None:
        query = query.where(~tree.still_open)
    after: Key | None = None
    while True:
        next_page = query if after is None else query.where(sa.tuple_(*columns) > sa.tuple_(*after))
        keys = [tuple(row) for row in connection.execute(next_page)]
        if keys:
            yield keys
        if len(keys) < size:
            return
        after = keys[-1]
