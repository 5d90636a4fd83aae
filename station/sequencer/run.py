"""One pass of a recipe over one unit. Every sweep is stored before anything is computed from it.

A run ends judged, or broken off by a station fault or by the operator; what was measured until then is kept, and
the unit can be tested again at once.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from limits.quantity import Channels
from limits.reading import Curve, Reading
from limits.verdict import Verdict
from station.database.entries import RunHead, RunId, RunKey, RunState
from station.errors import DoubtfulMeasurement, StationFault, StoreFault
from station.instruments.analyzer import Analyzer, SweepOrder
from station.measurements.budget import with_uncertainty
from station.measurements.doubt import Doubt
from station.measurements.evaluation import BenchData, evaluate, pairs_of
from station.measurements.figures import Figures
from station.measurements.plausibility import CHECKS, Check, doubt_about
from station.measurements.sweep import Hookup, Sweep
from station.sequencer.care import Care
from station.sequencer.conditions import UNKNOWN, Climate, unsteady
from station.sequencer.events import (
    HookupAsked,
    HookupDoubted,
    Listener,
    LoadsTakenOut,
    ReadingMade,
    RunBroken,
    RunStarted,
    SweepStored,
    SweptAgain,
    VerdictReached,
)
from station.sequencer.operator import Operator
from station.sequencer.plan import Plan
from station.sequencer.second_look import second_look

Clock = Callable[[], datetime]
Judge = Callable[[Sequence[Reading | Curve]], Verdict]

LOOK_AGAIN = 1
"""How often in a run the operator is asked to look at the same hook-up again: a mistake once seen is put right, and
what remains after that is no slip of the hand."""


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be done to one unit, with nothing left to look up."""

    head: RunHead
    channels: Channels
    plan: Plan
    judge: Judge
    """What the readings say of it: by its limit table, or by what is known of a check standard."""

    data: BenchData
    """What is known of the bench."""

    checks: tuple[Check, ...] = CHECKS
    """How its hook-ups are doubted."""

    climate: Climate = UNKNOWN
    """How the unit was found at the bench."""

    care: Care | None = None
    """What is swept again with more care; None where everything is swept once."""


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

    def keep_end_temperature(self, run_id: RunId, temperature_c: float) -> None:
        """Note how warm the unit was when its last sweep was done."""
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
    end_c: Callable[[], float | None] = lambda: None
    """Measures the unit's temperature once more; None where nobody does."""


@dataclass(frozen=True, slots=True, eq=False)
class Kept:
    """A sweep and its place in the run's records."""

    position: int
    sweep: Sweep


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
    means.listen(RunStarted(task.head.serial, key.run_number, task.plan.cablings))
    try:
        sweeps = _sweep(task, means, key)
        readings = read(task.plan, _evaluated(task, means, sweeps), task.data.figures)
        for reading in readings:
            means.listen(ReadingMade(reading))
        _expect_steady(task, means, key)
        verdict = task.judge(readings)
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
    return tuple(
        with_uncertainty(item, item.read(sweeps, figures), sweeps, figures) for item in plan.characteristics
    )


def _sweep(task: Task, means: Means, key: RunKey) -> list[Sweep]:
    """The believed sweeps, those of each order together.

    A doubt sends its hook-ups to the operator again, each LOOK_AGAIN times at most; a doubt that remains ends the
    run as station.errors.DoubtfulMeasurement, since a cabling mistake says nothing of the unit.
    """
    kept: dict[Hookup, list[Kept]] = {}
    looks: Counter[Hookup] = Counter()
    cabled: Hookup | None = None
    reason = ""
    reasons: dict[Hookup, str] = {}
    waiting = deque(task.plan.orders)
    left_s = task.care.effort.at_most_s if task.care else 0.0
    while waiting:
        order = waiting.popleft()
        cabling = task.plan.cabling(order)
        reason = reasons.pop(order.hookup, "")
        if reason or cabling != cabled:
            _have_cabled(task, means, cabling, reason)
            cabled = cabling
        earlier = [pair for each in kept.values() for pair in _pairs(task, each)]
        kept[order.hookup] = [_take(means, key, task.care.first(order) if task.care else order)]
        doubt = _doubt(task, kept[order.hookup], earlier)
        if doubt is None and task.care and (closer := _look_closer(task, means, key, order, kept, left_s)):
            kept[order.hookup].append(closer)
            left_s -= closer.sweep.took_s
            doubt = _doubt(task, kept[order.hookup], earlier)
        if doubt is None:
            continue
        again = [
            each for each in task.plan.orders if any(each.hookup.covers(hookup) for hookup in doubt.hookups)
        ]
        for each in again:
            for one in kept.pop(each.hookup, ()):
                means.store.keep_doubt(key.run_id, one.position, doubt.words)
        means.listen(HookupDoubted(doubt))
        if any(looks[each.hookup] >= LOOK_AGAIN for each in again):
            raise DoubtfulMeasurement(f"{doubt.words} It was looked at again, and the doubt remains.")
        looks.update(each.hookup for each in again)
        # Where all is cabled at once, one look is for all.
        reasons.update({each.hookup: doubt.words for each in (again[:1] if task.plan.cabled else again)})
        waiting = deque([*again, *(each for each in waiting if each not in again)])
    return [one.sweep for order in task.plan.orders for one in kept[order.hookup]]


