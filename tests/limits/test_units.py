"""Numbers with units as people write them."""

from __future__ import annotations

import csv
import math
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limits.units import (
    celsius,
    day,
    dbm,
    decibel,
    degrees,
    farad,
    flag,
    henry,
    hertz,
    hertz_number,
    hertz_text,
    in_one_unit,
    kelvin,
    matings,
    number,
    ohm,
    plain,
    seconds,
    seconds_text,
    whole,
)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2.5 MHz", 2.5e6),
        ("12.5 kHz", 12.5e3),
        ("155.025 MHz", 155_025_000.0),
        ("3 GHz", 3e9),
        ("10 Hz", 10.0),
        ("12.5kHz", 12.5e3),
        ("12.5\u00a0kHz", 12.5e3),
        ("  12.5  kHz ", 12.5e3),
        ("+5 MHz", 5e6),
    ],
)
def test_a_frequency_is_read_as_written(text: str, expected: float) -> None:
    assert hertz(text) == expected


def test_other_quantities_are_read_as_written() -> None:
    assert [decibel("1.5 dB"), decibel("-0.2 dB"), decibel("\u22120.2 dB")] == [1.5, -0.2, -0.2]
    assert [dbm("0 dBm"), dbm("-10 dBm")] == [0.0, -10.0]
    assert [celsius("23 °C"), celsius("23 C"), celsius("-5.5 °C")] == [23.0, 23.0, -5.5]
    assert [seconds(text) for text in ("10 s", "5 ms", "50 µs", "50 us", "20 min", "8 h")] == [
        10.0, 0.005, 50e-6, 50e-6, 1200.0, 28800.0,
    ]  # fmt: skip


def test_a_number_of_matings_is_whole_and_above_none() -> None:
    assert matings("500 matings") == 500
    for text in ("0 matings", "2.5 matings", "-1 matings"):
        with pytest.raises(ValueError, match="whole and above 0, got"):
            matings(text)
    with pytest.raises(ValueError, match="'500' has no unit; write a number of matings like '500 matings'"):
        matings("500")


def test_a_time_is_said_to_the_second_and_never_too_short() -> None:
    said = {0.0: "0 s", 0.2: "1 s", 45.0: "45 s", 1145.0: "19 min 5 s", 1200.0: "20 min", 3600.0: "1 h"}
    said |= {3900.0: "1 h 5 min", 7199.0: "2 h", 86_400.0: "24 h"}
    assert {time_s: seconds_text(time_s) for time_s in said} == said


def test_prefixes_are_those_of_the_si(reference: Path) -> None:
    """Every prefix of the table that a unit of ours has means what the table says."""
    with (reference / "si_prefixes.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    powers = {row["prefix"]: int(row["power"]) for row in rows}
    for prefix in "kMG":
        assert hertz(f"1 {prefix}Hz") == float(f"1e{powers[prefix]}")
    for prefix in "mµ":
        assert seconds(f"1 {prefix}s") == float(f"1e{powers[prefix]}")


def test_a_prefix_never_moves_the_last_digit() -> None:
    """Multiplying would: 128.002 * 1e6 is not the double nearest to 128002000."""
    assert 128.002 * 1e6 != 128_002_000.0
    assert hertz("128.002 MHz") == 128_002_000.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("5 mHz", "'mHz' in '5 mHz' means millihertz; did you mean 'MHz'?"),
        ("157,05 MHz", "a comma in the number '157,05 MHz'; write 157.05 MHz"),
        ("1,500.5 MHz", "a comma in the number '1,500.5 MHz'; "
         "write no thousands separator, and a decimal point"),
        ("2.5", "'2.5' has no unit; write a frequency like '2.5 MHz'"),
        ("2.5 khz", "unknown unit 'khz' in '2.5 khz'; did you mean 'kHz'?"),
        ("2.5 MHZ", "unknown unit 'MHZ' in '2.5 MHZ'; did you mean 'MHz'?"),
        ("2.5 dB", "expected a frequency like '2.5 MHz' (in Hz, kHz, MHz, GHz), got '2.5 dB'"),
        ("1e6 Hz", "'1e6 Hz' has an exponent; write a frequency like '2.5 MHz'"),
        ("0 Hz", "expected a frequency above 0 Hz, got '0 Hz'"),
        ("-1 MHz", "expected a frequency above 0 Hz, got '-1 MHz'"),
        ("MHz", "expected a frequency like '2.5 MHz', got 'MHz'"),
        (".5 MHz", "expected a frequency like '2.5 MHz', got '.5 MHz'"),
        ("\u0663 MHz", "expected a frequency like '2.5 MHz', got '\u0663 MHz'"),
        ("nan MHz", "expected a frequency like '2.5 MHz', got 'nan MHz'"),
        ("", "expected a frequency like '2.5 MHz', got ''"),
    ],
)  # fmt: skip
def test_a_frequency_that_could_be_misread_is_refused_with_a_hint(text: str, message: str) -> None:
    with pytest.raises(ValueError) as refused:
        hertz(text)
    assert str(refused.value) == message


