"""What can be asked of the ledger in an open store."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sqlalchemy.engine import Connection

from reports.chain import Head, Mark
from station.database import ledger
from station.database.ledger import KeptEntry

if TYPE_CHECKING:
    from reports.proof import Proof
    from station.database.audit import Finding, HeadCheck, Tally
    from station.database.carrying import Backlog, Carried

Transaction = Callable[[], AbstractContextManager[Connection]]


@dataclass(frozen=True, slots=True)
class StoredLedger:
    """The ledger of one store."""

    reading: Transaction
    writing: Transaction
    station: str
    """Whose chain this program writes."""

    def end(self) -> tuple[Mark, Head | None]:
        """How far this station's chain has come, and the newest place of it that was signed."""
        with self.reading() as connection:
            return ledger.last(connection, self.station), ledger.last_head(connection, self.station)

    def keep_head(self, head: Head) -> None:
        """Keep a signed place, unless it was signed before. Raises StoreFault where the chain does not say so."""
        with self.writing() as connection:
            ledger.keep_head(connection, head)

    def audit(self, check: HeadCheck, tally: Tally) -> Iterator[Finding]:
        """All that is no longer as it was entered, in every station's chain; `check` judges signatures."""
        with self.reading() as connection:
            from station.database.audit import audit

            yield from audit(connection, check, tally)

    def carry(self, to: StoredLedger) -> Carried:
        """Carry this station's next lines and their records to another store; none where all are there.

        Raises StoreFault where the other store cannot be reached or has another chain of this name.
        """
        from station.database.carrying import carry_page

        with self.reading() as here, to.writing() as there:
            return carry_page(here, there, self.station)

    def backlog(self, to: StoredLedger) -> Backlog:
        """How much is still to be carried."""
        from station.database.carrying import backlog

        with self.reading() as here, to.reading() as there:
            return backlog(here, there, self.station)

    def lines(self, key: str) -> tuple[KeptEntry, ...]:
        """The lines of the records that people know by this key."""
        with self.reading() as connection:
            return ledger.of_key(connection, key)

    def as_entered(self, kept: KeptEntry) -> bool:
        """Whether a line's record still says what it said when it was entered."""
        with self.reading() as connection:
            from station.database.proving import as_entered

            return as_entered(connection, kept)

    def keys(self, start: str) -> tuple[str, ...]:
        """Some keys that begin so."""
        with self.reading() as connection:
            return ledger.keys_like(connection, start)

    def proof(self, kept: KeptEntry) -> Proof:
        """What shows one record without any other. Raises UserMistake where it cannot be shown, with the way out."""
        with self.reading() as connection:
            from station.database.proving import proof

            return proof(connection, kept)
