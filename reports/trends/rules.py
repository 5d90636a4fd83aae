"""Patterns on a control chart that chance alone seldom makes, each by its number and to be asked for singly.

Western Electric's four tests (Statistical Quality Control Handbook, 1956; NIST/SEMATECH e-Handbook 6.3.2) and
Nelson's eight (J. Quality Technology 16, 1984). All look at z, the distance from the centre in standard deviations of
what is plotted. Beyond is strict: a point on a line is not beyond it, a tie breaks a trend. Each more rule asked for
raises more false alarms: one in 370 points by WE1 alone, one in 92 by all four (Champ and Woodall, 1987).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Rule:
    """So many of so many neighbouring points that do one thing, in one of several ways."""

    name: str
    words: str
    need: int
    window: int
    sides: Callable[[FloatArray], tuple[BoolArray, ...]]
    """For each way, which points do it; along the last axis."""

    lead: int = 0
    """Points before the first of them that take part, because a point does it by its step from there."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """A rule that spoke, once for as long as it goes on speaking."""

    rule: str
    words: str
    at: int
    """The point at which it first spoke."""

    points: tuple[int, ...]
    """All that take part, from 0."""


def _beyond(far: float) -> Callable[[FloatArray], tuple[BoolArray, ...]]:
    return lambda z: (z > far, z < -far)


def _inside(z: FloatArray) -> tuple[BoolArray, ...]:
    return (np.abs(z) < 1,)


def _outside(z: FloatArray) -> tuple[BoolArray, ...]:
    return (np.abs(z) > 1,)


def _trend(z: FloatArray) -> tuple[BoolArray, ...]:
    step = np.diff(z, axis=-1)
    return _shifted(step > 0, 1), _shifted(step < 0, 1)


def _alternating(z: FloatArray) -> tuple[BoolArray, ...]:
    step = np.diff(z, axis=-1)
    return (_shifted(step[..., 1:] * step[..., :-1] < 0, 2),)


def _shifted(flags: BoolArray, by: int) -> BoolArray:
    """As many points as before the steps between them were taken."""
    return np.concatenate([np.zeros((*flags.shape[:-1], by), dtype=bool), flags], axis=-1)


_ALL = (
    Rule("WE1", "a point beyond 3 sigma", 1, 1, _beyond(3)),
    Rule("WE2", "2 of 3 points beyond 2 sigma on one side", 2, 3, _beyond(2)),
    Rule("WE3", "4 of 5 points beyond 1 sigma on one side", 4, 5, _beyond(1)),
    Rule("WE4", "8 points in a row on one side", 8, 8, _beyond(0)),
    Rule("N1", "a point beyond 3 sigma", 1, 1, _beyond(3)),
    Rule("N2", "9 points in a row on one side", 9, 9, _beyond(0)),
    Rule("N3", "6 points in a row rising or falling", 5, 5, _trend, lead=1),
    Rule("N4", "14 points in a row up and down by turns", 12, 12, _alternating, lead=2),
    Rule("N5", "2 of 3 points beyond 2 sigma on one side", 2, 3, _beyond(2)),
    Rule("N6", "4 of 5 points beyond 1 sigma on one side", 4, 5, _beyond(1)),
    Rule("N7", "15 points in a row within 1 sigma", 15, 15, _inside),
    Rule("N8", "8 points in a row beyond 1 sigma, on either side", 8, 8, _outside),
)
RULES = {rule.name: rule for rule in _ALL}
WESTERN_ELECTRIC = tuple(name for name in RULES if name.startswith("WE"))
NELSON = tuple(name for name in RULES if name.startswith("N"))


def signals(rule: Rule, z: FloatArray) -> BoolArray:
    """At which points the rule speaks, along the last axis; z of shape (..., n)."""
    spoken = np.zeros(z.shape, dtype=bool)
    for flags in _sides(rule, z):
        spoken |= _speaks(rule, flags)
    return spoken


def alarms(z: FloatArray, names: Sequence[str] = WESTERN_ELECTRIC) -> tuple[Alarm, ...]:
    """What these rules say of one chart, in order of time; z of shape (n,), NaN where nothing was expected."""
    found = [
        Alarm(name, RULES[name].words, first, _taking_part(RULES[name], flags, first, last))
        for name in names
        for flags in _sides(RULES[name], z)
        for first, last in stretches(_speaks(RULES[name], flags))
    ]
    return tuple(sorted(found, key=lambda alarm: (alarm.at, alarm.rule)))


def stretches(flags: BoolArray) -> list[tuple[int, int]]:
    """First and last of each row of true ones."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], flags, [False]]).astype(int)))
    return [(int(first), int(after) - 1) for first, after in zip(edges[::2], edges[1::2], strict=True)]


def _sides(rule: Rule, z: FloatArray) -> tuple[BoolArray, ...]:
    return rule.sides(z) if z.shape[-1] >= rule.need + rule.lead else ()


def _speaks(rule: Rule, flags: BoolArray) -> BoolArray:
    """True where a point does it, and enough of the window that ends there; a chart's start is a short window."""
    count = np.cumsum(flags, axis=-1)
    before = np.zeros_like(count)
    before[..., rule.window :] = count[..., : -rule.window]
    return flags & (count - before >= rule.need)


def _taking_part(rule: Rule, flags: BoolArray, first: int, last: int) -> tuple[int, ...]:
    start = max(0, first - rule.window + 1)
    doing = [start + int(offset) for offset in np.flatnonzero(flags[start : last + 1])]
    return (*range(doing[0] - rule.lead, doing[0]), *doing)