def test_a_number_too_large_to_be_finite_is_refused() -> None:
    with pytest.raises(ValueError, match="too large"):
        hertz("9" * 400 + " Hz")
    with pytest.raises(ValueError, match="not negative"):
        seconds("9" * 400 + " h")


@pytest.mark.parametrize(
    ("convert", "text", "hint"),
    [
        (decibel, "1.5 db", "did you mean 'dB'"),
        (decibel, "1,5 dB", "write 1.5 dB"),
        (decibel, "0 dBm", "did you mean 'dB'"),
        (dbm, "0 dB", "did you mean 'dBm'"),
        (celsius, "23", "no unit"),
        (celsius, "296 K", "°C"),
        (seconds, "-1 s", "not negative"),
        (seconds, "12:30:00", "expected a time like '10 s'"),
        (whole, "010", "starts with a zero; write 10"),
        (whole, "1e6", "in digits"),
        (whole, "4.0", "in digits"),
        (whole, "1_000", "in digits"),
        (whole, "9" * 5000, "in digits"),
        (number, "0,66", "write 0.66"),
        (number, "nan", "in digits"),
        (flag, "on", "yes or no"),
        (flag, "No", "did you mean 'no'"),
        (day, "31.3.2025", "year-month-day"),
        (day, "2025-02-30", "not a day of the calendar"),
        (plain, " ", "got nothing"),
        (plain, "a\nb", "one line"),
    ],
)
def test_other_values_that_could_be_misread_are_refused_with_a_hint(convert, text, hint) -> None:
    with pytest.raises(ValueError) as refused:
        convert(text)
    assert hint in str(refused.value)


def test_two_ends_say_their_unit_once_where_it_is_the_same() -> None:
    assert in_one_unit("157.04 MHz", "157.06 MHz") == ("157.04", "157.06 MHz")
    assert in_one_unit("900 kHz", "1.1 MHz") == ("900 kHz", "1.1 MHz")


def test_plain_values_are_read_as_written() -> None:
    assert [whole("4"), whole("0"), whole("-3")] == [4, 0, -3]
    assert [number("0.66"), number("-2")] == [0.66, -2.0]
    assert [flag(word) for word in ("yes", "no", "true", "false")] == [True, False, True, False]
    assert day("2024-02-29").isoformat() == "2024-02-29"
    assert plain(" SK-V4 ") == "SK-V4"


@pytest.mark.parametrize(
    ("freq_hz", "text"),
    [(155.025e6, "155.025 MHz"), (12.5e3, "12.5 kHz"), (10.0, "10 Hz"), (1.57525e9, "1575.25 MHz")],
)
def test_a_frequency_is_printed_in_the_unit_of_the_trade(freq_hz: float, text: str) -> None:
    assert hertz_text(freq_hz) == text


@given(st.floats(min_value=1e-6, max_value=1e12, allow_subnormal=False))
def test_a_printed_frequency_reads_back_as_itself(freq_hz: float) -> None:
    assert hertz(hertz_text(freq_hz)) == freq_hz


@given(st.floats(min_value=1e-6, max_value=1e12), st.sampled_from(["Hz", "kHz", "MHz", "GHz"]))
def test_a_number_in_any_unit_reads_back_as_itself(freq_hz: float, unit: str) -> None:
    assert hertz(f"{hertz_number(freq_hz, unit)} {unit}") == freq_hz


@given(st.text(max_size=20))
def test_any_text_is_a_finite_number_or_one_clear_refusal(text: str) -> None:
    for convert in (hertz, decibel, dbm, celsius, seconds, number, whole):
        try:
            value = convert(text)
        except ValueError as refused:
            assert str(refused) and "\n" not in str(refused).replace(text, "")
        else:
            assert math.isfinite(value)


def test_quantities_of_calibration_standards_are_read() -> None:
    assert [kelvin("2 K"), degrees("10 deg"), ohm("49.7 ohm")] == [2.0, 10.0, 49.7]
    assert [farad("68 fF"), farad("-0.2 pF"), henry("8 pH"), henry("1.5 nH")] == [
        6.8e-14,
        -0.2e-12,
        8e-12,
        1.5e-9,
    ]
    assert [seconds("23.5 ps"), seconds("3 ns"), seconds("30 d")] == [23.5e-12, 3e-9, 2_592_000.0]


@pytest.mark.parametrize(
    ("convert", "text", "expected"),
    [
        (kelvin, "2 °C", "a difference of temperatures like '2 K'"),
        (farad, "68 F", "unknown unit 'F'"),
        (henry, "8 ph", "did you mean 'pH'"),
        (ohm, "50", "has no unit"),
    ],
)
def test_a_wrong_unit_of_a_standard_is_told(
    convert: Callable[[str], float], text: str, expected: str
) -> None:
    with pytest.raises(ValueError, match=expected):
        convert(text)
