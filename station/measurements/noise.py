"""The noise of a bench as it was measured: its floor with all ports terminated, its scatter on a strong signal."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from station.measurements.sweep import ComplexArray, Sweep

LEAST_SWEEPS = 2
"""A scatter is one between sweeps."""

HEARD_DB = 2.0
"""A mean of two sweeps or more has 3 dB less noise than one; what lies less than this below that is no noise."""


@dataclass(frozen=True, slots=True)
class MeasuredNoise:
    """Of one bandwidth, with one average."""

    bandwidth_hz: float
    floor_dbm: float
    """Rms of what is read of a transmission with the ports terminated, as power at the test port. Like every wave of
    the correction it is referred to the source: the same as `NoiseFloor.power_dbm`."""

    trace_db: float
    """Standard deviation of a strong transmission from one sweep to the next."""

    leakage_db: float | None = None
    """How far below the wave that goes into the unit something lies that stays in the mean of all sweeps, as complex
    numbers: leakage past the device, which grows with the source as noise does not. None where it drowned in noise,
    or no phases were measured."""


def measured_noise(terminated: Sequence[Sweep], through: Sequence[Sweep]) -> MeasuredNoise:
    """From repeated sweeps of one bandwidth with one average, of the ports terminated and of the through.

    All at the ends of the cables, so that the figures hold for readings there. Raises ValueError for fewer than
    LEAST_SWEEPS of either.
    """
    if min(len(terminated), len(through)) < LEAST_SWEEPS:
        raise ValueError(f"noise shows between at least {LEAST_SWEEPS} sweeps")
    settings = terminated[0].settings
    quiet, strong = _transmissions(terminated), _transmissions(through)
    power_dbm = settings.power_dbm
    return MeasuredNoise(
        bandwidth_hz=settings.bandwidth_hz,
        floor_dbm=power_dbm + _rms_db(quiet),
        trace_db=_scatter_db(strong),
        leakage_db=_leakage_db(quiet) if terminated[0].phase else None,
    )


def _leakage_db(quiet: ComplexArray) -> float | None:
    left_db = _rms_db(quiet.mean(axis=0))
    return -left_db if left_db > _rms_db(quiet) - HEARD_DB else None


def _transmissions(sweeps: Sequence[Sweep]) -> ComplexArray:
    """Shape (sweeps, n, ways between two ports)."""
    ways = list(permutations(range(sweeps[0].s.shape[1]), 2))
    return np.array([[sweep.s[:, i, j] for i, j in ways] for sweep in sweeps]).transpose(0, 2, 1)


def _rms_db(waves: ComplexArray) -> float:
    return 10 * math.log10(float(np.nanmean(np.abs(waves) ** 2)))


def _scatter_db(waves: ComplexArray) -> float:
    """Over the sweeps at each point, its variances averaged over the points."""
    return float(np.sqrt(np.nanmean(np.var(20 * np.log10(np.abs(waves)), axis=0, ddof=1))))
