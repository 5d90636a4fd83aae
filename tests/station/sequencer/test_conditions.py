"""The conditions of a recipe: how they are written, and what is said of a unit that does not meet them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import pytest

from limits.errors import BadInput
from limits.yamlfile import Form, parse
from station.sequencer.conditions import (
    Climate,
    ConditionsForm,
    believed_celsius,
    time_of,
    unsteady,
)
from station.sequencer.settling import out_of_window, unsettled

NOW = datetime(2025, 3, 31, 12, 0, tzinfo=UTC)
TEXT = "settle: 20 min\ntemperature: 18 to 28 °C\nmost_change: 2 K\n"


def form(text: str = TEXT) -> ConditionsForm:
    return parse(text, ConditionsForm, "recipe.yaml").value


def test_conditions_are_read_with_their_units() -> None:
    asked = form()
    assert (asked.settle, str(asked.temperature), asked.most_change) == (1200.0, "18 to 28 °C", 2.0)
    assert asked.need_temperature
    assert not form("settle: 20 min\n").need_temperature


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("settle: 20\n", "'20' has no unit; write a time like '10 s'"),
        ("settle: 2 d\n", "a unit settles within 24 h; write a shorter 'settle'"),
        ("settle: 0 s\n", "expected more than 0"),
        ("temperature: 23\n", "expected a span of temperatures"),
        ("most_change: 2 °C\n", "a difference of temperatures like '2 K'"),
        ("most_change: 0 K\n", "expected more than 0"),
        ("setle: 20 min\n", "unknown key 'setle'; did you mean 'settle'?"),
    ],
)
def test_a_mistake_in_the_conditions_is_told_with_its_way_out(text: str, said: str) -> None:
    with pytest.raises(BadInput) as refused:
        form(text)
    assert said in str(refused.value)


def test_conditions_without_a_word_are_refused() -> None:
    class Around(Form):
        conditions: ConditionsForm

    with pytest.raises(BadInput, match=r"recipe\.yaml:1:") as refused:
        parse("conditions: {}\n", Around, "recipe.yaml")
    assert "expected 'settle', 'temperature' or 'most_change', got nothing" in str(refused.value)


def test_a_unit_that_came_too_late_is_told_how_long_is_left() -> None:
    climate = Climate("SKV-0101", form(), settled_since=NOW - timedelta(minutes=5, seconds=30))
    assert climate.left_s(NOW) == 870.0
    (reason,) = unsettled(climate, NOW)
    assert str(reason) == (
        "SKV-0101 has been at the bench for 5 min 30 s of the 20 min that its recipe asks for; "
        "wait 14 min 30 s more and test again"
    )
    assert list(unsettled(climate, NOW + timedelta(seconds=870))) == []


@pytest.mark.parametrize(("temperature_c", "deed"), [(17.9, "warm up"), (28.1, "cool down")])
def test_a_unit_out_of_the_window_is_told_which_way_it_must_go(temperature_c: float, deed: str) -> None:
    (reason,) = out_of_window(Climate("SKV-0101", form(), temperature_c))
    assert str(reason) == (
        f"SKV-0101 is at {temperature_c:.1f} °C, and its recipe asks for 18 to 28 °C; "
        f"let it {deed} at the bench and test again"
    )


def test_a_unit_in_the_window_and_a_recipe_without_one_are_in_order() -> None:
    assert list(out_of_window(Climate("SKV-0101", form(), 28.0))) == []
    assert list(out_of_window(Climate("SKV-0101", form("settle: 1 s\n"), 40.0))) == []


def test_a_unit_that_left_the_window_during_the_run_says_nothing() -> None:
    assert unsteady(Climate("SKV-0101", form(), 27.0), 28.4) == (
        "SKV-0101 was at 27.0 °C when the run began and at 28.4 °C when it ended, and its recipe asks for "
        "18 to 28 °C; let it settle at the bench and test again"
    )


@pytest.mark.parametrize("end_c", [20.9, 25.1])
def test_a_unit_that_changed_too_much_during_the_run_says_nothing(end_c: float) -> None:
    assert unsteady(Climate("SKV-0101", form(), 23.0), end_c) == (
        f"SKV-0101 was at 23.0 °C when the run began and at {end_c} °C when it ended, more than the 2 K apart that "
        "its recipe allows; let it settle at the bench and test again"
    )


def test_a_unit_that_stayed_within_the_allowed_change_is_believed() -> None:
    assert unsteady(Climate("SKV-0101", form(), 23.0), 25.0) == ""


def test_a_time_of_day_is_todays_in_local_time() -> None:
    local = NOW.astimezone(timezone(timedelta(hours=2)))
    assert time_of("10:20", local) == datetime(2025, 3, 31, 8, 20, tzinfo=UTC)


def test_a_time_with_its_day_may_be_of_another_day() -> None:
    assert time_of("2025-03-30 22:50", NOW.astimezone()) == datetime(2025, 3, 30, 22, 50).astimezone()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("14:30", "'14:30' is still to come; of yesterday it is 2025-03-30 14:30"),
        ("25:00", "'25:00' is no time of the clock and the calendar"),
        ("2025-02-30 10:00", "'2025-02-30 10:00' is no time of the clock and the calendar"),
        ("half past ten", "expected a time like 10:20 or 2026-11-24 22:50, got 'half past ten'"),
    ],
)
def test_a_time_that_cannot_be_is_refused(text: str, said: str) -> None:
    with pytest.raises(ValueError) as refused:
        time_of(text, NOW)
    assert str(refused.value) == said


def test_a_typed_temperature_is_one_of_a_unit_at_a_bench() -> None:
    assert believed_celsius("23.4 °C") == 23.4
    with pytest.raises(ValueError, match="a unit at a bench has -20 to 60 °C, got '234 °C'"):
        believed_celsius("234 °C")
