"""From a recipe bound to a unit's channels to the fewest hook-ups and one merged sweep order for each.

Every grid of frequencies is anchored at the TX channel and its step is made a whole fraction of the channel
spacing, so that both channels lie on every grid and coarse and fine stretches meet without a seam.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import chain, pairwise

from limits.quantity import Channels
from station.instruments.analyzer import Ability, Segment, SweepOrder
from station.measurements.characteristic import Characteristic
from station.measurements.sweep import HOOKUPS, Hookup, SweepSettings

GRID_TOLERANCE = 1e-6
"""Share of a step by which an edge may miss the grid before one more point is taken: rounding, not intent."""


@dataclass(frozen=True, slots=True)
class Zone:
    """A stretch of frequencies and the coarsest step it may be swept with."""

    low_hz: float
    high_hz: float
    step_hz: float


@dataclass(frozen=True, slots=True)
class Plan:
    """What will be done to one unit, in this order."""

    characteristics: tuple[Characteristic, ...]
    orders: tuple[SweepOrder, ...]
    """One per hook-up, each hook-up once."""

    cabled: Hookup | None = None
    """The one way in which the unit is cabled for all orders; None where each is cabled by itself."""

    def cabling(self, order: SweepOrder) -> Hookup:
        """How the unit is to be cabled for an order."""
        return self.cabled or order.hookup

    @property
    def cablings(self) -> tuple[Hookup, ...]:
        """What the operator will be asked for, each once."""
        return tuple(dict.fromkeys(self.cabling(order) for order in self.orders))

    def shown_by(self, order: SweepOrder) -> tuple[Characteristic, ...]:
        """What an order was made for."""
        hookups = [each.hookup for each in self.orders]
        return tuple(item for item in self.characteristics if item.seen_in(hookups) == order.hookup)

    @property
    def is_whole(self) -> bool:
        """Whether all hook-ups are swept, so that all three ports can be recovered."""
        return {order.hookup for order in self.orders} >= set(HOOKUPS)


def make_plan(
    characteristics: tuple[Characteristic, ...],
    overview: Zone,
    channels: Channels,
    settings: SweepSettings,
    ability: Ability,
    *,
    common_grid: bool = False,
) -> Plan:
    """Group the characteristics by the bench's hook-ups and merge what they need into one order each.

    With `common_grid`, and where all pairs are used, all sweep the whole of it: the unit's three ports can then be
    recovered point by point, with nothing interpolated. Else each hook-up sweeps what it needs alone, which takes
    about a quarter less time. Magnitudes are always swept on one grid, since a pair is put together of several.
    """
    wanted: dict[Hookup, list[Zone]] = {hookup: [] for hookup in ability.hookups}
    for item in characteristics:
        wanted[item.seen_in(ability.hookups)].append(_zone(item, overview))
    used = {hookup: zones for hookup, zones in wanted.items() if zones}
    if (common_grid and set(HOOKUPS) <= set(used)) or not ability.phase:
        every = list(chain(*used.values()))
        used = dict.fromkeys(used, every)
    orders = (
        SweepOrder(hookup, merge([overview, *zones], channels), settings) for hookup, zones in used.items()
    )
    return Plan(characteristics, tuple(orders), ability.cabled)


def merge(zones: Iterable[Zone], channels: Channels) -> tuple[Segment, ...]:
    """The segments that cover all zones, each stretch at the finest step any zone asks for there.

    Rising and without overlap; both channels lie on the grid wherever a zone covers them.
    """
    pieces = [_on_grid(piece, channels) for piece in _pieces(list(zones))]
    kept: list[_Grid] = []
    for piece in sorted(pieces, key=lambda grid: grid.step_hz):
        trimmed: _Grid | None = piece
        for finer in kept:
            trimmed = trimmed and trimmed.without(finer)
        if trimmed:
            kept.append(trimmed)
    return tuple(grid.segment() for grid in sorted(kept, key=lambda grid: grid.low_hz))


def _zone(item: Characteristic, overview: Zone) -> Zone:
    low_hz, high_hz = item.span_hz
    return Zone(low_hz, high_hz, min(item.step_hz or overview.step_hz, overview.step_hz))


def _pieces(zones: list[Zone]) -> list[Zone]:
    """Cut at every edge; in each piece the finest step of the zones over it; equal neighbours joined.

    A single frequency is a piece of its own only where no wider one covers it.
    """
    edges = sorted({edge for zone in zones for edge in (zone.low_hz, zone.high_hz)})
    pieces: list[Zone] = []
    for low_hz, high_hz in pairwise(edges):
        steps = [zone.step_hz for zone in zones if zone.low_hz <= low_hz and high_hz <= zone.high_hz]
        if not steps:
            continue
        step_hz = min(steps)
        if pieces and pieces[-1].high_hz == low_hz and pieces[-1].step_hz == step_hz:
            pieces[-1] = Zone(pieces[-1].low_hz, high_hz, step_hz)
        else:
            pieces.append(Zone(low_hz, high_hz, step_hz))
    return pieces + [
        zone
        for zone in dict.fromkeys(zones)
        if zone.low_hz == zone.high_hz
        and not any(piece.low_hz <= zone.low_hz <= piece.high_hz for piece in pieces)
    ]


@dataclass(frozen=True, slots=True)
class _Grid:
    """The points origin + k * step for whole k from `first` to `last`, made to cover one zone."""

    centre_hz: float
    """Of the zone: tells on which side of another stretch this one lies, whatever rounding did to its ends."""

    origin_hz: float
    step_hz: float
    first: int
    last: int

    @property
    def low_hz(self) -> float:
        return self.origin_hz + self.first * self.step_hz

    @property
    def high_hz(self) -> float:
        return self.origin_hz + self.last * self.step_hz

    def without(self, finer: _Grid) -> _Grid | None:
        """What is left of a neighbour's points once those inside a finer stretch are taken away."""
        first, last = self.first, self.last
        if self.centre_hz < finer.centre_hz:
            last = min(last, math.ceil((finer.low_hz - self.origin_hz) / self.step_hz - GRID_TOLERANCE) - 1)
        else:
            first = max(
                first, math.floor((finer.high_hz - self.origin_hz) / self.step_hz + GRID_TOLERANCE) + 1
            )
        return replace(self, first=first, last=last) if first <= last else None

    def segment(self) -> Segment:
        return Segment(self.low_hz, self.high_hz, self.last - self.first + 1)


def _on_grid(zone: Zone, channels: Channels) -> _Grid:
    """The grid that covers a zone, reaching outward to the next point at both ends."""
    spacing_hz = abs(channels.rx_hz - channels.tx_hz)
    step_hz = spacing_hz / math.ceil(spacing_hz / zone.step_hz - GRID_TOLERANCE)
    first = math.floor((zone.low_hz - channels.tx_hz) / step_hz + GRID_TOLERANCE)
    last = math.ceil((zone.high_hz - channels.tx_hz) / step_hz - GRID_TOLERANCE)
    return _Grid((zone.low_hz + zone.high_hz) / 2, channels.tx_hz, step_hz, first, max(first, last))
