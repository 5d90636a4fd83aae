"""One pass of a recipe over one unit. Every sweep is stored before anything is computed from it.

A run ends judged, or broken off by a station fault or by the operator; what was measured until then is kept, and
the unit can be tested again at once.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from limits.decide import judge
from limits.quantity import Channels
from limits.reading import Curve, Reading
from limits.table import LimitTable
from limits.verdict import Verdict
from station.database.entries import RunHead, RunKey, RunState
from station.database.store import Store
from station.errors import DoubtfulMeasurement, StationFault, StoreFault
from station.instruments.analyzer import Analyzer
from station.measurements.plausibility import doubts
from station.measurements.sweep import Hookup, Sweep
from station.sequencer.events import (
    HookupAsked,
    Listener,
    ReadingMade,
    RunBroken,
    RunStarted,
    SweepStored,
    VerdictReached,
)
from station.sequencer.operator import Operator
from station.sequencer.plan import Plan

Clock = Callable[[], datetime]


@dataclass(frozen=True, slots=True)
class Task:
    """What is to be done to one unit, with nothing left to look up."""

    head: RunHead
    channels: Channels
    plan: Plan
    table: LimitTable


@dataclass(frozen=True, slots=True)
class Bench:
    """What a run is done with."""

    analyzer: Analyzer
    operator: Operator
    store: Store
    clock: Clock
    listen: Listener


@dataclass(frozen=True, slots=True)
class Judged:
    """A run that ended in a verdict."""

    key: RunKey
    verdict: Verdict


def run_unit(task: Task, bench: Bench) -> Judged:
    """Sweep, store, read, judge, store.

    Raises station.errors.StationFault when the station fails and KeyboardInterrupt when the operator stops; in both
    cases the run is closed as what it is.
    """
    key = bench.store.begin(task.head)
    bench.listen(
        RunStarted(task.head.serial, key.run_number, tuple(order.hookup for order in task.plan.orders))
    )
    try:
        sweeps = _sweep(task, bench, key)
        readings = read(task.plan, sweeps)
        for reading in readings:
            bench.listen(ReadingMade(reading))
        verdict = judge(task.table, readings, task.channels)
        numbers = tuple(reading for reading in readings if isinstance(reading, Reading))
        bench.store.finish(key.run_id, numbers, verdict, bench.clock())
    except StationFault as fault:
        _break_off(bench, key, RunState.STATION_FAULT, str(fault))
        raise
    except KeyboardInterrupt:
        _break_off(bench, key, RunState.STOPPED, "stopped by the operator")
        raise
    bench.listen(VerdictReached(verdict))
    return Judged(key, verdict)


def read(plan: Plan, sweeps: dict[Hookup, Sweep]) -> tuple[Reading | Curve, ...]:
    """The readings of all characteristics, in the recipe's order; needs no bench, so it also re-reads old sweeps."""
    return tuple(item.read(sweeps) for item in plan.characteristics)


def _sweep(task: Task, bench: Bench, key: RunKey) -> dict[Hookup, Sweep]:
    sweeps: dict[Hookup, Sweep] = {}
    for order in task.plan.orders:
        bench.listen(HookupAsked(order.hookup))
        bench.operator.hook_up(task.head.serial, order.hookup)
        sweep = bench.analyzer.sweep(order)
        bench.store.keep_sweep(key.run_id, sweep)
        bench.listen(SweepStored(sweep))
        if reasons := doubts(sweep):
            raise DoubtfulMeasurement(" ".join(reasons))
        sweeps[order.hookup] = sweep
    return sweeps


def _break_off(bench: Bench, key: RunKey, state: RunState, why: str) -> None:
    """Close the run; when the store itself is what failed, the run stays open there and the first fault is told."""
    try:
        bench.store.break_off(key.run_id, state, why, bench.clock())
    except StoreFault as second:
        why = f"{why}; and the run could not be closed: {second}"
    bench.listen(RunBroken(why))
