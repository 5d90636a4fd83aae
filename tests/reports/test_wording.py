"""Numbers, units and dates as printed text."""

from __future__ import annotations

import csv
import math
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from limits.reading import Claim, Reading
from limits.verdict import Decision, Level, Outcome
from reports import wording

TABLE = Path(__file__).parents[1] / "reference" / "reports" / "vswr_return_loss.csv"


def reading(value: float | None, unit: str = "dB", u: float | None = None) -> Reading:
    return Reading("loss", "Loss", unit, value, u)


def at_most(value: float, limit: float, unit: str = "dB", u: float | None = None) -> Decision:
    margin = limit - value
    outcome = Outcome.PASS if margin >= 0 else Outcome.FAIL
    text = f"at most {limit:g} {unit}"
    return Decision(reading(value, unit, u), Level.SPECIFICATION, text, "simple acceptance", outcome, margin)


def plain(text: object) -> str:
    return str(text).replace(wording.THIN, " ").replace(wording.MINUS, "-")


@pytest.mark.parametrize(
    ("value", "unit", "expected"),
    [
        (1.314, "dB", "1.31 dB"),
        (9.994, "dB", "9.99 dB"),
        (10.04, "dB", "10.0 dB"),
        (81.46, "dB", "81.5 dB"),
        (2.675, "dB", "2.68 dB"),
        (-0.004, "dB", "0.00 dB"),
        (-0.31, "dB", "-0.31 dB"),
        (161.40312e6, "Hz", "161.4031 MHz"),
        (412.74e3, "Hz", "412.7 kHz"),
    ],
)
def test_a_reading_is_printed_with_the_decimals_of_its_quantity(
    value: float, unit: str, expected: str
) -> None:
    assert plain(wording.printed(reading(value, unit))) == expected


@pytest.mark.parametrize(
    ("value", "limit", "expected"),
    [
        (1.604, 1.6, "1.604 dB"),
        (1.596, 1.6, "1.596 dB"),
        (1.6, 1.6, "1.60 dB"),
        (1.61, 1.6, "1.61 dB"),
        (20.04, 20.0, "20.04 dB"),
        (1.6000004, 1.6, "1.6000004 dB"),
        (1.6000000000000003, 1.6, "1.6000000000000003 dB"),
        (1.5, 1.6, "1.50 dB"),
    ],
)
def test_a_reading_near_its_limit_gets_the_decimals_that_keep_it_on_its_side(
    value: float, limit: float, expected: str
) -> None:
    assert plain(wording.judged(at_most(value, limit))) == expected


@settings(deadline=None)
@given(value=st.floats(0.0, 120.0), steps=st.integers(0, 12000))
def test_what_is_printed_never_stands_on_the_other_side_of_the_limit(value: float, steps: int) -> None:
    """For any value against any limit written with two decimals."""
    limit = steps / 100
    shown = wording.judged(at_most(value, limit))
    assert shown is not None
    assert (float(shown.number) > limit) == (value > limit)


@settings(deadline=None)
@given(value=st.floats(0.0, 120.0), nudge=st.floats(-0.02, 0.02))
def test_printing_moves_a_value_by_half_a_last_place_at_most(value: float, nudge: float) -> None:
    shown = wording.judged(at_most(value, value + nudge))
    assert shown is not None
    places = len(shown.number.partition(".")[2])
    assert abs(float(shown.number) - value) <= 0.5 * 10**-places * (1 + 1e-9)


def test_one_reading_is_printed_in_one_way_beside_both_of_its_limits() -> None:
    specification, works = at_most(1.604, 1.6), at_most(1.604, 1.5)
    both = (specification, works)
    assert plain(wording.judged(works)) == "1.60 dB"
    assert plain(wording.judged(works, both)) == "1.604 dB"
    assert plain(wording.distance(works, both)) == "0.104 dB"


@pytest.mark.parametrize(
    ("value", "expected"), [(1.604, "0.004 dB beyond"), (1.39, "0.21 dB inside"), (1.6, "on the limit")]
)
def test_the_margin_says_how_far_and_on_which_side(value: float, expected: str) -> None:
    assert plain(wording.margin(at_most(value, 1.6))) == expected


def test_a_reading_without_a_value_is_printed_as_a_dash() -> None:
    lost = Decision(reading(None), Level.WORKS, "at most 1 dB", "simple acceptance", Outcome.UNDECIDED, None)
    assert wording.judged(lost) is None
    assert wording.distance(lost) is None
    assert wording.margin(lost) == wording.DASH


@pytest.mark.parametrize(
    ("value", "u", "shown", "shown_u"),
    [
        (27.38, 0.043, "27.38 dB", "0.05 dB"),
        (1.314, 0.12, "1.31 dB", "0.12 dB"),
        (1.314, 1e-9, "1.3140 dB", "0.0001 dB"),
    ],
)
def test_the_last_place_is_no_coarser_than_u_and_u_is_rounded_up(
    value: float, u: float, shown: str, shown_u: str
) -> None:
    assert plain(wording.printed(reading(value, u=u))) == shown
    assert plain(wording.uncertainty(reading(value, u=u))) == shown_u


