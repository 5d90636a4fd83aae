"""A window of temperatures is read as written, and refused where it could be misread."""

from __future__ import annotations

import re

import pytest

from limits.temperature import TemperatureSpan


@pytest.mark.parametrize(
    ("text", "low_c", "high_c"),
    [
        ("18 to 28 °C", 18.0, 28.0),
        ("18 °C to 28 °C", 18.0, 28.0),
        ("-5 to 5 C", -5.0, 5.0),
        ("23 ± 5 °C", 18.0, 28.0),
        ("23 °C ± 5 K", 18.0, 28.0),
        ("23 +/- 2.5 °C", 20.5, 25.5),
    ],
)
def test_a_window_of_temperatures_is_read_as_written(text: str, low_c: float, high_c: float) -> None:
    span = TemperatureSpan.parse(text)
    assert (span.low_c, span.high_c, str(span)) == (low_c, high_c, text)
    assert re.fullmatch(TemperatureSpan.pattern, text)


def test_its_ends_belong_to_it() -> None:
    span = TemperatureSpan.parse("18 to 28 °C")
    assert [span.holds(each) for each in (17.9, 18.0, 28.0, 28.1)] == [False, True, True, False]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("23 °C", "expected a span of temperatures like '18 to 28 °C' or '23 ± 5 °C', got '23 °C'"),
        ("28 to 18 °C", "'28 to 18 °C' does not rise; write the lower temperature first, like '18 to 28 °C'"),
        ("23 ± 0 °C", "'23 ± 0 °C' does not rise; write the lower temperature first, like '18 to 28 °C'"),
        ("18 to 28", "'18' has no unit; write a temperature like '23 °C'"),
        ("23 ± 5 K", "'23' has no unit; write a temperature like '23 °C'"),
        ("18 to 28 K", "'18' has no unit; write a temperature like '23 °C'"),
        ("18,5 to 28 °C", "a comma in the number '18,5 °C'; write 18.5 °C"),
    ],
)
def test_a_window_that_could_be_misread_is_refused(text: str, message: str) -> None:
    with pytest.raises(ValueError) as refused:
        TemperatureSpan.parse(text)
    assert str(refused.value) == message
