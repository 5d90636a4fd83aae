"""Control charts of one characteristic in its phases: a table of readings in, what is plotted and what alarms out.

A bound ("at least") is no number and is never calculated with: bounds are left out and counted. Left-out bounds make
what remains look worse and narrower than the units are, so where they are more than MOST_BOUNDS of the numbers there
is no chart, only words. The share is our own choice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import pandas as pd

from reports.trends import shewhart
from reports.trends.phases import Phase, phases
from reports.trends.readings import is_bound, is_value
from reports.trends.rules import WESTERN_ELECTRIC, Alarm
from reports.trends.shewhart import Chart

MOST_BOUNDS = 0.1
FEW = 20
"""Points below which a baseline's limits are still vague: false alarms come oftener than the rules promise."""


class Kind(StrEnum):
    """What is plotted of readings."""

    INDIVIDUALS = "individuals"
    MEAN_SD = "mean-sd"
    MEAN_RANGE = "mean-range"
    EWMA = "ewma"
    CUSUM = "cusum"


@dataclass(frozen=True, slots=True)
class Wish:
    """Which chart, and by what it judges."""

    kind: Kind = Kind.INDIVIDUALS
    split: tuple[str, ...] = ("recipe",)
    """Keys of `reports.trends.phases`."""

    baseline: int | None = None
    """So many first points of each phase set its limits; None for all of them."""

    rules: tuple[str, ...] = WESTERN_ELECTRIC


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """One chart of one phase."""

    phase: int
    chart: Chart
    rows: tuple[tuple[int, ...], ...]
    """For each of its points the rows of the readings that make it."""

    alarms: tuple[Alarm, ...]
    """Their points counted from 0 in this phase."""


@dataclass(frozen=True, slots=True, eq=False)
class Charted:
    """All charts of one characteristic, in order of time."""

    readings: pd.DataFrame
    """The rows that were used, numbered from 0."""

    bounds: int
    """Rows left out because they only say that the value is at least so much."""

    holes: int
    """Rows left out because they have no value."""

    phases: tuple[Phase, ...]
    drawn: tuple[Drawn, ...]
    notes: tuple[str, ...]
    """Why something is not drawn, or to be taken with care."""


def chart(table: pd.DataFrame, wish: Wish) -> Charted:
    """The wished charts of these readings (`reports.trends.readings`), each phase with limits of its own."""
    used, bounds, holes = usable(table)
    empty = Charted(used, bounds, holes, (), (), ())
    refusal = too_many_bounds(len(used), bounds)
    if refusal:
        return replace(empty, notes=(refusal,))
    cut = phases(used, wish.split)
    drawn: list[Drawn] = []
    notes = []
    for number, phase in enumerate(cut):
        found, note = _phase(used.iloc[phase.start : phase.stop], phase.start, number, wish)
        drawn.extend(found)
        if note:
            notes.append(f"phase {number + 1}: {note}")
    return replace(empty, phases=cut, drawn=tuple(drawn), notes=tuple(notes))


def usable(table: pd.DataFrame) -> tuple[pd.DataFrame, int, int]:
    """The rows with a value, numbered anew, and how many bounds and holes were left out."""
    value, bound = is_value(table), is_bound(table)
    return table[value].reset_index(drop=True), int(bound.sum()), int((~value & ~bound).sum())


def too_many_bounds(values: int, bounds: int) -> str:
    """Why nothing can be said of values of which so many are only bounds; empty where it can."""
    if bounds <= MOST_BOUNDS * (values + bounds):
        return ""
    return (
        f"{bounds} of {values + bounds} readings only say 'at least'; with more than {MOST_BOUNDS:.0%} left out, "
        "centre and spread of the rest would say nothing of the units"
    )


def _phase(table: pd.DataFrame, start: int, number: int, wish: Wish) -> tuple[list[Drawn], str]:
    """The charts of one phase, and what speaks against them."""
    if wish.kind in (Kind.MEAN_SD, Kind.MEAN_RANGE):
        groups = [np.flatnonzero(table["order"] == order) for order in table["order"].unique()]
        rows = [group for group in groups if len(group) >= 2]
        alone = len(groups) - len(rows)
    else:
        rows, alone = list(np.arange(len(table))[:, None]), 0
    told = [f"{alone} orders of one unit are left out"] if alone else []
    setting = len(rows) if wish.baseline is None else min(wish.baseline, len(rows))
    if setting < 2:
        return [], "; ".join([*told, "too few points for limits"])
    if setting < FEW:
        told.append(f"limits from {setting} points only")
    values = table["value"].to_numpy(dtype=float)
    charts = _charts(values, rows, wish.kind, slice(setting))
    places = tuple(tuple(start + int(row) for row in group) for group in rows)
    drawn = [Drawn(number, each, places, each.alarms(wish.rules)) for each in charts]
    return drawn, "; ".join(told)


def _charts(values: np.ndarray, rows: Sequence[np.ndarray], kind: Kind, baseline: slice) -> tuple[Chart, ...]:
    if kind is Kind.INDIVIDUALS:
        return shewhart.individuals(values, baseline)
    if kind is Kind.EWMA:
        return (shewhart.ewma(values, *shewhart.process(values, baseline)),)
    if kind is Kind.CUSUM:
        return shewhart.cusum(values, *shewhart.process(values, baseline))
    groups = [values[group] for group in rows]
    return shewhart.by_group(groups, "sd" if kind is Kind.MEAN_SD else "range", baseline)
