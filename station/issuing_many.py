"""The certificates of all units of an order in one go: drawn and signed by as many processes as there are processors.

The store stays with this process: it reads the runs and files what comes back, in the order of the units.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from dataclasses import dataclass
from datetime import datetime
from multiprocessing import get_context
from typing import TYPE_CHECKING

from limits.verdict import Outcome
from reports.resolution import Ruling
from station.database.entries import StoredRun
from station.database.store import Store
from station.errors import UserMistake
from station.issuing import Drawn, Issued, Source, already, draw, file, source_of
from station.orders import Serial, WorkOrder
from station.progress import standing
from station.resolving import refuse_unsigned
from station.settings import Works

if TYPE_CHECKING:
    from reports.signing import SigningKey

FEW = 50
"""So many are made here: other processes take about two seconds to begin, and a certificate less than a tenth."""

AHEAD = 3
"""How many units per process are read before they are asked for, so that none waits for the store."""


@dataclass(frozen=True, slots=True)
class OrderStanding:
    """The units of an order by what their latest verdicts say."""

    order: WorkOrder
    good: tuple[Serial, ...]
    """Passed, or released by a person: those that get a certificate."""

    others: tuple[tuple[Serial, str], ...]
    """The rest, each with why not."""


def standing_of(store: Store, number: str) -> OrderStanding:
    """How the units of an order stand. Raises UserMistake where there is no such order."""
    order = next((each for each in store.orders() if each.number == number), None)
    if order is None:
        raise UserMistake(f"there is no order {number}; `station orders` lists them")
    found = {serial: standing(store.runs(serial)) for serial in order.serials}
    good = tuple(serial for serial, said in found.items() if said in (Outcome.PASS, Ruling.RELEASE))
    others = tuple((serial, _why(said)) for serial, said in found.items() if serial not in good)
    return OrderStanding(order, good, others)


def issue_many(
    works: Works, store: Store, serials: Iterable[Serial], now: datetime, key: SigningKey, processes: int = 0
) -> Iterator[Issued]:
    """The certificate of each unit's latest verdict, as soon as it is filed; what was made before is only found.

    `processes` is how many draw; by itself this one for a few, else one for each processor; this one alone for a key
    on a token. Raises what
    `issuing.issue` raises; what was filed by then stays.
    """
    # Runs are read one after the other: with their sweeps, those of a large order would fill the memory.
    wanted = list(serials)
    runs = (run for run in map(store.latest_judged, wanted) if run is not None)
    tasks = (already(works, store, run) or _source(works, store, run) for run in runs)
    if processes == 1 or not key.can_travel or (not processes and len(wanted) <= FEW):
        yield from (_filed(store, task, now, key) for task in tasks)
        return
    count = processes or os.cpu_count() or 1
    with ProcessPoolExecutor(count, get_context("spawn"), _begin, (key, now)) as pool:
        waiting: deque[Issued | tuple[Source, Future[Drawn]]] = deque()
        for task in tasks:
            waiting.append(task if isinstance(task, Issued) else (task, pool.submit(_drawn, task)))
            if len(waiting) > AHEAD * count:
                yield _next(store, waiting.popleft(), now, key)
        while waiting:
            yield _next(store, waiting.popleft(), now, key)


def _source(works: Works, store: Store, run: StoredRun) -> Source:
    refuse_unsigned(works, run)
    return source_of(works, store, run)


def _next(
    store: Store, task: Issued | tuple[Source, Future[Drawn]], now: datetime, key: SigningKey
) -> Issued:
    if isinstance(task, Issued):
        return task
    source, drawn = task
    return file(store, source, drawn.result(), now, lambda: key)


def _filed(store: Store, task: Issued | Source, now: datetime, key: SigningKey) -> Issued:
    if isinstance(task, Issued):
        return task
    return file(store, task, draw(task, now, lambda: key), now, lambda: key)


def _why(said: Outcome | Ruling | None) -> str:
    return {
        None: "not tested",
        Outcome.FAIL: "failed",
        Outcome.UNDECIDED: "undecided",
        Ruling.REJECT: "rejected",
    }.get(said, "")


class _Signer:
    """What a process of the pool signs with: set once, when it begins."""

    key: SigningKey
    now: datetime


def _begin(key: SigningKey, now: datetime) -> None:
    _Signer.key, _Signer.now = key, now


def _drawn(source: Source) -> Drawn:
    return draw(source, _Signer.now, lambda: _Signer.key)
