"""The worker that carries a station's records to the database of the works, in a program of its own.

The station itself never waits for it: it commits to its own store, whether or not the works' database can be reached.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from station.database.carrying import Backlog, Carried
from station.database.store import Store
from station.errors import StoreFault, UserMistake
from station.settings import Works

FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 60.0
"""While there is nothing to carry, or the works' database is away, it looks again so often at least."""


@contextmanager
def works_store(works: Works) -> Iterator[Store]:
    """The database of the works. Raises UserMistake where none is named, StoreFault where it cannot be reached."""
    if works.works_database is None:
        raise UserMistake(
            f"{works.folder / 'works.yaml'} names no database of the works; write its URL there as 'works_database'"
        )
    with Store.open(works.works_database, create=True) as store:
        yield store


def carry_all(works: Works, here: Store) -> Iterator[Carried]:
    """Carry page by page until all is there. Raises what `works_store` does."""
    with works_store(works) as there:
        while (page := here.ledger.carry(there.ledger)).lines:
            yield page


def how_far(works: Works, here: Store) -> Backlog:
    """How much is still to be carried. Raises what `works_store` does."""
    with works_store(works) as there:
        return here.ledger.backlog(there.ledger)


def stay(
    works: Works, here: Store, tell: Callable[[Carried | StoreFault], None], wait: Callable[[float], None]
) -> None:
    """Go on for ever, over any outage; waits longer after each go that carried nothing."""
    pause_s = FIRST_WAIT_S
    while True:
        try:
            for page in carry_all(works, here):
                tell(page)
                pause_s = FIRST_WAIT_S
        except StoreFault as fault:
            tell(fault)
        wait(pause_s)
        pause_s = min(2 * pause_s, LONGEST_WAIT_S)
