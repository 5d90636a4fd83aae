"""Numbers, suffixes and response data against the published tables."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token, parse_message
from fixtures_sim.scpi.values import (
    INFINITY,
    MULTIPLIERS,
    NOT_A_NUMBER,
    ascii_list,
    boolean,
    choice,
    decimal,
    integer,
    nr3,
    number,
    quoted,
    suffix_factor,
)
from fixtures_sim.sweeper import encode


def token(text: str) -> Token:
    (unit,) = parse_message(b"X " + text.encode())
    assert unit.error is None
    return unit.tokens[0]


def error_of(call: Callable[[], object]) -> int:
    with pytest.raises(ScpiError) as caught:
        call()
    return caught.value.number


def test_every_published_suffix_has_its_factor(scpi_table: Callable[[str], list[dict[str, str]]]) -> None:
    rows = scpi_table("units.csv")
    assert len(rows) == 46
    for row in rows:
        assert suffix_factor(row["suffix"], row["unit"]) == float(row["multiplier"]), row


def test_every_published_multiplier_stands_before_a_unit(scpi_rules: Any) -> None:
    published = scpi_rules["suffix_multipliers"]
    assert {name: factor for name, factor in MULTIPLIERS.items() if name} == published
    for name, factor in published.items():
        if name != "M":
            assert suffix_factor(name + "HZ", "hertz") == factor


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("1MHZ", "hertz", 1e6),
        ("1MAHZ", "hertz", 1e6),
        ("1MOHM", "ohm", 1e6),
        ("1MS", "second", 1e-3),
        ("1MV", "volt", 1e-3),
        ("1MA", "ampere", 1e-3),
        ("157.05 mhz", "hertz", 157.05e6),
        ("0.3GHz", "hertz", 0.3e9),
        ("1.1e3 KHZ", "hertz", 1.1e6),
        ("-10DBM", "dbm", -10.0),
        ("#H20", "hertz", 32.0),
        ("INF", "hertz", INFINITY),
    ],
)
def test_m_is_mega_before_hertz_and_ohm_only(text: str, unit: str, value: float) -> None:
    assert decimal(token(text), unit) == value


@given(st.decimals(min_value=0, max_value=10_000, places=6))
def test_a_suffix_does_not_cost_the_last_bit(value: object) -> None:
    """157.05 MHZ is the double nearest to 157 050 000, not a product."""
    assert decimal(token(f"{value:f} MHZ"), "hertz") == float(f"{value:f}e6")


@pytest.mark.parametrize(
    ("text", "unit", "number_"),
    [
        ("1S", "hertz", -131),
        ("1XHZ", "hertz", -131),
        ("1MHZ", None, -138),
        ("ON", "hertz", -148),
        ("'1'", "hertz", -158),
        ("#11a", "hertz", -168),
        ("(1)", "hertz", -178),
        ("1e999", "hertz", -123),
        ("#B12", "hertz", -121),
    ],
)
def test_wrong_numbers_have_the_standard_number(text: str, unit: str | None, number_: int) -> None:
    assert error_of(lambda: decimal(token(text), unit)) == number_


def test_limits_and_defaults() -> None:
    assert number(token("MIN"), 1.0, 9.0, 5.0) == 1.0
    assert number(token("maximum"), 1.0, 9.0, 5.0) == 9.0
    assert number(token("DEF"), 1.0, 9.0, 5.0) == 5.0
    assert error_of(lambda: number(token("10"), 1.0, 9.0, 5.0)) == -222
    assert integer(token("2.6"), 0, 3) == 3
    assert error_of(lambda: integer(token("256"), 0, 255)) == -222


def test_booleans_and_choices() -> None:
    assert [boolean(token(text)) for text in ("ON", "off", "1", "0", "0.4", "-7")] == [
        True,
        False,
        True,
        False,
        False,
        True,
    ]
    assert error_of(lambda: boolean(token("YES"))) == -141
    assert choice(token("swapped"), ("NORMal", "SWAPped")) == "SWAP"
    assert error_of(lambda: choice(token("SWAPP"), ("NORMal", "SWAPped"))) == -141
    assert error_of(lambda: choice(token("1"), ("NORMal", "SWAPped"))) == -128


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_read_back_as_the_same_double(value: float) -> None:
    assert float(nr3(value)) == value
    assert "E" in nr3(value)
    assert float(ascii_list(np.array([value]))) == value


def test_special_numbers_are_those_published(scpi_rules: Any) -> None:
    published = scpi_rules["special_numbers"]
    assert published["NAN"] == NOT_A_NUMBER
    assert published["INFinity"] == INFINITY
    sent = [float(text) for text in ascii_list(np.array([np.nan, np.inf, -np.inf])).split(b",")]
    assert sent == [published["NAN"], published["INFinity"], published["NINF"]]


def test_published_blocks_of_floats(scpi_rules: Any) -> None:
    example = scpi_rules["definite_length_block"]["real_64_little_endian_example"]
    assert encode(np.array(example["values"]), "REAL,64", "SWAP").hex() == example["hex"]
    for case in scpi_rules["float_blocks"]:
        border = "NORM" if case["order"].startswith("NORM") else "SWAP"
        assert encode(np.array(case["values"]), case["precision"], border).hex() == case["hex"]


def test_quotes_inside_a_string_are_doubled() -> None:
    assert quoted('say "so"') == '"say ""so"""'
