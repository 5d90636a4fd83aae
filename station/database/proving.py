"""What shows one record to somebody who has no other: gathered from the store for `reports.proof`."""

from __future__ import annotations

from typing import Any

from sqlalchemy.engine import Connection

from reports.canonical import digest_of
from reports.chain import BEGINNING, Head
from reports.proof import Proof
from station.database.gather import gather
from station.database.ledger import KeptEntry, entries, head_after
from station.database.trees import tree_of
from station.errors import StoreFault, UserMistake


def proof(connection: Connection, kept: KeptEntry) -> Proof:
    """The proof of a line's record.

    Raises UserMistake where nothing signed depends on it yet, StoreFault where the record is not as it was entered.
    """
    entry = kept.entry
    name = f"{entry.kind} {entry.key}"
    content = _content(connection, kept)
    if content is None:
        raise StoreFault(f"{name} is not as it was entered; `station ledger` tells all that was changed")
    head = head_after(connection, entry.station, entry.number)
    if head is None:
        raise UserMistake(
            f"{name} was entered after the last signature; sign the ledger with `station ledger --sign` first"
        )
    before = entries(connection, entry.station, entry.number - 2, 1) if entry.number > 1 else ()
    after = _between(connection, kept, head)
    return Proof(content, entry, before[0].link if before else BEGINNING, after, head)


def as_entered(connection: Connection, kept: KeptEntry) -> bool:
    """Whether a line's record still says what it said when it was entered; the chain itself is not looked at."""
    return _content(connection, kept) is not None


def _content(connection: Connection, kept: KeptEntry) -> dict[str, Any] | None:
    """What a line's record says; None where it is not as it was entered."""
    tree, key = tree_of(kept.entry.kind), kept.record
    content = None if tree is None or key is None else gather(connection, tree, [key]).get(key)
    return None if content is None or digest_of(content) != kept.entry.content else content


def _between(connection: Connection, kept: KeptEntry, head: Head) -> tuple[str, ...]:
    """The digests of the lines after this one, up to the signed one."""
    digests: list[str] = []
    number = kept.entry.number
    while number < head.mark.number:
        page = entries(connection, kept.entry.station, number)
        if not page:
            raise StoreFault(f"the ledger of {kept.entry.station} ends before line {head.mark.number}")
        wanted = [each for each in page if each.entry.number <= head.mark.number]
        digests += [each.entry.digest for each in wanted]
        number = page[-1].entry.number
    return tuple(digests)
