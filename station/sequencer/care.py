"""Which characteristics of a hook-up deserve a second, careful sweep: decided from the sweep that was just made.

Swept again is a characteristic that has a limit and whose reading lies near to where its decision would change, in
units of its U, or near the noise floor. Where U is not evaluated, or nothing can be decided yet, nothing is known to
be far enough, and the characteristic is swept again.

Nobody asks by how much its U would become smaller. On the trace of a fast sweep that cannot be told: a notch whose
noise shows two bottoms stays as uncertain by any settings; and as long as a path was not swept, the worst that may
come by it hides what noise does. Where little is gained few points are swept, as few decide.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from limits.kinds.bound import Bound
from limits.quantity import Channels
from limits.reading import Curve, Reading
from limits.rules import Rule
from limits.table import LimitRow, LimitTable
from limits.verdict import Level
from station.instruments.analyzer import SweepOrder
from station.measurements.budget import with_uncertainty
from station.measurements.characteristic import Characteristic
from station.measurements.deciding import Places, deciding_points, noise_db
from station.measurements.error_source import Excerpt, Sweeps, Worth
from station.measurements.figures import Figures
from station.measurements.load import Loads
from station.sequencer.effort import Effort

NEAR_FLOOR_DB = 0.6
"""A level that noise moves by this much, as standard deviation, is 20 dB above the floor, or nearer (common
practice: what is nearer cannot be judged well)."""


class Why(StrEnum):
    """What speaks for sweeping a characteristic again."""

    NEAR_LIMIT = "near its limit"
    NEAR_FLOOR = "near the noise floor"
    UNKNOWN = "not known how near to its limit"


@dataclass(frozen=True, slots=True, eq=False)
class Wish:
    """A characteristic that should be swept again."""

    item: Characteristic
    why: Why
    margin: float | None
    """Distance to its nearest limit in the characteristic's unit, positive inside; None where nothing can be said."""

    distance: float
    """How far it lies from where its decision changes, in U; 0 where nothing can be decided yet, without end where U
    is not known."""

    places: Places
    """The points it hangs on, among those of its hook-up's first sweep."""


@dataclass(frozen=True, slots=True)
class _Near:
    """How near a reading lies to one limit."""

    margin: float | None
    """None where nothing can be decided yet, as by a bound."""

    distance: float


@dataclass(frozen=True, slots=True)
class Care:
    """By what is decided which characteristics are swept again."""

    effort: Effort
    table: LimitTable
    channels: Channels
    worth: Worth
    """What readings are worth on this bench."""

    loads: Loads | None = None
    """What will be taken out of the readings once every hook-up was swept."""

    def first(self, order: SweepOrder) -> SweepOrder:
        """An order as it is swept first."""
        return replace(order, settings=self.effort.first)

    def wishes(self, items: Iterable[Characteristic], sweeps: Sweeps) -> tuple[Wish, ...]:
        """What should be swept again, the nearest to its limit first.

        `sweeps` are those of the pairs until now, with the loads still in them.
        """
        rows = {row.name: row for row in self.table.rows}
        limited = (item for item in items if item.name in rows and item.hookup in sweeps)
        found = (self._wish(item, rows[item.name], sweeps) for item in limited)
        return tuple(sorted(filter(None, found), key=lambda wish: wish.distance))

    def _wish(self, item: Characteristic, row: LimitRow, sweeps: Sweeps) -> Wish | None:
        worth = provisional(self.worth, self.loads)
        subject = with_uncertainty(item, item.read(sweeps, worth), sweeps, worth)
        limits = [self._near(subject, level, bound) for level, bound in row.bounds]
        nearest = min(limits, key=lambda each: each.distance)
        why = self._why(nearest, near_floor(item, subject, sweeps, worth))
        if why is None:
            return None
        margins = [each.margin for each in limits if each.margin is not None]
        return Wish(
            item,
            why,
            margin=min(margins, key=abs, default=None),
            distance=nearest.distance,
            places=deciding_points(item, sweeps, self.worth),
        )

    def _near(self, subject: Reading | Curve, level: Level, bound: Bound) -> _Near:
        weighed = bound.weigh(subject, self.channels)
        if weighed.margin is None:
            return _Near(None, 0.0)
        return _Near(weighed.margin, distance(weighed.margin, self.table.rules[level], weighed.reading.u))

    def _why(self, nearest: _Near, is_near_floor: bool) -> Why | None:
        if nearest.margin is not None and nearest.distance < self.effort.within:
            return Why.NEAR_LIMIT
        if is_near_floor:
            return Why.NEAR_FLOOR
        return Why.UNKNOWN if nearest.margin is None or math.isinf(nearest.distance) else None


def provisional(worth: Worth, loads: Loads | None) -> Worth:
    """What the bench is worth before the loads are taken out: all of their reflection is still in the readings."""
    if loads is None or not isinstance(worth, Figures):
        return worth
    worst = max(float(np.abs(load.reflection).max()) for load in loads.values())
    return worth.model_copy(update={"load_match": min(worth.load_match, -20 * math.log10(worst))})


def distance(margin: float, rule: Rule, u: float | None) -> float:
    """How far a margin lies from where its decision changes under the rule, in U; without end where U is not known.

    Under simple acceptance that is the limit; under a guarded rule both ends of the guard band.
    """
    if u is None or u == 0.0:
        return math.inf
    edges = (rule.kind.pass_from * rule.factor, rule.kind.fail_below * rule.factor)
    return min(abs(margin / u - edge) for edge in edges)


def near_floor(item: Characteristic, subject: Reading | Curve, sweeps: Sweeps, worth: Worth) -> bool:
    """Whether a level lies near the noise floor of its sweep."""
    if item.unit != "dB" or not item.measure.on_trace:
        return False
    at_hz = subject.freq_hz if isinstance(subject, Curve) else np.array([subject.at_hz], dtype=np.float64)
    noise = noise_db(Excerpt(sweeps, item.hookup, item.to, item.source, at_hz), worth)
    return bool((noise > NEAR_FLOOR_DB).any())
