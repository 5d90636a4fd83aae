"""A study of connectors: the same device is taken off and put on again, and swept each time."""

from __future__ import annotations

from limits.reading import FloatArray
from station.errors import UserMistake
from station.instruments.analyzer import Analyzer, SweepOrder
from station.measurements.evaluation import BenchData, pairs_of
from station.measurements.repeatability import Repeatability, repeatability
from station.measurements.sweep import HOOKUPS
from station.measurements.view import look
from station.sequencer.events import ConnectionSwept, HookupAsked, Listener
from station.sequencer.operator import Operator
from station.sequencer.plan import Plan

SWEEPS = 2
"""Of each connection: their difference is noise, which is no fault of the connectors."""


def study(
    serial: str,
    plan: Plan,
    data: BenchData,
    times: int,
    analyzer: Analyzer,
    operator: Operator,
    listen: Listener,
) -> Repeatability:
    """Have the device connected so many times between TX and ANT, and tell how well its loss repeats.

    Nothing is kept: the figure goes into the bench file. Raises UserMistake when the device passes too little
    there, StationFault when an instrument fails.
    """
    pair = HOOKUPS[0]
    order = next(order for order in plan.orders if order.hookup.covers(pair))
    cabling = plan.cabling(order)
    found: list[list[FloatArray]] = []
    for place in range(1, times + 1):
        listen(HookupAsked(cabling))
        if place == 1:
            operator.hook_up(serial, cabling)
        else:
            operator.reconnect(serial, cabling, f"{place} of {times}")
        found.append([_loss(order, data, analyzer, listen) for _ in range(SWEEPS)])
    result = repeatability(found)
    if result is None:
        raise UserMistake(f"{serial} passes too little between TX and ANT to show what connectors do")
    return result


def _loss(order: SweepOrder, data: BenchData, analyzer: Analyzer, listen: Listener) -> FloatArray:
    sweep = analyzer.sweep(order)
    listen(ConnectionSwept(sweep))
    pair = next(pair for pair in pairs_of([sweep], data) if pair.hookup == HOOKUPS[0])
    return look(pair, "ANT", "TX").db