def _have_cabled(task: Task, means: Means, cabling: Hookup, reason: str) -> None:
    """Have the unit cabled so; with a reason, the operator is asked to look again."""
    means.listen(HookupAsked(cabling))
    if reason:
        means.operator.look_again(task.head.serial, cabling, reason)
    else:
        means.operator.hook_up(task.head.serial, cabling)


def _take(means: Means, key: RunKey, order: SweepOrder) -> Kept:
    """Carry out an order and keep what comes of it."""
    sweep = means.analyzer.sweep(order)
    position = means.store.keep_sweep(key.run_id, sweep)
    means.listen(SweepStored(sweep))
    return Kept(position, sweep)


def _look_closer(
    task: Task,
    means: Means,
    key: RunKey,
    order: SweepOrder,
    kept: Mapping[Hookup, Sequence[Kept]],
    left_s: float,
) -> Kept | None:
    """What deserves more care is swept again while the unit is still cabled for it; None where nothing does."""
    if task.care is None:
        return None
    sweeps = [one.sweep for each in kept.values() for one in each]
    pairs = evaluate(sweeps, replace(task.data, loads=None)).sweeps
    wishes = task.care.wishes(task.plan.shown_by(order), pairs)
    look = second_look(order, wishes, left_s, means.analyzer.ability.passes)
    if wishes:
        means.listen(SweptAgain(order.hookup, look))
    return _take(means, key, look.order) if look.order else None


def _doubt(task: Task, taken: Sequence[Kept], earlier: Sequence[Sweep]) -> Doubt | None:
    """The first reason not to believe what was just swept."""
    for pair in _pairs(task, taken):
        if doubt := doubt_about(pair, earlier, task.channels, task.checks):
            return doubt
    return None


def _pairs(task: Task, taken: Sequence[Kept]) -> tuple[Sweep, ...]:
    return pairs_of([one.sweep for one in taken], task.data)


def _evaluated(task: Task, means: Means, sweeps: Sequence[Sweep]) -> Mapping[Hookup, Sweep]:
    """What the sweeps say of the unit; refused where they contradict each other."""
    evaluated = evaluate(sweeps, task.data)
    if evaluated.consistency is not None:
        means.listen(LoadsTakenOut(evaluated.consistency))
        if evaluated.consistency.doubt:
            raise DoubtfulMeasurement(evaluated.consistency.doubt)
    return evaluated.sweeps


def _expect_steady(task: Task, means: Means, key: RunKey) -> None:
    """Measure the unit's temperature once more; a unit that did not keep it is a fault of the station."""
    if (end_c := means.end_c()) is not None:
        means.store.keep_end_temperature(key.run_id, end_c)
        if why := unsteady(task.climate, end_c):
            raise StationFault(why)


def _break_off(means: Means, key: RunKey, state: RunState, why: str) -> None:
    """Close the run; when the store itself is what failed, the run stays open there and the first fault is told."""
    try:
        means.store.break_off(key.run_id, state, why, means.clock())
    except StoreFault as second:
        why = f"{why}; and the run could not be closed: {second}"
    means.listen(RunBroken(why))
