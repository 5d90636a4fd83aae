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

Both are kept as error terms whose tracking is the reference and that have nothing else, so that magnitudes are
corrected, interpolated, refused and stored as waves are.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from station.measurements.calibration import ErrorTerms
from station.measurements.sweep import HOOKUPS, SINGLES, ComplexArray, Hookup, Sweep


def reference_terms(
    through: Sweep, opened: Sweep, shorted: Sweep, largest_step_hz: float
) -> Mapping[Hookup, ErrorTerms]:
    """What raw sweeps of the unit are set against, for every pair and every single port.

    `through` is a raw sweep of a pair, the others of a single port, all at the same frequencies; points further apart
    than `largest_step_hz` belong to different stretches. Raises ValueError for other sweeps.
    """
    for sweep, ports in ((through, 2), (opened, 1), (shorted, 1)):
        if sweep.phase or len(sweep.hookup.ports) != ports:
            raise ValueError(
                f"a sweep of {sweep.hookup.name} is no reference of magnitudes with {ports} ports"
            )
        if not np.array_equal(sweep.freq_hz, through.freq_hz):
            raise ValueError("the standards were swept at different frequencies")
    passed = through.s[:, 1, 0]
    # The tracking of reflections on a pair stays at 1: none are measured there.
    pair = np.ones((len(passed), 2, 2), dtype=np.complex128)
    pair[:, 1, 0] = pair[:, 0, 1] = passed
    total = np.sqrt(np.abs(opened.s) * np.abs(shorted.s)).astype(np.complex128)
    of_pair, of_port = (_tracking(through, each, largest_step_hz) for each in (pair, total))
    return {**dict.fromkeys(HOOKUPS, of_pair), **dict.fromkeys(SINGLES, of_port)}


def _tracking(sweep: Sweep, tracking: ComplexArray, largest_step_hz: float) -> ErrorTerms:
    nothing = np.zeros_like(tracking)
    return ErrorTerms(sweep.freq_hz, nothing, nothing, tracking, largest_step_hz)


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
