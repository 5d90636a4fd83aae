"""Whatever the bench swept, and however often: one sweep for each pair of ports comes of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from station.measurements.calibration import ErrorTerms
from station.measurements.evaluation import BenchData, evaluate, splice
from station.measurements.sweep import HOOKUPS, WHOLE, Hookup, Sweep, SweepSettings, hookup_named

FAST, CAREFUL = SweepSettings(10e3, 1, 0.0), SweepSettings(100.0, 4, 0.0)
GRID_HZ = np.linspace(156e6, 157e6, 11)
UNKNOWN = BenchData()


def sweep(
    hookup: Hookup, freq_hz: np.ndarray = GRID_HZ, settings: SweepSettings = FAST, seed: int = 1
) -> Sweep:
    ports = len(hookup.ports)
    rng = np.random.default_rng(seed)
    s = rng.normal(size=(len(freq_hz), ports, ports)) + 1j * rng.normal(size=(len(freq_hz), ports, ports))
    return Sweep(hookup, freq_hz, s, settings, datetime(2026, 3, 2, tzinfo=UTC), 0.5)


def test_three_ports_at_once_are_three_pairs() -> None:
    whole = sweep(WHOLE)
    pairs = evaluate([whole], UNKNOWN).sweeps
    assert tuple(pairs) == HOOKUPS
    for pair in pairs.values():
        for to in pair.hookup.ports:
            for source in pair.hookup.ports:
                assert np.array_equal(pair.parameter(to, source), whole.parameter(to, source))


def test_points_that_were_swept_again_take_the_places_of_the_first_and_keep_their_settings() -> None:
    first = sweep(HOOKUPS[0])
    again = sweep(HOOKUPS[0], GRID_HZ[3:6], CAREFUL, seed=2)
    whole = evaluate([first, again], UNKNOWN).sweeps[HOOKUPS[0]]
    assert np.array_equal(whole.s[3:6], again.s)
    assert np.array_equal(whole.s[:3], first.s[:3])
    assert np.array_equal(whole.s[6:], first.s[6:])
    assert whole.settings_at(GRID_HZ[4]) == CAREFUL
    assert whole.settings_at(GRID_HZ[6]) == FAST
    assert whole.took_s == 1.0
    assert not first.again


def test_the_last_of_several_sweeps_of_a_stretch_counts() -> None:
    finest = SweepSettings(10.0, 1, 0.0)
    parts = [
        sweep(HOOKUPS[0]),
        sweep(HOOKUPS[0], GRID_HZ[3:8], CAREFUL),
        sweep(HOOKUPS[0], GRID_HZ[4:6], finest),
    ]
    whole = splice(parts)
    assert [whole.settings_at(freq_hz) for freq_hz in GRID_HZ[3:6]] == [CAREFUL, finest, finest]


def test_a_stretch_that_is_not_on_the_grid_is_refused() -> None:
    with pytest.raises(ValueError, match="not swept at before"):
        splice([sweep(HOOKUPS[0]), sweep(HOOKUPS[0], GRID_HZ[3:6] + 10.0, CAREFUL)])


@pytest.mark.parametrize("hookup", [*HOOKUPS, WHOLE, Hookup("RX")])
def test_a_hook_up_is_known_by_its_name(hookup: Hookup) -> None:
    assert hookup_named(hookup.name) == hookup


@pytest.mark.parametrize(
    ("hookup", "told"),
    [
        (Hookup("TX", "ANT"), "TX-ANT, load on RX"),
        (Hookup("ANT"), "ANT, loads on TX and RX"),
        (WHOLE, "TX-ANT-RX"),
    ],
)
def test_a_hook_up_says_where_loads_belong(hookup: Hookup, told: str) -> None:
    assert str(hookup) == told


def test_error_terms_are_taken_out_of_every_sweep_before_anything_is_put_together() -> None:
    """A through tracking of one half halves what is read; directivity adds."""
    full = np.ones((2, 2, 2), dtype=complex)
    grid_hz = GRID_HZ[[0, -1]]
    terms = ErrorTerms(grid_hz, 0.1 * np.eye(2) * full, 0 * full, 0.5 * full, 1e6)
    true, again = sweep(HOOKUPS[0]), sweep(HOOKUPS[0], GRID_HZ[3:6], CAREFUL, seed=2)
    seen = [replace(each, s=0.5 * each.s + 0.1 * np.eye(2)) for each in (true, again)]

    whole = evaluate(seen, BenchData(terms={HOOKUPS[0]: terms})).sweeps[HOOKUPS[0]]

    np.testing.assert_allclose(whole.s, splice([true, again]).s, rtol=0, atol=1e-12)
    assert whole.settings_at(GRID_HZ[4]) == CAREFUL


def test_a_point_between_two_stretches_of_one_careful_sweep_keeps_its_settings() -> None:
    again = sweep(HOOKUPS[0], GRID_HZ[[2, 3, 7]], CAREFUL, seed=2)
    whole = splice([sweep(HOOKUPS[0]), again])
    careful = [whole.settings_at(freq_hz) == CAREFUL for freq_hz in GRID_HZ]
    assert [place for place, is_careful in enumerate(careful) if is_careful] == [2, 3, 7]


def test_rounding_of_a_frequency_does_not_lose_the_settings_of_a_single_point() -> None:
    again = sweep(HOOKUPS[0], GRID_HZ[[4]] + 1e-6, CAREFUL, seed=2)
    whole = splice([sweep(HOOKUPS[0]), again])
    assert whole.settings_at(GRID_HZ[4] - 1e-5) == CAREFUL
