"""How far each work order has come."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from limits.verdict import Outcome
from reports.resolution import Ruling
from station.database.entries import RunLine
from station.database.store import Store
from station.orders import WorkOrder


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a work order has come."""

    order: WorkOrder
    passed: int
    """Units whose latest verdict is pass."""

    failed: int
    undecided: int
    """Of those that a person has not decided either."""

    released: int
    """By a person, where the latest verdict is undecided; so are the rejected ones."""

    rejected: int

    @property
    def untested(self) -> int:
        """Units that have no verdict yet."""
        told = self.passed + self.failed + self.undecided + self.released + self.rejected
        return len(self.order.serials) - told

    @property
    def is_open(self) -> bool:
        """Whether some unit of it still has to pass."""
        return self.passed < len(self.order.serials)


def progress(store: Store) -> tuple[Progress, ...]:
    """Of every work order, in the order of entry."""
    return tuple(_of(order, store) for order in store.orders())


def _of(order: WorkOrder, store: Store) -> Progress:
    counted = Counter(standing(store.runs(serial)) for serial in order.serials)
    return Progress(
        order,
        passed=counted[Outcome.PASS],
        failed=counted[Outcome.FAIL],
        undecided=counted[Outcome.UNDECIDED],
        released=counted[Ruling.RELEASE],
        rejected=counted[Ruling.REJECT],
    )


def standing(runs: Sequence[RunLine]) -> Outcome | Ruling | None:
    """What the latest verdict of a unit says, or the person who decided it; None without one."""
    latest = next((line for line in reversed(runs) if line.outcome is not None), None)
    if latest is None:
        return None
    return latest.outcome if latest.resolution is None else latest.resolution.ruling
