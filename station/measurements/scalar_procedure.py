"""Taking the reference sweeps of a scalar bench: through, open and short, and finding out how well that went.

Magnitudes tell less than waves: an open and a short read alike, so that the same one twice, or both exchanged, is not
seen; a load that is no load, a through that is not there, and what does not read the same again are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from limits.reading import FloatArray
from station.measurements.calibration import ErrorTerms, corrected
from station.measurements.noise import MeasuredNoise, measured_noise
from station.measurements.normalisation import reference_terms
from station.measurements.standards import Findings, Residual, Standard, StandardDoubt, Step, Swept, Use
from station.measurements.sweep import HOOKUPS, SINGLES, Hookup, Sweep, SweepSettings

PAIR, PORT = HOOKUPS[0], SINGLES[0]
"""All pairs go through the same two cables, all single ports over the same bridge."""

ALIKE_DB = 4.0
"""By how much open and short may differ: a bridge whose test port matches 20 dB and whose directivity is 20 dB,
poorer than any, reads them 3.5 dB apart."""

LOAD_DB = 15.0
"""How far below total reflection a load reads at least; poorer bridges are of no use."""

SILENT_DB = 20.0
"""How far the terminated ports lie below the through at least."""


@dataclass(frozen=True)
class ScalarProcedure:
    """Of a spectrum analyzer with tracking generator and a return-loss bridge."""

    largest_step_hz: float
    repeats_within_db: float
    """How far below a full wave a standard that is connected again may be off."""

    @property
    def steps(self) -> tuple[Step, ...]:
        """Through, at once again for its scatter; open, short and load on the bridge; once more; the noise."""
        both, bridge = (1, 2), (1,)
        return (
            Step("through", both, Use.CALIBRATE, PAIR),
            Step("through", both, Use.TRACE, PAIR),
            *(Step(kind, bridge, Use.CALIBRATE, PORT) for kind in ("open", "short")),
            *(Step(kind, bridge, Use.VERIFY, PORT) for kind in ("load", "short")),
            Step("through", both, Use.VERIFY, PAIR),
            Step("terminated", both, Use.FLOOR, PAIR),
        )

    def doubt(self, step: Step, swept: Swept) -> StandardDoubt | None:
        """Why this standard cannot be what it should be, beside those before."""
        read = _level_db(swept[step][0])
        known = self._known(swept)
        if step.standard == "terminated" and known["through"] - read < SILENT_DB:
            return StandardDoubt("something goes through between ports 1 and 2; is a load on each?", (step,))
        if step.use is Use.VERIFY and step.standard == "load" and known["open"] - read < LOAD_DB:
            words = "what is on the bridge reflects too much for a load; is it one, and tight?"
            return StandardDoubt(words, (step,))
        if step.standard == "short" and step.use is Use.CALIBRATE:
            apart = np.abs(_db(swept[step][0]) - _db(swept[self._step("open", Use.CALIBRATE)][0])).max()
            if apart > ALIKE_DB:
                words = (
                    f"open and short on the bridge read {apart:.1f} dB apart, which no bridge makes of them"
                )
                return StandardDoubt(
                    words, tuple(self._step(kind, Use.CALIBRATE) for kind in ("open", "short"))
                )
        return None

    def conclude(self, swept: Swept) -> Findings | StandardDoubt:
        """The references as error terms, how well they repeat, what the bridge leaks, and the noise."""
        through, opened, shorted = (
            swept[self._step(kind, Use.CALIBRATE)][0] for kind in ("through", "open", "short")
        )
        terms = reference_terms(through, opened, shorted, self.largest_step_hz)
        load, short_again, through_again = (
            swept[self._step(kind, Use.VERIFY)][0] for kind in ("load", "short", "through")
        )
        directivity = _residual("directivity", 1, _seen(load, terms), load.freq_hz)
        repeats = (
            _residual("reflection", 1, _off(short_again, shorted), short_again.freq_hz),
            _residual("transmission", 2, _off(through_again, through), through_again.freq_hz),
        )
        for residual, kind in zip(repeats, ("short", "through"), strict=True):
            if residual.value_db < self.repeats_within_db:
                return self._does_not_repeat(residual, kind)
        return Findings(terms, (directivity, *repeats), self._noise(swept, terms))

    def _step(self, standard: str, use: Use) -> Step:
        return next(step for step in self.steps if step.standard == standard and step.use is use)

    def _known(self, swept: Swept) -> dict[Standard, float]:
        """What was read of the standards so far, as far as they are references."""
        return {
            step.standard: _level_db(sweeps[0]) for step, sweeps in swept.items() if step.use is Use.CALIBRATE
        }

    def _does_not_repeat(self, residual: Residual, kind: str) -> StandardDoubt:
        words = (
            f"the {kind} does not read the same when it is connected again: {residual.what} is "
            f"{residual.value_db:.1f} dB, at least {self.repeats_within_db:g} dB is asked for; clean and tighten it"
        )
        return StandardDoubt(words, (self._step(kind, Use.CALIBRATE), self._step(kind, Use.VERIFY)))

    def _noise(self, swept: Swept, terms: Mapping[Hookup, ErrorTerms]) -> tuple[MeasuredNoise, ...]:
        """Of every kind of settings that was swept."""
        groups: dict[SweepSettings, tuple[list[Sweep], list[Sweep]]] = {}
        for place, step in enumerate((self._step("terminated", Use.FLOOR), self._step("through", Use.TRACE))):
            for sweep in swept[step]:
                seen = corrected(sweep, terms[sweep.hookup])
                groups.setdefault(sweep.settings, ([], []))[place].append(seen)
        return tuple(measured_noise(*group) for group in groups.values())


def _db(sweep: Sweep) -> FloatArray:
    """What was measured, in dB; shape (n,)."""
    wave = sweep.s[:, -1, 0]
    return np.asarray(20 * np.log10(np.maximum(np.abs(wave), 1e-15)), dtype=np.float64)


def _level_db(sweep: Sweep) -> float:
    return float(np.median(_db(sweep)))


def _seen(sweep: Sweep, terms: Mapping[Hookup, ErrorTerms]) -> FloatArray:
    return np.asarray(np.abs(corrected(sweep, terms[sweep.hookup]).s[:, -1, 0]), dtype=np.float64)


def _off(again: Sweep, before: Sweep) -> FloatArray:
    """By which share of it a magnitude differs from the one before, taken straight between its points."""
    before_db = np.interp(again.freq_hz, before.freq_hz, _db(before))
    return np.asarray(np.abs(10 ** ((_db(again) - before_db) / 20) - 1), dtype=np.float64)


def _residual(what: str, port: int, off: FloatArray, freq_hz: FloatArray) -> Residual:
    worst = int(np.argmax(off))
    return Residual(what, port, float(-20 * np.log10(max(off[worst], 1e-15))), float(freq_hz[worst]))
