"""Passing and stopping paths, against scikit-rf on measured data and against closed forms."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import skrf

from station.measurements.measure import Place
from station.measurements.sweep import Hookup, Sweep
from station.measurements.transmission import highest, lowest, notch_frequency, ripple, value_at
from station.measurements.view import View, look

ROUNDING_DB = 1e-9
"""Both sides do the same arithmetic on the same complex numbers."""


@pytest.fixture
def view(measured_sweep: Sweep) -> View:
    return look(measured_sweep, "ANT", "TX")


def test_loss_at_a_measured_point_is_what_scikit_rf_says(view: View, measured: skrf.Network) -> None:
    for index in (100, 400, 650):
        found = value_at(view, Place(at_hz=float(measured.f[index])))
        assert found.value == pytest.approx(-measured.s_db[index, 1, 0], abs=ROUNDING_DB)


def test_worst_best_and_ripple_over_a_band_are_what_scikit_rf_says(
    view: View, measured: skrf.Network
) -> None:
    band = measured["1560-1590MHz"]
    loss_db = -band.s_db[:, 1, 0]
    place = Place(span_hz=(float(band.f[0]), float(band.f[-1])))
    worst, best = highest(view, place), lowest(view, place)
    assert worst.value == pytest.approx(loss_db.max(), abs=ROUNDING_DB)
    assert worst.at_hz == band.f[loss_db.argmax()]
    assert best.value == pytest.approx(loss_db.min(), abs=ROUNDING_DB)
    assert ripple(view, place).value == pytest.approx(np.ptp(loss_db), abs=ROUNDING_DB)


def test_a_span_between_the_points_is_closed_by_interpolation(view: View) -> None:
    step_hz = view.freq_hz[1] - view.freq_hz[0]
    low_hz, high_hz = view.freq_hz[10] + 0.25 * step_hz, view.freq_hz[11] - 0.25 * step_hz
    part = view.over(low_hz, high_hz)
    assert list(part.freq_hz) == [low_hz, high_hz]
    assert part.db[0] == pytest.approx(0.75 * view.db[10] + 0.25 * view.db[11], abs=ROUNDING_DB)


def test_a_frequency_outside_the_sweep_is_refused_not_guessed(view: View) -> None:
    with pytest.raises(ValueError, match="does not cover"):
        view.at(1e9)


def shunt_notch(freq_hz: np.ndarray, notch_hz: float) -> np.ndarray:
    """S of a series resonant branch (0.2 ohm, 2 uH) across a 50 ohm line, shape (n, 2, 2)."""
    omega, omega_0, inductance = 2 * np.pi * freq_hz, 2 * np.pi * notch_hz, 2e-6
    branch = 0.2 + 1j * inductance * (omega - omega_0**2 / omega)
    line = 2 * branch / (2 * branch + 50)
    reflection = -50 / (2 * branch + 50)
    return np.stack([np.stack([reflection, line], -1), np.stack([line, reflection], -1)], -2)


@pytest.mark.parametrize("offset_hz", [0.0, 300.0, -1700.0, 2400.0])
def test_a_notch_is_placed_between_the_points_of_the_sweep(
    offset_hz: float, sweep_of: Callable[[Hookup, np.ndarray, np.ndarray], Sweep]
) -> None:
    freq_hz = np.arange(156.4e6, 156.8e6 + 1, 5e3)
    notch_hz = 156.6e6 + offset_hz
    sweep = sweep_of(Hookup("TX", "ANT"), freq_hz, shunt_notch(freq_hz, notch_hz))
    found = notch_frequency(look(sweep, "ANT", "TX"), Place(span_hz=(156.4e6, 156.8e6)))
    a_hundredth_of_a_step_hz = 50.0
    assert found.value == pytest.approx(notch_hz, abs=a_hundredth_of_a_step_hz)


def test_a_notch_outside_the_span_is_no_reading(
    sweep_of: Callable[[Hookup, np.ndarray, np.ndarray], Sweep],
) -> None:
    freq_hz = np.arange(156.4e6, 156.8e6 + 1, 5e3)
    sweep = sweep_of(Hookup("TX", "ANT"), freq_hz, shunt_notch(freq_hz, 157.5e6))
    found = notch_frequency(look(sweep, "ANT", "TX"), Place(span_hz=(156.4e6, 156.8e6)))
    assert found.value is None
    assert "no notch lies inside" in found.note


def test_an_s_parameter_of_exactly_zero_is_a_number(
    sweep_of: Callable[[Hookup, np.ndarray, np.ndarray], Sweep],
) -> None:
    sweep = sweep_of(Hookup("TX", "ANT"), np.array([1e8, 2e8]), np.zeros((2, 2, 2), complex))
    assert np.isfinite(look(sweep, "ANT", "TX").db).all()
