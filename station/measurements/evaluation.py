"""From the sweeps of a run, as the bench took them, to one for each pair of ports: what every reading is taken from.

Whatever kind of bench it was, and however often a stretch was swept again, plausibility, readings, budgets and
pictures see pairs of ports at their own planes. Stored sweeps go through here again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from station.measurements.calibration import ErrorTerms, corrected
from station.measurements.correction import Consistency, correct
from station.measurements.figures import Figures
from station.measurements.load import Loads
from station.measurements.normalisation import composed
from station.measurements.sweep import HOOKUPS, SAME_POINT_HZ, Hookup, Stretch, Sweep


@dataclass(frozen=True, slots=True, eq=False)
class BenchData:
    """What is known of a bench on the day of a run."""

    figures: Figures | None = None
    """What it is worth; None where nothing is stated, and then no reading has a U."""

    loads: Loads | None = None
    """What the idle ports carry, where that was measured."""

    terms: Mapping[Hookup, ErrorTerms] | None = None
    """What stands between the analyzer and the unit in each hook-up; None where the analyzer corrects that itself."""


@dataclass(frozen=True, slots=True, eq=False)
class Evaluated:
    """Sweeps to be read."""

    sweeps: Mapping[Hookup, Sweep]
    """One for each pair of ports that was measured."""

    consistency: Consistency | None
    """How well the hook-ups agree, where the loads were taken out."""


def evaluate(sweeps: Iterable[Sweep], data: BenchData) -> Evaluated:
    """All that the sweeps of one run say of the unit.

    Raises ValueError when stretches that were swept again do not lie on the grid of the first sweep, or the loads
    cannot be taken out; and what `pairs_of` raises.
    """
    by_hookup: dict[Hookup, list[Sweep]] = {}
    for sweep in sweeps:
        by_hookup.setdefault(sweep.hookup, []).append(sweep)
    pairs = [pair for each in by_hookup.values() for pair in pairs_of(each, data)]
    if pairs and not pairs[0].phase:
        pairs = list(composed(pairs))
    corrected = correct(sorted(pairs, key=lambda pair: HOOKUPS.index(pair.hookup)), data.loads)
    return Evaluated(corrected.sweeps, corrected.consistency)


def pairs_of(sweeps: Sequence[Sweep], data: BenchData) -> tuple[Sweep, ...]:
    """The sweeps of one hook-up as one of each pair of ports that it covers, at the unit's own ports.

    Magnitudes stay as they were swept, of a pair or of a single port. Raises limits.errors.BadInput where the test
    ports were not calibrated for all of a sweep, ValueError for magnitudes without references.
    """
    return pairs_in(splice([_at_the_unit(sweep, data) for sweep in sweeps]))


def _at_the_unit(sweep: Sweep, data: BenchData) -> Sweep:
    if data.terms is not None:
        return corrected(sweep, data.terms[sweep.hookup])
    if not sweep.phase:
        raise ValueError("magnitudes alone cannot be read without reference sweeps")
    return sweep


def splice(sweeps: Sequence[Sweep]) -> Sweep:
    """The sweeps of one hook-up as one: the first, with the points of the later ones in their places.

    Raises ValueError when a later one has a point that the first one has not.
    """
    first, *later = sweeps
    if not later:
        return first
    s, again = first.s.copy(), []
    for sweep in later:
        place = np.searchsorted(first.freq_hz, sweep.freq_hz - SAME_POINT_HZ)
        known_hz = first.freq_hz[np.minimum(place, len(first.freq_hz) - 1)]
        if np.abs(known_hz - sweep.freq_hz).max() > SAME_POINT_HZ:
            raise ValueError(
                f"{sweep.hookup.name} was swept again at frequencies that it was not swept at before"
            )
        s[place] = sweep.s
        # Points that were left out in between keep their settings, and so their larger uncertainty.
        for run in np.split(first.freq_hz[place], np.flatnonzero(np.diff(place) > 1) + 1):
            again.append(Stretch(float(run[0]), float(run[-1]), sweep.settings))
    return replace(first, s=s, took_s=sum(sweep.took_s for sweep in sweeps), again=tuple(again))


def pairs_in(sweep: Sweep) -> tuple[Sweep, ...]:
    """A sweep seen as one of each pair of ports that it covers; of magnitudes as it is."""
    if sweep.hookup in HOOKUPS or not sweep.phase:
        return (sweep,)
    return tuple(_between(sweep, pair) for pair in HOOKUPS if sweep.hookup.covers(pair))


def _between(sweep: Sweep, pair: Hookup) -> Sweep:
    used = [sweep.hookup.ports.index(port) for port in pair.ports]
    return replace(sweep, hookup=pair, cut_from=sweep.hookup, s=sweep.s[:, used][:, :, used])
