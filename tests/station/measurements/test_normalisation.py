"""Magnitudes set against references, the choice of the average of open and short, and pairs put together."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from limits.errors import BadInput
from station.measurements.evaluation import BenchData, evaluate, pairs_of
from station.measurements.normalisation import composed, reference_terms
from station.measurements.sweep import HOOKUPS, SINGLES, Hookup, Sweep, SweepSettings

FREQ_HZ = np.linspace(150e6, 152e6, 21)
STEP_HZ = 100e3
SETTINGS = SweepSettings(1e3, 1, 0.0)
WHEN = datetime(2025, 3, 31, tzinfo=UTC)
TX_ANT, ANT_RX, TX_RX = HOOKUPS
TX, ANT, RX = SINGLES
THROUGH = 10 ** (np.linspace(0.0, 3.0, len(FREQ_HZ)) / 20)
TOTAL = np.sqrt(0.26 * 0.24)


def magnitudes(hookup, size, freq_hz=FREQ_HZ, settings=SETTINGS):
    ports = len(hookup.ports)
    s = np.full((len(freq_hz), ports, ports), complex(np.nan, np.nan))
    if ports == 1:
        s[:, 0, 0] = size
    else:
        s[:, 1, 0] = s[:, 0, 1] = size
    return Sweep(hookup, freq_hz, s, settings, WHEN, 0.1, phase=False)


@pytest.fixture
def references():
    """A through 3 dB up at the upper end, a bridge of 12 dB loss."""
    return reference_terms(
        magnitudes(TX_ANT, THROUGH), magnitudes(TX, 0.26), magnitudes(TX, 0.24), largest_step_hz=STEP_HZ
    )


def test_a_transmission_is_its_ratio_to_the_through(references):
    (seen,) = pairs_of([magnitudes(TX_RX, 0.01 * THROUGH)], BenchData(terms=references))
    np.testing.assert_allclose(np.abs(seen.s[:, 1, 0]), 0.01)
    np.testing.assert_array_equal(seen.s[:, 0, 1], seen.s[:, 1, 0])
    assert np.isnan(seen.s[:, 0, 0]).all()


def test_a_reflection_is_its_ratio_to_the_average_of_open_and_short_in_decibels(references):
    (seen,) = pairs_of([magnitudes(RX, 0.025)], BenchData(terms=references))
    assert seen.hookup == Hookup("RX")
    np.testing.assert_allclose(np.abs(seen.s[:, 0, 0]), 0.025 / TOTAL)


def test_references_are_straight_between_their_points(references):
    freq_hz = np.array([150.05e6, 151.27e6])
    (seen,) = pairs_of([magnitudes(TX_ANT, 1.0, freq_hz)], BenchData(terms=references))
    loss_db = (freq_hz - 150e6) / 2e6 * 3.0
    np.testing.assert_allclose(20 * np.log10(np.abs(seen.s[:, 1, 0])), -loss_db, atol=0.001)


@pytest.mark.parametrize("freq_hz", [[149.9e6, 151e6], [151e6, 152.1e6]])
def test_what_lies_beyond_the_references_is_refused(references, freq_hz):
    with pytest.raises(BadInput, match="from 150 MHz to 152 MHz"):
        pairs_of([magnitudes(TX_ANT, 1.0, np.array(freq_hz))], BenchData(terms=references))


def test_what_lies_in_a_gap_of_the_references_is_refused():
    freq_hz = np.concatenate([np.linspace(150e6, 151e6, 11), np.linspace(157e6, 158e6, 11)])
    found = reference_terms(
        magnitudes(TX_ANT, 1.0, freq_hz), magnitudes(TX, 1.0, freq_hz), magnitudes(TX, 1.0, freq_hz), STEP_HZ
    )
    data = BenchData(terms=found)
    assert pairs_of([magnitudes(TX_ANT, 1.0, np.array([150.02e6, 157.9e6]))], data)
    with pytest.raises(BadInput, match="between 151 MHz and 157 MHz"):
        pairs_of([magnitudes(TX_ANT, 1.0, np.array([150.5e6, 154e6]))], data)


def test_the_average_of_decibels_errs_less_than_that_of_amplitudes():
    """All phases of directivity and match, exact reflections: the bounds told in the module, 35 and 25 dB."""
    phase = np.exp(2j * np.pi * np.arange(72) / 72)
    leak, match = np.meshgrid(10 ** (-35 / 20) * phase, 10 ** (-25 / 20) * phase)
    opened, shorted = np.abs(leak + 1 / (1 - match)), np.abs(leak - 1 / (1 + match))
    by_decibels = np.abs(20 * np.log10(np.sqrt(opened * shorted)))
    by_amplitudes = np.abs(20 * np.log10((opened + shorted) / 2))
    assert by_decibels.max() < 20 * np.log10(1 + (np.abs(leak).max() + np.abs(match).max()) ** 2 / 2)
    assert by_amplitudes.max() > 1.3 * by_decibels.max()
    assert np.sqrt((by_amplitudes**2).mean()) > 1.3 * np.sqrt((by_decibels**2).mean())
    one_alone = np.abs(20 * np.log10(opened))
    assert one_alone.max() > 20 * by_decibels.max()


def test_pairs_are_put_together_of_what_was_swept():
    found = {
        pair.hookup: pair
        for pair in composed(
            [magnitudes(TX_ANT, 0.8), magnitudes(TX_RX, 1e-4), magnitudes(TX, 0.1), magnitudes(ANT, 0.2)]
        )
    }
    assert set(found) == set(HOOKUPS)
    np.testing.assert_allclose(np.abs(found[TX_ANT].s[0]), [[0.1, 0.8], [0.8, 0.2]])
    assert np.abs(found[TX_RX].s[0, 0]).tolist() == pytest.approx([0.1, 1e-4])
    assert np.isnan(found[TX_RX].s[0, 1, 1])
    assert np.abs(found[ANT_RX].s[0, 0, 0]) == pytest.approx(0.2)
    assert np.isnan(found[ANT_RX].s[0, 1, 0])


def test_a_pair_is_swept_under_the_settings_of_its_transmission():
    careful = SweepSettings(10.0, 8, 0.0)
    (pair, *_) = composed([magnitudes(TX, 0.1), magnitudes(TX_ANT, 0.8, settings=careful)])
    assert pair.settings == careful


def test_sweeps_of_other_frequencies_make_no_pair():
    with pytest.raises(ValueError, match="different frequencies"):
        composed([magnitudes(TX, 0.1), magnitudes(TX_ANT, 0.8, FREQ_HZ[::2])])


def test_a_run_of_magnitudes_is_read_from_pairs(references):
    raw = [magnitudes(TX_ANT, 0.8 * THROUGH), magnitudes(TX, 0.1 * TOTAL)]
    pair = evaluate(raw, BenchData(terms=references)).sweeps[TX_ANT]
    assert not pair.phase
    np.testing.assert_allclose(np.abs(pair.parameter("ANT", "TX")), 0.8)
    np.testing.assert_allclose(np.abs(pair.parameter("TX", "TX")), 0.1)


def test_magnitudes_without_references_are_not_read():
    with pytest.raises(ValueError, match="without reference sweeps"):
        evaluate([magnitudes(TX_ANT, 0.8)], BenchData())


@pytest.mark.parametrize("swapped", [(TX, TX, TX), (TX_ANT, TX_ANT, TX)])
def test_references_are_made_of_the_sweeps_they_need(swapped):
    with pytest.raises(ValueError, match="no reference"):
        reference_terms(*(magnitudes(hookup, 1.0) for hookup in swapped), largest_step_hz=STEP_HZ)
