"""Sweeps made from plain S-parameters, and from filters that somebody measured."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import skrf

from station.measurements.sweep import Hookup, Sweep, SweepSettings

MEASURED = Path(__file__).parents[2] / "reference" / "measured"
SETTINGS = SweepSettings(bandwidth_hz=1e3, averages=1, power_dbm=0.0)


def make_sweep(hookup: Hookup, freq_hz: np.ndarray, s: np.ndarray) -> Sweep:
    return Sweep(hookup, freq_hz, s, SETTINGS, datetime(2026, 3, 2, 9, 0, tzinfo=UTC), 0.5)


@pytest.fixture
def sweep_of() -> Callable[[Hookup, np.ndarray, np.ndarray], Sweep]:
    """A sweep of given S-parameters, shape (n, 2, 2)."""
    return make_sweep


@pytest.fixture(scope="session")
def measured() -> skrf.Network:
    """A two-cavity combline filter that somebody measured near 1575 MHz (open data, licence beside the file)."""
    return skrf.Network(str(MEASURED / "combline_e1_cap.s2p"))


@pytest.fixture
def measured_sweep(measured: skrf.Network) -> Sweep:
    """The same filter as a sweep between TX and ANT."""
    return make_sweep(Hookup("TX", "ANT"), measured.f, measured.s)
