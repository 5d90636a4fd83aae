"""A sweep that no passive unit can give is doubted; real data are not."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from station.measurements.plausibility import doubts
from station.measurements.sweep import Hookup, Sweep


def test_a_measured_filter_is_not_doubted(measured_sweep: Sweep) -> None:
    """Its largest singular value is 1.0005: real data are not ideal."""
    assert np.linalg.svd(measured_sweep.s, compute_uv=False).max() > 1.0
    assert doubts(measured_sweep) == ()


def test_gain_from_a_passive_unit_is_told_with_place_and_remedy(
    measured_sweep: Sweep, sweep_of: Callable[[Hookup, np.ndarray, np.ndarray], Sweep]
) -> None:
    louder = sweep_of(measured_sweep.hookup, measured_sweep.freq_hz, measured_sweep.s * 1.3)
    (reason,) = doubts(louder)
    assert "TX-ANT, load on RX" in reason
    assert "dB more than it gets" in reason
    assert "calibration" in reason


def test_cables_that_hang_open_are_told_as_no_unit(
    sweep_of: Callable[[Hookup, np.ndarray, np.ndarray], Sweep],
) -> None:
    freq_hz = np.linspace(154e6, 160e6, 101)
    s = np.zeros((101, 2, 2), complex)
    s[:, 0, 0] = s[:, 1, 1] = 0.99 * np.exp(1j * np.linspace(0, 3, 101))
    (reason,) = doubts(sweep_of(Hookup("ANT", "RX"), freq_hz, s))
    assert "nothing is taken in at ANT and RX" in reason
    assert "Check the cables" in reason
    s[:, 0, 0] = 0.5
    (one,) = doubts(sweep_of(Hookup("ANT", "RX"), freq_hz, s))
    assert "nothing is taken in at RX" in one
