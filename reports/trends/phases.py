"""A series cut where something recorded changed, so that each part is judged by its own baseline."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

KEYS = {
    "recipe": "recipe_digest",
    "calibration": "calibration",
    "operator": "operator",
    "station": "station",
    "order": "order",
}
"""By what a series can be cut, and the column of `reports.trends.readings` that tells of it."""

_SHOWN = {"recipe": "recipe"}
"""Where another column says it in words."""


@dataclass(frozen=True, slots=True)
class Change:
    """Something recorded that is another at one row than at the one before."""

    key: str
    at: int
    """The first row of the new."""

    old: str
    new: str
    lasts: bool
    """Whether the new had never been before, and the old never came again."""


@dataclass(frozen=True, slots=True)
class Phase:
    """Neighbouring rows, `start` to before `stop`, and what changed where it began."""

    start: int
    stop: int
    why: tuple[Change, ...] = ()


def changes(table: pd.DataFrame, keys: Sequence[str] = tuple(KEYS)) -> tuple[Change, ...]:
    """Every change of these KEYS from row to row, in order of time."""
    found = []
    for key in keys:
        value = table[KEYS[key]].astype("string").fillna("none").to_numpy(dtype=str)
        shown = table[_SHOWN.get(key, KEYS[key])].astype("string").fillna("none").to_numpy(dtype=str)
        first = {each: row for row, each in reversed(list(enumerate(value)))}
        last = {each: row for row, each in enumerate(value)}
        for at in np.flatnonzero(value[1:] != value[:-1]) + 1:
            row = int(at)
            lasts = first[value[row]] == row and last[value[row - 1]] == row - 1
            found.append(Change(key, row, str(shown[row - 1]), str(shown[row]), lasts))
    return tuple(sorted(found, key=lambda change: change.at))


def phases(table: pd.DataFrame, keys: Sequence[str]) -> tuple[Phase, ...]:
    """The rows, cut at every change of any of these KEYS; one phase where nothing changed, none of nothing."""
    if table.empty:
        return ()
    by_row: dict[int, list[Change]] = {}
    for change in changes(table, keys):
        by_row.setdefault(change.at, []).append(change)
    starts = [0, *by_row]
    stops = [*starts[1:], len(table)]
    return tuple(
        Phase(start, stop, tuple(by_row.get(start, ()))) for start, stop in zip(starts, stops, strict=True)
    )
