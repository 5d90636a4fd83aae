"""A shift of one characteristic, and what else changed then."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from reports.trends.charting import too_many_bounds, usable
from reports.trends.phases import Change, changes
from reports.trends.steps import LEAST, Step, step


@dataclass(frozen=True, slots=True, eq=False)
class Shift:
    """The most likely shift of a characteristic; bounds ("at least") are left out and counted."""

    readings: pd.DataFrame
    """The rows that were used, numbered from 0; the places of `step` and `changes` are such rows."""

    bounds: int
    holes: int
    step: Step | None
    changes: tuple[Change, ...]
    """What changed within the places that the step may have: what lasted first, then the nearest."""

    note: str
    """Why no step was looked for."""


def shift(table: pd.DataFrame, random: np.random.Generator) -> Shift:
    """The most likely shift of these readings (`reports.trends.readings`)."""
    used, bounds, holes = usable(table)
    note = too_many_bounds(len(used), bounds)
    found = None if note else step(used["value"].to_numpy(dtype=float), random)
    if found is None:
        note = note or f"a shift is looked for in {2 * LEAST} different values or more, not in {len(used)}"
        return Shift(used, bounds, holes, None, (), note)
    first, last = found.between
    near = [change for change in changes(used) if first <= change.at <= last]
    near.sort(key=lambda change: (not change.lasts, abs(change.at - found.at)))
    return Shift(used, bounds, holes, found, tuple(near), "")
