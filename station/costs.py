"""What the readings of a stored run cost: seconds of sweeping, and the settings in the end.

Nothing of it is stored beside the sweeps: how long each took and what it was made with are kept with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from limits.errors import BadInput
from limits.quantity import Channels
from limits.yamlfile import parse
from station.database.entries import StoredRun
from station.measurements.characteristic import Characteristic
from station.measurements.deciding import points_of
from station.measurements.sweep import SAME_POINT_HZ, Sweep, SweepSettings
from station.sequencer.recipe import Recipe, RecipeForm


@dataclass(frozen=True, slots=True)
class Cost:
    """Of one reading."""

    sweep_s: float
    """The time of the points it looks at, in all sweeps of the hook-up that it was read from.

    Readings that look at the same points share them, so the costs of a run's readings add up to more than the run's.
    """

    settings: SweepSettings
    """Of the point that it was found at."""

    again: bool
    """Whether that point was swept again."""


def costs_of(stored: StoredRun) -> Mapping[str, Cost]:
    """The cost of each reading by its name; empty where the run's recipe cannot be read any more."""
    try:
        recipe = Recipe(parse(stored.head.recipe.text, RecipeForm, "recipe"))
    except BadInput:
        return {}
    items = {item.name: item for item in recipe.bind(Channels(stored.order.tx_hz, stored.order.rx_hz))}
    return {
        reading.name: cost_of(items[reading.name], reading.at_hz, stored.sweeps)
        for reading in stored.readings
        if reading.name in items
    }


def cost_of(item: Characteristic, at_hz: float | None, sweeps: Iterable[Sweep]) -> Cost:
    """The cost of one reading that was found at a frequency, from all sweeps of its run."""
    kept = list(sweeps)
    hookup = item.seen_in(dict.fromkeys(sweep.hookup for sweep in kept))
    first, *later = (sweep for sweep in kept if sweep.hookup == hookup)
    low_hz, high_hz = item.span_hz
    found_hz = (low_hz + high_hz) / 2 if at_hz is None else at_hz
    total_s, last = _share_s(item, first, first), first
    for sweep in later:
        total_s += _share_s(item, first, sweep)
        if _has_nearest(first, sweep, found_hz):
            last = sweep
    return Cost(total_s, last.settings, last is not first)


def _share_s(item: Characteristic, first: Sweep, sweep: Sweep) -> float:
    looked_at = first.freq_hz[points_of(item, first.freq_hz)]
    inside = sum(abs(sweep.freq_hz - freq_hz).min() < SAME_POINT_HZ for freq_hz in looked_at)
    return float(sweep.took_s * inside / len(sweep.freq_hz))


def _has_nearest(first: Sweep, sweep: Sweep, freq_hz: float) -> bool:
    nearest_hz = first.freq_hz[abs(first.freq_hz - freq_hz).argmin()]
    return bool(abs(sweep.freq_hz - nearest_hz).min() < SAME_POINT_HZ)
