"""Noise by its laws."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fixtures_sim.keys import key_of
from fixtures_sim.noise import Care, Noise, with_noise

USUAL = Noise()
FREQ_HZ = np.linspace(100e6, 200e6, 20_001)
FIRST = np.zeros(len(FREQ_HZ), dtype=np.uint64)
FIVE_SIGMA_OF_20001 = 5.0 / math.sqrt(2.0 * 2.0 * len(FREQ_HZ))
"""Relative scatter of an rms over that many complex values."""


def noise_of(
    level: float, care: Care, *, key: int = 5, takes: np.ndarray = FIRST, noise: Noise = USUAL
) -> np.ndarray:
    s = np.full(len(FREQ_HZ), level, dtype=np.complex128)
    return with_noise(s, noise, care, key, FREQ_HZ, takes) - s


def rms(values: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.abs(values) ** 2)))


@pytest.mark.parametrize(
    ("care", "floor_db"),
    [
        (Care(1e3, 1, 0.0), -115.0),
        (Care(10e3, 1, 0.0), -105.0),
        (Care(1e3, 10, 0.0), -125.0),
        (Care(100.0, 1, 10.0), -135.0),
        (Care(1e3, 1, -20.0), -95.0),
    ],
)
def test_floor_follows_bandwidth_averages_and_power(care: Care, floor_db: float) -> None:
    assert rms(noise_of(0.0, care)) == pytest.approx(10 ** (floor_db / 20), rel=FIVE_SIGMA_OF_20001)


def test_trace_noise_follows_bandwidth_but_not_power() -> None:
    usual = 0.002 * math.log(10.0) / 20.0
    quiet = Noise(floor_db=-300.0)
    for care, factor in ((Care(1e3, 1, 0.0), 1.0), (Care(1e3, 1, -20.0), 1.0), (Care(4e3, 1, 0.0), 2.0)):
        seen = noise_of(1.0, care, noise=quiet)
        assert rms(seen.real) == pytest.approx(usual * factor, rel=2 * FIVE_SIGMA_OF_20001)
        assert rms(seen.imag) == pytest.approx(usual * factor, rel=2 * FIVE_SIGMA_OF_20001)


def test_noise_is_normal_without_mean_and_without_memory() -> None:
    seen = noise_of(0.0, Care(1e3, 1, 0.0)) * math.sqrt(2.0) / 10 ** (-115 / 20)
    parts = np.concatenate([seen.real, seen.imag])
    scatter = 5.0 / math.sqrt(len(parts))
    assert abs(parts.mean()) < scatter
    assert abs((parts**4).mean() - 3.0) < math.sqrt(96.0) * scatter
    assert abs(np.corrcoef(seen.real, seen.imag)[0, 1]) < 5.0 / math.sqrt(len(seen))
    assert abs(np.corrcoef(seen.real[1:], seen.real[:-1])[0, 1]) < 5.0 / math.sqrt(len(seen))


def test_noise_is_a_function_of_what_is_measured_and_how_often() -> None:
    care = Care(1e3, 1, 0.0)
    once = noise_of(0.0, care)
    assert np.array_equal(once, noise_of(0.0, care))
    again = noise_of(0.0, care, takes=FIRST + np.uint64(1))
    assert abs(np.corrcoef(once.real, again.real)[0, 1]) < 5.0 / math.sqrt(len(once))
    other = noise_of(0.0, care, key=6)
    assert abs(np.corrcoef(once.real, other.real)[0, 1]) < 5.0 / math.sqrt(len(once))


def test_noise_at_a_frequency_does_not_depend_on_the_others() -> None:
    care = Care(1e3, 1, 0.0)
    s = np.zeros(3, dtype=np.complex128)
    part = with_noise(s, Noise(), care, 5, FREQ_HZ[7:10], FIRST[:3])
    assert np.array_equal(part, noise_of(0.0, care)[7:10])


def test_keys_differ_and_stay() -> None:
    assert key_of(1, "a", "TX-ANT", 0, "S21", Care(1e3, 1, 0.0)) == key_of(
        1, "a", "TX-ANT", 0, "S21", Care(1e3, 1, 0.0)
    )
    assert len({key_of(1, "a"), key_of(1, "b"), key_of(2, "a"), key_of("1", "a")}) == 4
