"""The noise of a reading.

It comes from a counter-based generator: each value is a function of what was measured and how often, never of what
was asked before. The same order gives the same noise however it is cut into sweeps.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fixtures_sim.device import ComplexArray, FloatArray

NEPER_DB = 20.0 / math.log(10.0)

_Words = NDArray[np.uint64]
_GOLDEN = np.uint64(0x9E3779B97F4A7C15)


@dataclass(frozen=True, slots=True)
class Noise:
    """Random errors at 0 dBm, 1 kHz bandwidth and one average."""

    floor_db: float = -115.0
    """Rms of the noise, referred to the incident wave."""

    trace_db: float = 0.002
    """Rms of the noise on a strong signal; the phase has as much in the same measure."""


@dataclass(frozen=True, slots=True)
class Care:
    """The settings that noise depends on."""

    bandwidth_hz: float
    averages: int
    power_dbm: float


def with_noise(
    s: ComplexArray, noise: Noise, care: Care, key: int, freq_hz: FloatArray, takes: _Words
) -> ComplexArray:
    """One S-parameter, shape (n,), as read once; `takes` counts earlier readings at each frequency.

    Noise voltage goes with the square root of bandwidth over averages; the floor falls with power.
    """
    spread = math.sqrt(care.bandwidth_hz / 1e3 / care.averages)
    floor = 10.0 ** ((noise.floor_db - care.power_dbm) / 20.0) * spread
    trace = noise.trace_db / NEPER_DB * spread
    words = _words(key, freq_hz, takes)
    # a complex value whose rms is 1 has 1/sqrt(2) in each part
    seen: ComplexArray = s * (1.0 + trace * _normal_pair(words, 0)) + floor / math.sqrt(2.0) * _normal_pair(
        words, 2
    )
    return seen


def mean_power(
    wave: ComplexArray,
    floor: float,
    trace_db: float,
    averages: int,
    key: int,
    freq_hz: FloatArray,
    takes: _Words,
) -> FloatArray:
    """The mean power of a wave, shape (n,), in noise of the rms `floor`, over so many readings of it.

    Noise adds its own power, so that the mean never comes below the floor's. Exact: of n readings of a wave in
    noise, the power of their mean, and beside it the scatter about it, which is a sum of n - 1 exponentials.
    """
    words = _words(key, freq_hz, takes)
    trace = 1.0 + trace_db / NEPER_DB / math.sqrt(averages) * _normal_pair(words, 0).real
    mean = wave * trace + floor / math.sqrt(2.0 * averages) * _normal_pair(words, 2)
    scatter = np.zeros(len(freq_hz))
    for reading in range(1, averages):
        scatter -= np.log(_uniform(words + np.uint64(4 * reading)))
    return np.asarray(np.abs(mean) ** 2 + floor**2 / averages * scatter, dtype=np.float64)


def _words(key: int, freq_hz: FloatArray, takes: _Words) -> _Words:
    # by the millihertz: a frequency sent as text may come back a last bit away
    place = np.round(freq_hz * 1e3).astype(np.uint64)
    return _mix(_mix(place + np.uint64(key)) + takes * _GOLDEN)


def _mix(words: _Words) -> _Words:
    """The output of splitmix64: Steele, Lea, Flood, Fast splittable pseudorandom number generators, 2014."""
    words = words + _GOLDEN
    words = (words ^ words >> np.uint64(30)) * np.uint64(0xBF58476D1CE4E5B9)
    words = (words ^ words >> np.uint64(27)) * np.uint64(0x94D049BB133111EB)
    return words ^ words >> np.uint64(31)


def _uniform(words: _Words) -> FloatArray:
    """Between 0 and 1, neither of them included."""
    return np.asarray(((_mix(words) >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53, dtype=np.float64)


def _normal_pair(words: _Words, lane: int) -> ComplexArray:
    """Real and imaginary part each normal with variance 1, by Box and Muller (1958)."""
    first = _uniform(words + np.uint64(lane))
    second = (_mix(words ^ np.uint64((lane + 1) << 32)) >> np.uint64(11)).astype(np.float64) * 2.0**-53
    return np.asarray(np.sqrt(-2.0 * np.log(first)) * np.exp(2j * np.pi * second), dtype=np.complex128)
