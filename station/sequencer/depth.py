"""What a bench cannot measure to the depth that a limit asks for, told before the first hook-up.

A limit closer to the noise floor than CLEAR_DB is left to no number. A reading there is still one, corrected for the
noise's power (see `measurements/floor.py`), but it scatters by more than 0.6 dB and leans on how well the floor is
known, too much to promise a decision near a limit. It can still be passed by a bound, "at least so much", where even
a unit that lets nothing through would be told far enough down; what neither way can decide is not measured at all. A
return loss is read beside the directivity, which no averaging lowers: a limit nearer to it than BRIDGE_DB would be
judged by a number that may be off by 3.3 dB (20 log10(1 + 10^(-10/20)) the one way, 2.4 dB the other).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from limits.decide import decide
from limits.kinds.bound import Bound
from limits.quantity import Channels
from limits.reading import Claim, Curve, Reading
from limits.rules import Rule
from limits.table import LimitTable
from limits.verdict import Level, Outcome
from station.measurements.characteristic import Characteristic
from station.measurements.figures import Figures
from station.measurements.floor import CLEAR_DB, silent_bound_db
from station.measurements.sweep import SweepSettings
from station.sequencer.plan import Plan
from station.sequencer.reasons import Reason

BRIDGE_DB = 10.0
"""How far above the directivity a return loss can be judged (common practice, no source)."""

U_OF_A_BOUND_DB = 2.0
"""What is reckoned with for the U of a bound before it is measured: mismatch of 20 dB at both ends near a notch."""

BOTTOMLESS_DB = 1000.0
"""A value that every lower limit lets pass."""


@dataclass(frozen=True, slots=True)
class Depth:
    """How deep one characteristic can be told."""

    value_db: float
    """To this limit by a number."""

    bound_db: float
    """By a bound, at best."""

    why: str
    """What ends it, in words."""

    way_out: str


def out_of_depth(
    plan: Plan, table: LimitTable, channels: Channels, figures: Figures | None, settings: SweepSettings
) -> Iterator[Reason]:
    """A reason for each characteristic whose limits reach deeper than the bench does with these settings."""
    if figures is None:
        return
    rows = {row.name: row for row in table.rows}
    for item in plan.characteristics:
        row = rows.get(item.name)
        if row is None or item.unit != "dB":
            continue
        depth = _depth(item, plan, figures, settings)
        missed = [
            f"{level} {bound.words(channels)}"
            for level, bound in row.bounds
            if not _reaches(item, level, bound, table.rules[level], channels, depth)
        ]
        if missed:
            yield Reason(
                f"{item.name} cannot be judged on this bench ({', '.join(missed)}): {depth.why}",
                depth.way_out,
            )


def _depth(item: Characteristic, plan: Plan, figures: Figures, settings: SweepSettings) -> Depth:
    if item.to == item.source:
        return Depth(
            figures.directivity - BRIDGE_DB,
            -math.inf,
            f"a return loss can be told down to {figures.directivity - BRIDGE_DB:.0f} dB with a directivity of "
            f"{figures.directivity:g} dB",
            "measure it on a bench of better directivity",
        )
    floor = figures.floor(settings)
    floor_db = -20 * math.log10(max(floor.noise, floor.leak))
    low_hz, high_hz = item.span_hz
    grid_hz = next(order.freq_hz for order in plan.orders if item in plan.shown_by(order))
    points = max(1, int(np.count_nonzero((grid_hz >= low_hz) & (grid_hz <= high_hz))))
    return Depth(
        floor_db - CLEAR_DB,
        silent_bound_db(floor, points),
        f"the noise floor lies at {floor_db:.0f} dB at {settings.bandwidth_hz:g} Hz and {settings.power_dbm:g} dBm, "
        f"and a limit is judged by a number down to {floor_db - CLEAR_DB:.0f} dB",
        "sweep with a narrower bandwidth or more power, or measure it on a bench with a lower floor",
    )


def _reaches(
    item: Characteristic, level: Level, bound: Bound, rule: Rule, channels: Channels, depth: Depth
) -> bool:
    """Whether a limit can be decided: by a number, or by the deepest bound; upper limits always can."""
    deepest = bound.weigh(_told(item, bound, BOTTOMLESS_DB, Claim.VALUE), channels).margin
    if deepest is None or deepest < 0:
        return True
    by_number = bound.weigh(_told(item, bound, depth.value_db, Claim.VALUE), channels).margin
    if by_number is not None and by_number >= 0:
        return True
    if not math.isfinite(depth.bound_db):
        return False
    at_best = _told(item, bound, depth.bound_db, Claim.AT_LEAST)
    return decide(at_best, level, bound, rule, channels).outcome is Outcome.PASS


def _told(item: Characteristic, bound: Bound, db: float, claim: Claim) -> Reading | Curve:
    """The characteristic as if it were read so, at every point where it is a curve."""
    if not bound.on_curve:
        return Reading(item.name, item.title, "dB", db, u=U_OF_A_BOUND_DB, claim=claim)
    low_hz, high_hz = item.span_hz
    freq_hz = np.linspace(low_hz, high_hz, max(2, math.ceil((high_hz - low_hz) / item.step_hz) + 1))
    value = np.full(len(freq_hz), db)
    return Curve(
        item.name,
        item.title,
        "dB",
        freq_hz,
        value,
        item.step_hz,
        u=np.full(len(freq_hz), U_OF_A_BOUND_DB),
        at_least=np.full(len(freq_hz), claim is Claim.AT_LEAST),
    )
