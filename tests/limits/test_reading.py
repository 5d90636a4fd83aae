"""What a measurement hands to the judge."""

from __future__ import annotations

import numpy as np
import pytest

from limits.reading import Curve, Reading


@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_a_reading_is_a_finite_number_or_none(value: float) -> None:
    with pytest.raises(ValueError, match="a finite number or None"):
        Reading("x", "X", "dB", value)
    assert Reading("x", "X", "dB", None, note="why").value is None


@pytest.mark.parametrize("u", [float("nan"), float("inf"), -0.1])
def test_an_uncertainty_is_a_finite_number_that_is_not_negative(u: float) -> None:
    """A negative one would widen the zone that passes."""
    with pytest.raises(ValueError, match="U is a finite number that is not negative"):
        Reading("x", "X", "dB", 1.0, u)
    assert Reading("x", "X", "dB", 1.0, 0.0).u == 0.0


def test_a_curve_has_one_value_for_each_frequency() -> None:
    with pytest.raises(ValueError, match="one for each"):
        Curve("x", "X", "dB", np.array([1.0, 2.0]), np.array([1.0]), 1.0)


def test_a_point_of_a_curve_is_a_reading() -> None:
    curve = Curve("x", "X", "dB", np.array([1.0, 2.0, 3.0]), np.array([4.0, 5.0, 6.0]), 1.0, "TX-RX")
    assert curve.at(1) == Reading("x", "X", "dB", 5.0, at_hz=2.0, span_hz=(1.0, 3.0), trace="TX-RX")
