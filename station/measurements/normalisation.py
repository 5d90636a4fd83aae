"""Losses and return losses from magnitudes: sweeps of the unit set against reference sweeps of standards.

A transmission is what reaches the receiver through the unit over what reaches it through the through standard, whose
own loss, a hundredth of a decibel, is left to the uncertainty. A reflection is what the bridge gives of the unit's
port over what it gives of total reflection. No single standard tells the latter: with directivity D and test-port
match M of the bridge, an open reads |1 + D + M| and a short |1 - D - M| of it, wrong by what D and M are. Between
the two the first order goes out. Of the two averages at hand, that of the decibels (the geometric mean) leaves at
most about (|M| + |D|)^2 / 2; that of the amplitudes keeps all of the M^2 by which open and short alike read too
strong, and leaves more wherever M is larger than D, as it is in a bridge. Over all phases of 25 dB match and 35 dB
directivity: 0.021 against 0.029 dB at worst, 0.012 against 0.017 dB rms (own derivation, tried in the tests). So the
decibels are averaged.

Pure, as all of this room: what was swept comes in, what is to be read goes out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from limits.errors import BadInput, Mistake
from limits.reading import FloatArray
from limits.units import hertz_text
from station.measurements.sweep import HOOKUPS, ComplexArray, Hookup, Sweep

ROUNDING_HZ = 1.0
"""How far beyond its ends, or from its points, a reference is taken for known: rounding of frequencies, no intent."""


@dataclass(frozen=True, slots=True, eq=False)
class References:
    """What a scalar bench read of its standards: the receiver's wave over the generator's."""

    freq_hz: FloatArray
    """Shape (n,), strictly rising; stretches with gaps between them."""

    through: FloatArray
    """Of the through standard between the two cables, shape (n,)."""

    total: FloatArray
    """Of total reflection at the bridge's test port, shape (n,): the average of open and short."""

    largest_step_hz: float
    """Points that lie further apart belong to different stretches: nothing is known between them."""

    def outside(self, freq_hz: FloatArray) -> str:
        """Why sweeps at these frequencies, shape (m,), cannot be set against the references; empty if they can."""
        low, high = float(self.freq_hz[0]), float(self.freq_hz[-1])
        wanted = f"wanted are {hertz_text(float(freq_hz[0]))} to {hertz_text(float(freq_hz[-1]))}"
        if freq_hz[0] < low - ROUNDING_HZ or freq_hz[-1] > high + ROUNDING_HZ:
            return f"the reference sweeps reach from {hertz_text(low)} to {hertz_text(high)}, {wanted}"
        above = np.clip(np.searchsorted(self.freq_hz, freq_hz), 1, len(self.freq_hz) - 1)
        below_hz, above_hz = self.freq_hz[above - 1], self.freq_hz[above]
        on_point = np.minimum(np.abs(freq_hz - below_hz), np.abs(above_hz - freq_hz)) <= ROUNDING_HZ
        gap = (above_hz - below_hz > self.largest_step_hz * (1 + 1e-6)) & ~on_point
        if not gap.any():
            return ""
        first = int(np.argmax(gap))
        ends = f"{hertz_text(float(below_hz[first]))} and {hertz_text(float(above_hz[first]))}"
        return f"there is no reference sweep between {ends}, {wanted}"

    def at(self, freq_hz: FloatArray) -> References:
        """At other frequencies, straight between neighbours in decibels. Raises BadInput where `outside` says why."""
        if why := self.outside(freq_hz):
            raise BadInput((Mistake(f"{why}; calibrate further"),))
        through, total = (
            np.exp(np.interp(freq_hz, self.freq_hz, np.log(known))) for known in (self.through, self.total)
        )
        return replace(self, freq_hz=freq_hz, through=through, total=total)


def references_from(through: Sweep, opened: Sweep, shorted: Sweep, largest_step_hz: float) -> References:
    """The references in raw sweeps of the standards, all at the same frequencies.

    `through` is of a pair, the others of a single port. Raises ValueError for other sweeps, or of other frequencies.
    """
    for sweep, ports in ((through, 2), (opened, 1), (shorted, 1)):
        if sweep.phase or len(sweep.hookup.ports) != ports:
            raise ValueError(
                f"a sweep of {sweep.hookup.name} is no reference of magnitudes with {ports} ports"
            )
        if not np.array_equal(sweep.freq_hz, through.freq_hz):
            raise ValueError("the standards were swept at different frequencies")
    total = np.sqrt(_size(opened.s[:, 0, 0]) * _size(shorted.s[:, 0, 0]))
    return References(through.freq_hz, _size(through.s[:, 1, 0]), total, largest_step_hz)


def normalised(sweep: Sweep, references: References) -> Sweep:
    """A raw sweep of magnitudes, of a pair or of a single port, set against the references.

    Raises BadInput where they do not reach.
    """
    at = references.at(sweep.freq_hz)
    reference = at.total if len(sweep.hookup.ports) == 1 else at.through
    # NaN stays what was not measured.
    return replace(sweep, s=sweep.s / reference[:, None, None])


def composed(sweeps: Sequence[Sweep]) -> tuple[Sweep, ...]:
    """Pairs of ports from normalised sweeps: the transmission of each pair, with the reflections of its two ports.

    A pair takes its settings from its transmission, which is what noise matters to. Magnitudes alone cannot tell what
    the loads on idle ports add, so it stays in. What was not swept is NaN. Raises ValueError when the sweeps are not
    at the same frequencies.
    """
    by_hookup = {sweep.hookup: sweep for sweep in sweeps}
    if any(not np.array_equal(sweep.freq_hz, sweeps[0].freq_hz) for sweep in sweeps):
        raise ValueError("the hook-ups were swept at different frequencies, so no pair can be put together")
    pairs = (_pair(pair, by_hookup) for pair in HOOKUPS)
    return tuple(pair for pair in pairs if pair is not None)


def _pair(pair: Hookup, sweeps: dict[Hookup, Sweep]) -> Sweep | None:
    parts = {part: sweeps[part] for part in (pair, *map(Hookup, pair.ports)) if part in sweeps}
    if not parts:
        return None
    leading = next(iter(parts.values()))
    s = np.full((len(leading.freq_hz), 2, 2), complex(np.nan, np.nan), np.complex128)
    if pair in parts:
        s[:, 1, 0], s[:, 0, 1] = parts[pair].s[:, 1, 0], parts[pair].s[:, 0, 1]
    for place, port in enumerate(pair.ports):
        if Hookup(port) in parts:
            s[:, place, place] = parts[Hookup(port)].s[:, 0, 0]
    return replace(leading, hookup=pair, s=s)


def _size(s: ComplexArray) -> FloatArray:
    return np.asarray(np.abs(s), dtype=np.float64)
