"""Return loss and match bandwidth, against scikit-rf on measured data and against a closed form."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import skrf

from limits.reading import Claim
from station.measurements.measure import Place
from station.measurements.reflection import match_bandwidth
from station.measurements.sweep import Hookup, Sweep
from station.measurements.transmission import lowest, value_at
from station.measurements.view import View, look

ROUNDING_DB = 1e-9
SweepOf = Callable[[Hookup, np.ndarray, np.ndarray], Sweep]


def test_return_loss_is_positive_and_what_scikit_rf_says(
    measured_sweep: Sweep, measured: skrf.Network
) -> None:
    for port, index in (("TX", 0), ("ANT", 1)):
        view = look(measured_sweep, port, port)
        expected_db = -measured.s_db[:, index, index]
        assert value_at(view, Place(at_hz=float(measured.f[300]))).value == pytest.approx(
            expected_db[300], abs=ROUNDING_DB
        )
        worst = lowest(view, Place(span_hz=(float(measured.f[250]), float(measured.f[350]))))
        assert worst.value == pytest.approx(expected_db[250:351].min(), abs=ROUNDING_DB)


def parabola_view(sweep_of: SweepOf) -> View:
    """A reflection whose return loss in dB is 30 - 40 x^2 with x in MHz from 157 MHz."""
    freq_hz = np.linspace(156e6, 158e6, 2001)
    reflection = 10 ** (-(30 - 40 * ((freq_hz - 157e6) / 1e6) ** 2) / 20)
    s = np.zeros((len(freq_hz), 2, 2), complex)
    s[:, 0, 0] = reflection
    return look(sweep_of(Hookup("TX", "ANT"), freq_hz, s), "TX", "TX")


def test_match_bandwidth_is_the_width_between_the_crossings(sweep_of: SweepOf) -> None:
    found = match_bandwidth(parabola_view(sweep_of), Place(157e6, (156e6, 158e6), 20.0))
    a_tenth_of_a_step_hz = 100.0
    assert found.value == pytest.approx(1e6, abs=a_tenth_of_a_step_hz)
    assert found.note == ""
    assert found.claim is Claim.VALUE


def test_match_bandwidth_beyond_the_span_says_at_least(sweep_of: SweepOf) -> None:
    found = match_bandwidth(parabola_view(sweep_of), Place(157e6, (156.8e6, 157.9e6), 20.0))
    assert found.value == pytest.approx(0.7e6, abs=100.0)
    assert found.note.startswith("at least")
    assert found.claim is Claim.AT_LEAST


def test_match_bandwidth_of_a_mismatched_port_is_zero(sweep_of: SweepOf) -> None:
    found = match_bandwidth(parabola_view(sweep_of), Place(157.9e6, (156e6, 158e6), 20.0))
    assert found.value == 0.0
    assert "below 20 dB" in found.note
