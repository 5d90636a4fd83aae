"""The slope of a history against a published straight line, and against drawn ones."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import yaml
from scipy.stats import t as student

from limits.drift import slope

THERMOMETER = yaml.safe_load(
    (Path(__file__).parent.parent / "reference" / "control" / "individuals.yaml").read_text()
)["thermometer"]


def test_slope_and_deviation_are_those_of_the_guide() -> None:
    """JCGM 100 Annex H.3, to the digits it prints; nine degrees of freedom."""
    found = slope(THERMOMETER["times"], THERMOMETER["values"])
    assert found is not None
    assert round(found.value, 5) == THERMOMETER["slope"]
    assert round(found.half / student.ppf(0.975, 9), 5) == THERMOMETER["deviation"]


def test_the_interval_holds_the_true_slope_in_95_of_100_histories() -> None:
    random = np.random.default_rng(8)
    times = np.arange(12.0)
    found = [slope(times, 0.3 * times + random.normal(size=12)) for _ in range(2000)]
    held = np.mean([abs(each.value - 0.3) <= each.half for each in found if each])
    # three standard deviations of a share of 2,000
    assert held == pytest.approx(0.95, abs=0.015)


def test_a_drift_beyond_the_scatter_is_seen_and_a_steady_history_is_not() -> None:
    noise = [0.01, -0.01, 0.005, -0.005, 0.01, -0.01, 0.0, 0.005]
    steady = slope(range(8), noise)
    moving = slope(range(8), [0.1 * step + error for step, error in enumerate(noise)])
    assert steady is not None and not steady.is_seen
    assert moving is not None and moving.is_seen


@pytest.mark.parametrize(("times", "values"), [([1, 2], [3, 4]), ([5, 5, 5], [1, 2, 3]), ([], [])])
def test_what_has_no_line_has_no_slope(times: list[float], values: list[float]) -> None:
    assert slope(times, values) is None
