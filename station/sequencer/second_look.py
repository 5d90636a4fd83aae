"""From what should be swept again to one order for it, within the time that is left for the unit.

Only the points that count are swept, and they lie on the grid of the first sweep: they take the places of its points,
and what is worked out from several hook-ups point by point still can be.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from station.instruments.analyzer import Segment, SweepOrder, sweeping_s
from station.measurements.deciding import Places
from station.sequencer.care import Wish

BRIDGED = 2
"""So few points between two stretches are swept along: a stretch of its own takes as long."""


@dataclass(frozen=True, slots=True, eq=False)
class SecondLook:
    """What becomes of the wishes of one hook-up."""

    order: SweepOrder | None
    """None where nothing is swept again."""

    again: tuple[Wish, ...]
    left: tuple[Wish, ...]
    """What the time that was left does not suffice for."""

    takes_s: float
    """About so long."""


def second_look(whole: SweepOrder, wishes: Iterable[Wish], left_s: float, passes: int) -> SecondLook:
    """As many of the wishes as there is time for, those that come first before the others.

    `whole` is the careful order of all that the hook-up was swept at.

    `passes` is how often the analyzer goes through the frequencies of an order (see `Ability`).
    """
    chosen: Places = np.empty(0, dtype=np.intp)
    again: list[Wish] = []
    left: list[Wish] = []
    for wish in wishes:
        together = np.union1d(chosen, wish.places)
        if _takes_s(whole, together, passes) <= left_s:
            chosen = together
            again.append(wish)
        else:
            left.append(wish)
    if not again:
        return SecondLook(None, (), tuple(left), 0.0)
    order = replace(whole, segments=tuple(_segments(whole, chosen)))
    return SecondLook(order, tuple(again), tuple(left), _takes_s(whole, chosen, passes))


def _takes_s(whole: SweepOrder, places: Places, passes: int) -> float:
    points = sum(segment.points for segment in _segments(whole, places))
    return sweeping_s(points, whole.settings, passes)


def _segments(whole: SweepOrder, places: Places) -> Iterator[Segment]:
    """The stretches that cover these points, each within a segment of the first sweep, whose step it has."""
    begin = 0
    for segment in whole.segments:
        freq_hz = segment.freq_hz
        inside = places[(places >= begin) & (places < begin + segment.points)] - begin
        for low, high in _runs(inside):
            yield Segment(float(freq_hz[low]), float(freq_hz[high]), high - low + 1)
        begin += segment.points


def _runs(places: Places) -> Iterator[tuple[int, int]]:
    """First and last of each run of neighbours, narrow gaps bridged."""
    if not places.size:
        return
    cuts = [
        after
        for before, after in pairwise(range(places.size))
        if places[after] - places[before] > BRIDGED + 1
    ]
    for run in np.split(places, cuts):
        yield int(run[0]), int(run[-1])
