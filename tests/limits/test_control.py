"""Control limits of individual values against published charts."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from limits.control import D2, SIGMAS, individuals, sigmas

PUBLISHED = yaml.safe_load(
    (Path(__file__).parent.parent / "reference" / "control" / "individuals.yaml").read_text()
)
VALUES = st.lists(st.floats(-100, 100), min_size=2, max_size=30)


@pytest.mark.parametrize("name", ["flow_rate", "viscosity"])
def test_the_limits_are_the_published_ones_to_their_printed_digits(name: str) -> None:
    chart: dict[str, Any] = PUBLISHED[name]
    limits = individuals(chart["values"])
    assert round(limits.centre, 3) == chart["centre"]
    assert round(limits.low, chart["decimals"]) == chart["low"]
    assert round(limits.high, chart["decimals"]) == chart["high"]


def test_the_constant_is_the_printed_one() -> None:
    assert round(SIGMAS / D2, 2) == PUBLISHED["constant"]["printed"]


def test_in_control_about_three_of_a_thousand_values_lie_outside() -> None:
    """The chart's own promise, 0.27 % for normal values, where the limits come from a long history."""
    drawn = np.random.default_rng(3).normal(size=40_000)
    limits = individuals(list(drawn[:20_000]))
    outside = np.mean([limits.room(value) < 0 for value in drawn[20_000:]])
    assert outside == pytest.approx(0.0027, abs=0.0012)


@given(VALUES, st.floats(0.01, 10))
def test_no_history_is_so_quiet_that_the_limits_are_narrower_than_the_least_width(
    values: list[float], least: float
) -> None:
    limits = individuals(values, least)
    half, own = ((each.high - each.low) / 2 for each in (limits, individuals(values)))
    assert half >= least * (1 - 1e-9)
    assert limits.widened == (half > own + 1e-12)


def test_a_value_on_a_limit_is_inside() -> None:
    limits = individuals([1.0, 1.0], least=0.5)
    assert (limits.room(1.5), limits.room(0.5)) == (0.0, 0.0)
    assert limits.room(1.6) < 0


@pytest.mark.parametrize("values", [[], [1.0]])
def test_what_has_no_moving_range_sets_no_limits(values: list[float]) -> None:
    with pytest.raises(ValueError, match="two values at least"):
        individuals(values)


def test_one_chart_has_three_sigma_and_many_together_alarm_no_more_often_than_one() -> None:
    assert sigmas(1) == pytest.approx(3.0)
    drawn = np.random.default_rng(5).normal(size=(200_000, 18))
    share = np.mean(np.abs(drawn).max(axis=1) > sigmas(18))
    assert share == pytest.approx(0.0027, abs=0.0004)
