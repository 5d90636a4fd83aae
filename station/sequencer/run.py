"""One pass of a recipe over one unit. Every sweep is stored before anything is computed from it.

A run ends judged, or broken off by a station fault or by the operator; what was measured until then is kept, and
the unit can be tested again at once.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from limits.decide import judge
from limits.quantity import Channels
from limits.reading import Curve, Reading
from limits.table import LimitTable
from limits.verdict import Verdict
from station.database.entries import RunHead, RunId, RunKey, RunState
from station.errors import DoubtfulMeasurement, StationFault, StoreFault
from station.instruments.analyzer import Analyzer, SweepOrder
from station.measurements.budget import with_uncertainty
from station.measurements.correction import correct
from station.measurements.figures import Figures
from station.measurements.load import Loads
from station.measurements.plausibility import doubt_about
from station.measurements.sweep import Hookup, Sweep
from station.sequencer.events import (
    HookupAsked,
    HookupDoubted,
    Listener,
    LoadsTakenOut,
    ReadingMade,
    RunBroken,
    RunStarted,
    SweepStored,
    VerdictReached,
)
from station.sequencer.operator import Operator
from station.sequencer.plan import Plan

Clock = Callable[[], datetime]

LOOK_AGAIN = 1
"""How often in a run the operator is asked to look at the same hook-up again: a mistake once seen is put right, and
what remains after that is no slip of the hand."""


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be done to one unit, with nothing left to look up."""

    head: RunHead
    channels: Channels
    plan: Plan
    table: LimitTable
    figures: Figures | None = None
    """What the bench is stated to be worth; None where nothing is stated."""
    loads: Loads | None = None
    """What the idle ports carry, where that was measured."""


class Records(Protocol):
    """What a run needs of the store."""

    def begin(self, head: RunHead) -> RunKey:
        """Enter a new run."""
        ...

    def keep_sweep(self, run_id: RunId, sweep: Sweep) -> int:
        """Keep a sweep for good; its place in the run."""
        ...

    def keep_doubt(self, run_id: RunId, position: int, doubt: str) -> None:
        """Note why a kept sweep is not believed."""
        ...

    def finish(
        self, run_id: RunId, readings: Sequence[Reading], verdict: Verdict, finished: datetime
    ) -> None:
        """Keep what came of a run."""
        ...

    def break_off(self, run_id: RunId, state: RunState, why: str, finished: datetime) -> None:
        """End a run without a verdict."""
        ...


@dataclass(frozen=True, slots=True)
class Means:
    """What a run is done with."""

    analyzer: Analyzer
    operator: Operator
    store: Records
    clock: Clock
    listen: Listener


@dataclass(frozen=True, slots=True)
class Judged:
    """A run that ended in a verdict."""

    key: RunKey
    verdict: Verdict


def run_unit(task: Task, means: Means) -> Judged:
    """Sweep, store, read, judge, store.

    Raises station.errors.StationFault when the station fails and KeyboardInterrupt when the operator stops; the run
    is closed as what it is, also when the program itself is at fault.
    """
    key = means.store.begin(task.head)
    means.listen(
        RunStarted(task.head.serial, key.run_number, tuple(order.hookup for order in task.plan.orders))
    )
    try:
        sweeps = _sweep(task, means, key)
        readings = read(task.plan, _without_loads(task, means, sweeps), task.figures)
        for reading in readings:
            means.listen(ReadingMade(reading))
        verdict = judge(task.table, readings, task.channels)
        numbers = tuple(reading for reading in readings if isinstance(reading, Reading))
        means.store.finish(key.run_id, numbers, verdict, means.clock())
    except StationFault as fault:
        _break_off(means, key, RunState.STATION_FAULT, str(fault))
        raise
    except KeyboardInterrupt:
        _break_off(means, key, RunState.STOPPED, "stopped by the operator")
        raise
    except BaseException as fault:
        _break_off(means, key, RunState.STATION_FAULT, f"the program failed: {type(fault).__name__}: {fault}")
        raise
    means.listen(VerdictReached(verdict))
    return Judged(key, verdict)


def read(
    plan: Plan, sweeps: Mapping[Hookup, Sweep], figures: Figures | None = None
) -> tuple[Reading | Curve, ...]:
    """The readings of all characteristics, in the recipe's order; needs no bench, so it also re-reads old sweeps."""
    return tuple(with_uncertainty(item, item.read(sweeps), sweeps, figures) for item in plan.characteristics)


def _sweep(task: Task, means: Means, key: RunKey) -> dict[Hookup, Sweep]:
    """One believed sweep per hook-up.

    A doubt sends its hook-ups to the operator again, each LOOK_AGAIN times at most; a doubt that remains ends the
    run as station.errors.DoubtfulMeasurement, since a cabling mistake says nothing of the unit.
    """
    kept: dict[Hookup, tuple[int, Sweep]] = {}
    looks: Counter[Hookup] = Counter()
    reasons: dict[Hookup, str] = {}
    waiting = deque(task.plan.orders)
    while waiting:
        order = waiting.popleft()
        position, sweep = _take(task, means, key, order, reasons.pop(order.hookup, ""))
        doubt = doubt_about(sweep, [earlier for _, earlier in kept.values()], task.channels)
        kept[order.hookup] = (position, sweep)
        if doubt is None:
            continue
        for hookup in doubt.hookups:
            means.store.keep_doubt(key.run_id, kept.pop(hookup)[0], doubt.words)
        means.listen(HookupDoubted(doubt))
        if any(looks[hookup] >= LOOK_AGAIN for hookup in doubt.hookups):
            raise DoubtfulMeasurement(f"{doubt.words} It was looked at again, and the doubt remains.")
        looks.update(doubt.hookups)
        reasons.update(dict.fromkeys(doubt.hookups, doubt.words))
        again = [each for hookup in doubt.hookups for each in task.plan.orders if each.hookup == hookup]
        waiting.extendleft(reversed(again))
    return {order.hookup: kept[order.hookup][1] for order in task.plan.orders}


def _take(task: Task, means: Means, key: RunKey, order: SweepOrder, reason: str) -> tuple[int, Sweep]:
    """Have the unit cabled, sweep it and keep the sweep; with a reason, the operator is asked to look again."""
    means.listen(HookupAsked(order.hookup))
    if reason:
        means.operator.look_again(task.head.serial, order.hookup, reason)
    else:
        means.operator.hook_up(task.head.serial, order.hookup)
    sweep = means.analyzer.sweep(order)
    position = means.store.keep_sweep(key.run_id, sweep)
    means.listen(SweepStored(sweep))
    return position, sweep


def _without_loads(task: Task, means: Means, sweeps: Mapping[Hookup, Sweep]) -> Mapping[Hookup, Sweep]:
    """The sweeps as with perfect loads, where those are known; refused where they contradict each other."""
    corrected = correct(sweeps.values(), task.loads)
    if corrected.consistency is not None:
        means.listen(LoadsTakenOut(corrected.consistency))
        if corrected.consistency.doubt:
            raise DoubtfulMeasurement(corrected.consistency.doubt)
    return corrected.sweeps


def _break_off(means: Means, key: RunKey, state: RunState, why: str) -> None:
    """Close the run; when the store itself is what failed, the run stays open there and the first fault is told."""
    try:
        means.store.break_off(key.run_id, state, why, means.clock())
    except StoreFault as second:
        why = f"{why}; and the run could not be closed: {second}"
    means.listen(RunBroken(why))