@pytest.mark.parametrize(
    ("freq_hz", "expected"),
    [
        (156.8e6, "156.8000 MHz"),
        (156.8125e6, "156.8125 MHz"),
        (156.80625e6, "156.80625 MHz"),
        (1575.25e6, "1575.2500 MHz"),
    ],
)
def test_channels_are_written_in_mhz_to_a_tenth_of_a_khz(freq_hz: float, expected: str) -> None:
    assert plain(wording.frequency(freq_hz)) == expected


@pytest.mark.parametrize(
    ("width_hz", "expected"),
    [(10.0, "10 Hz"), (12.5e3, "12.5 kHz"), (4.6e6, "4.6 MHz"), (1e3, "1 kHz"), (300.0, "300 Hz")],
)
def test_widths_are_written_without_idle_zeros(width_hz: float, expected: str) -> None:
    assert plain(wording.width(width_hz)) == expected


def test_a_span_of_one_frequency_is_one_number() -> None:
    assert wording.span(156.8e6, 156.8e6) == "156.8000"
    assert wording.span(156.7875e6, 156.8125e6) == "156.7875–156.8125"


def test_power_and_temperature_carry_sign_and_unit() -> None:
    assert plain(wording.power(-10.0)) == "-10 dBm"
    assert plain(wording.power(2.5)) == "2.5 dBm"
    assert plain(wording.temperature(22.64)) == "22.6 °C"
    assert wording.temperature(None) == "not recorded"


def test_vswr_agrees_with_published_return_losses() -> None:
    """Half a step of six printed decimals against the recomputed column, a tenth of a dB against the printed one."""
    rows = list(csv.DictReader(line for line in TABLE.read_text().splitlines() if not line.startswith("#")))
    assert len(rows) == 30
    for row in rows:
        assert wording.vswr(float(row["return_loss_db"])) == pytest.approx(float(row["vswr"]), rel=1e-6)
        if row["pub_return_loss_db"]:
            ours = wording.vswr(float(row["pub_return_loss_db"]))
            back = -20 * math.log10((float(row["vswr"]) - 1) / (float(row["vswr"]) + 1))
            assert float(row["pub_return_loss_db"]) == pytest.approx(back, abs=0.12)
            assert ours == pytest.approx(float(row["vswr"]), abs=0.015)


@pytest.mark.parametrize("return_loss_db", [0.0, -1.0])
def test_no_vswr_is_told_for_a_return_loss_that_has_none(return_loss_db: float) -> None:
    with pytest.raises(ValueError, match="above 0 dB"):
        wording.vswr(return_loss_db)


def test_days_are_unambiguous_and_times_are_utc() -> None:
    west = timezone(timedelta(hours=-5))
    late = datetime(2026, 11, 24, 22, 5, tzinfo=west)
    assert wording.day(late) == "25 November 2026"
    assert wording.day(date(2026, 2, 1)) == "1 February 2026"
    assert wording.moment(late) == "25 November 2026, 03:05 UTC"


def test_a_period_says_its_day_once() -> None:
    begin = datetime(2026, 11, 25, 14, 5, 50, tzinfo=UTC)
    assert wording.period(begin, begin + timedelta(minutes=4)) == "25 November 2026, 14:05 to 14:09 UTC"
    assert wording.period(begin, begin + timedelta(seconds=5)) == "25 November 2026, 14:05 UTC"
    over_night = wording.period(begin, begin + timedelta(hours=11))
    assert over_night == "25 November 2026, 14:05 UTC to 26 November 2026, 01:05 UTC"


def test_a_time_without_a_zone_is_refused() -> None:
    with pytest.raises(ValueError, match="no time zone"):
        wording.moment(datetime(2026, 11, 25))


def test_digests_are_shortened_in_groups() -> None:
    assert wording.digest("3f9a02bc77d1e405" * 4) == "3f9a 02bc 77d1 e405"
    assert wording.digest("3f9a02bc", 0) == "3f9a 02bc"


def test_a_limit_keeps_its_number_and_unit_on_one_line() -> None:
    assert wording.limit("at least 20 dB over 300 kHz") == "at least 20\u202fdB over 300\u202fkHz"


def test_a_reading_that_is_only_a_lower_bound_says_so() -> None:
    reading = Reading("width", "Match bandwidth", "Hz", 800e3, claim=Claim.AT_LEAST)
    assert str(wording.printed(reading)) == "≥\u202f800.0\u202fkHz"


def test_a_bound_is_rounded_down_so_that_it_claims_no_more_than_was_found() -> None:
    bound = Reading("x", "Isolation", "dB", 104.19, claim=Claim.AT_LEAST)
    assert str(wording.printed(bound)) == "\u2265\u202f104.1\u202fdB"
    assert str(wording.printed(replace(bound, claim=Claim.VALUE))) == "104.2\u202fdB"


@pytest.mark.parametrize(
    ("u_hz", "shown"), [(3.5e3, "3.5 kHz"), (878.46e3, "878.5 kHz"), (16.979e6, "16.9790 MHz")]
)
def test_u_of_a_frequency_is_told_in_khz_while_it_is_below_a_megahertz(u_hz: float, shown: str) -> None:
    assert plain(wording.uncertainty(Reading("f", "F", "Hz", 157.38e6, u=u_hz))) == shown
