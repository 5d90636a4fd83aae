"""What is kept of a sweep when it is drawn."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from reports.sampling import decimated, thinned, ticks

F = np.linspace(150e6, 160e6, 1601)


def test_decimation_keeps_every_peak_of_every_column() -> None:
    rng = np.random.default_rng(3)
    y = rng.standard_normal(len(F))
    y[800] = 40.0
    x, kept = decimated(F, y, 100)
    assert len(x) <= 202
    assert (kept.min(), kept.max()) == (y.min(), y.max())
    assert (x[0], x[-1]) == (F[0], F[-1])
    assert np.all(np.diff(x) > 0)


def test_a_short_sweep_is_drawn_point_by_point() -> None:
    x, y = decimated(F[:150], F[:150], 100)
    assert len(x) == 150
    assert np.array_equal(y, F[:150])


@settings(deadline=None, max_examples=50)
@given(amplitude=st.floats(0.0, 100.0), waves=st.floats(0.1, 200.0))
def test_thinning_moves_no_point_farther_than_four_tolerances(amplitude: float, waves: float) -> None:
    x = np.linspace(0.0, 230.0, 700)
    y = amplitude * np.sin(x / 230.0 * waves)
    kept_x, kept_y = thinned(x, y, 0.02)
    assert np.abs(np.interp(x, kept_x, kept_y) - y).max() <= 0.08 + 1e-9


def test_thinning_a_smooth_sweep_drops_most_points() -> None:
    x = np.linspace(0.0, 230.0, 700)
    assert len(thinned(x, 50 + 40 * np.sin(x / 60.0))[0]) < 120


@pytest.mark.parametrize(
    ("low", "high", "most", "expected", "decimals"),
    [
        (0.0, 90.0, 6, [0, 20, 40, 60, 80], 0),
        (0.0, 3.0, 7, [0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0], 1),
        (156.79, 156.81, 4, [156.79, 156.795, 156.8, 156.805, 156.81], 3),
    ],
)
def test_ticks_are_round_numbers_inside_the_window(
    low: float, high: float, most: int, expected: list[float], decimals: int
) -> None:
    marks, places = ticks(low, high, most)
    assert marks == pytest.approx(expected)
    assert places == decimals
