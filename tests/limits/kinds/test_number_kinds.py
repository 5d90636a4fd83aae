"""At most, at least and between: the kinds that judge one number."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limits.kinds.at_least import AtLeast
from limits.kinds.at_most import AtMost
from limits.kinds.between import Between, Ends
from limits.kinds.bound import Amount, Bound
from limits.quantity import Channels
from limits.reading import Claim, Curve, Reading
from limits.verdict import LimitLine

MakeBound = Callable[[str], Bound]
MakeReading = Callable[..., Reading]


@pytest.mark.parametrize(
    ("limit", "unit", "value", "margin"),
    [
        ("{at_most: 1.5 dB}", "dB", 1.25, 0.25),
        ("{at_most: 1.5 dB}", "dB", 1.5, 0.0),
        ("{at_most: 1.5 dB}", "dB", 2.0, -0.5),
        ("{at_least: 75 dB}", "dB", 80.0, 5.0),
        ("{at_least: 75 dB}", "dB", 75.0, 0.0),
        ("{at_least: 75 dB}", "dB", 74.0, -1.0),
        ("{at_least: 25 kHz}", "Hz", 30e3, 5e3),
        ("{at_most: rx - 20 kHz}", "Hz", 157.0e6, 30e3),
        ("{between: 20 dB to 30 dB}", "dB", 22.0, 2.0),
        ("{between: 20 dB to 30 dB}", "dB", 29.0, 1.0),
        ("{between: 20 dB to 30 dB}", "dB", 30.0, 0.0),
        ("{between: 20 dB to 30 dB}", "dB", 19.0, -1.0),
        ("{between: rx ± 10 kHz}", "Hz", 157.045e6, 5e3),
        ("{between: rx ± 10 kHz}", "Hz", 157.065e6, -5e3),
        ("{between: low to high}", "Hz", 156.5e6, 50e3),
    ],
)
def test_the_margin_is_the_distance_to_the_nearer_end_and_positive_inside(
    bound: MakeBound,
    reading: MakeReading,
    channels: Channels,
    limit: str,
    unit: str,
    value: float,
    margin: float,
) -> None:
    subject = reading(value, unit=unit)
    weighed = bound(limit).weigh(subject, channels)
    assert (weighed.reading, weighed.margin) == (subject, margin)


def test_values_are_compared_unrounded(bound: MakeBound, reading: MakeReading, channels: Channels) -> None:
    """One step of a double above the limit is outside; what dB arithmetic leaves over is not forgiven."""
    limit = bound("{at_most: 1.6 dB}")
    above = math.nextafter(1.6, 2)
    assert limit.weigh(reading(1.6), channels).margin == 0.0
    assert limit.weigh(reading(above), channels).margin == 1.6 - above < 0


@pytest.mark.parametrize(
    ("limit", "words"),
    [
        ("{at_most: 1.6 dB}", "at most 1.6 dB"),
        ("{at_most: 1.60dB}", "at most 1.60 dB"),
        ("{at_least: 25 kHz}", "at least 25 kHz"),
        ("{at_least: rx - 20 kHz}", "at least 157.03 MHz"),
        ("{between: rx ± 10 kHz}", "between 157.04 and 157.06 MHz"),
        ("{between: low to high}", "between 156.45 and 157.05 MHz"),
        ("{between: 900 kHz to 1.1 MHz}", "between 900 kHz and 1.1 MHz"),
        ("{between: 20 dB to 30 dB}", "between 20 and 30 dB"),
    ],
)
def test_a_limit_says_itself_in_words_with_the_units_own_frequencies(
    bound: MakeBound, channels: Channels, limit: str, words: str
) -> None:
    assert bound(limit).words(channels) == words


def test_a_value_that_is_missing_has_no_margin_and_keeps_its_reason(
    bound: MakeBound, reading: MakeReading, channels: Channels
) -> None:
    weighed = bound("{at_most: 1.6 dB}").weigh(reading(None, note="no pass band found"), channels)
    assert (weighed.margin, weighed.reading.note) == (None, "no pass band found")
    assert bound("{at_most: 1.6 dB}").weigh(reading(None), channels).reading.note == "no value"


@pytest.mark.parametrize(
    ("limit", "value", "margin"),
    [
        ("{at_least: 20 kHz}", 25e3, 5e3),
        ("{at_least: 20 kHz}", 20e3, 0.0),
        ("{at_least: 20 kHz}", 15e3, None),
        ("{at_most: 25 kHz}", 20e3, None),
        ("{at_most: 25 kHz}", 25e3, None),
        ("{at_most: 25 kHz}", 30e3, -5e3),
        ("{between: 10 kHz to 25 kHz}", 20e3, None),
        ("{between: 10 kHz to 25 kHz}", 5e3, None),
        ("{between: 10 kHz to 25 kHz}", 26e3, -1e3),
    ],
)
def test_a_lower_bound_decides_only_what_no_larger_value_could_change(
    bound: MakeBound,
    reading: MakeReading,
    channels: Channels,
    limit: str,
    value: float,
    margin: float | None,
) -> None:
    subject = reading(value, unit="Hz", claim=Claim.AT_LEAST, note="it runs beyond the span")
    weighed = bound(limit).weigh(subject, channels)
    assert weighed.margin == margin
    assert weighed.reading.value == value
    assert weighed.reading.claim is Claim.AT_LEAST
    assert "it runs beyond the span" in weighed.reading.note
    assert ("cannot be judged" in weighed.reading.note) is (margin is None)


def test_what_the_limit_is_not_made_for_has_no_margin(
    bound: MakeBound, reading: MakeReading, channels: Channels
) -> None:
    limit = bound("{at_most: 1.6 dB}")
    curve = Curve("x", "X", "dB", np.array([1.0, 2.0]), np.array([0.1, 0.2]), 1.0)
    for subject, note in (
        (reading(1.0, unit="Hz"), "the limit is in dB, this is in Hz"),
        (curve, "the limit is for one number, which this is not"),
    ):
        weighed = limit.weigh(subject, channels)
        assert (weighed.margin, weighed.reading.note) == (None, note)


def test_a_limit_in_db_is_drawn_over_what_the_reading_looks_at(
    bound: MakeBound, reading: MakeReading, channels: Channels
) -> None:
    seen = reading(1.0, trace="TX-ANT", span_hz=(156.4e6, 156.5e6))
    assert bound("{at_most: 1.6 dB}").lines(seen, channels) == (
        LimitLine((156.4e6, 156.5e6), (1.6, 1.6), "at most 1.6 dB"),
    )
    assert bound("{between: 1 dB to 2 dB}").lines(seen, channels) == (
        LimitLine((156.4e6, 156.5e6), (1.0, 1.0), "at least 1 dB"),
        LimitLine((156.4e6, 156.5e6), (2.0, 2.0), "at most 2 dB"),
    )
    single = reading(None, trace="TX-ANT", span_hz=(156.45e6, 156.45e6))
    assert bound("{at_most: 1.6 dB}").lines(single, channels) == (
        LimitLine((156.45e6, 156.45e6), (1.6, 1.6), "at most 1.6 dB"),
    )


def test_no_limit_is_drawn_without_a_trace_a_span_or_on_a_chart_of_another_unit(
    bound: MakeBound, reading: MakeReading, channels: Channels
) -> None:
    span = (156.4e6, 156.5e6)
    assert bound("{at_most: 1.6 dB}").lines(reading(1.0, span_hz=span), channels) == ()
    assert bound("{at_most: 1.6 dB}").lines(reading(1.0, trace="TX-ANT"), channels) == ()
    seen = reading(1e6, unit="Hz", trace="TX-ANT", span_hz=span)
    assert bound("{between: rx ± 10 kHz}").lines(seen, channels) == ()


@pytest.mark.parametrize(
    ("mine", "other", "looser"),
    [
        ("{at_most: 1.7 dB}", "{at_most: 1.6 dB}", True),
        ("{at_most: 1.6 dB}", "{at_most: 1.6 dB}", False),
        ("{at_most: 1.5 dB}", "{at_most: 1.6 dB}", False),
        ("{at_least: 74 dB}", "{at_least: 75 dB}", True),
        ("{at_least: 76 dB}", "{at_least: 75 dB}", False),
        ("{at_least: 1 dB}", "{at_most: 2 dB}", True),
        ("{between: 1 dB to 2 dB}", "{at_most: 2 dB}", False),
        ("{between: 1 dB to 3 dB}", "{at_most: 2 dB}", True),
        ("{at_most: 2 dB}", "{between: 1 dB to 2 dB}", True),
        ("{between: rx ± 20 kHz}", "{between: rx ± 10 kHz}", True),
        ("{between: rx ± 5 kHz}", "{between: rx ± 10 kHz}", False),
        ("{between: tx ± 20 kHz}", "{between: rx ± 10 kHz}", False),
        ("{at_most: 1 MHz}", "{at_most: 1 dB}", False),
    ],
)
def test_a_limit_knows_when_it_is_surely_looser(
    bound: MakeBound, mine: str, other: str, looser: bool
) -> None:
    assert bound(mine).looser_than(bound(other)) is looser


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("1.5", "with its unit, like '1.5 dB'"),
        ("1,5 dB", "write 1.5 dB"),
        ("1.5 db", "did you mean 'dB'"),
        ("5 mHz", "did you mean 'MHz'"),
        ("txx - 5 kHz", "did you mean 'tx'"),
        ("1e6", "has an exponent"),
        ("", "with its unit"),
    ],
)
def test_an_amount_that_could_be_misread_is_refused_with_a_hint(text: str, hint: str) -> None:
    with pytest.raises(ValueError) as refused:
        Amount.parse(text)
    assert hint in str(refused.value)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("20 dB", "two ends like"),
        ("30 dB to 20 dB", "does not rise"),
        ("20 dB to 20 dB", "does not rise"),
        ("20 dB to tx", "not both in dB"),
        ("20 dB ± 1 dB", "two ends like"),
        ("20 to 30", "no unit"),
    ],
)
def test_two_ends_that_make_no_sense_are_refused_with_a_hint(text: str, hint: str) -> None:
    with pytest.raises(ValueError) as refused:
        Ends.parse(text)
    assert hint in str(refused.value)


def test_ends_that_cross_for_one_pair_are_told_and_never_turned_round(
    bound: MakeBound, reading: MakeReading, channels: Channels
) -> None:
    limit = bound("{between: low + 400 kHz to high - 400 kHz}")
    told = "'low + 400 kHz to high - 400 kHz' does not rise for TX 156.45 MHz and RX 157.05 MHz"
    ((loc, what),) = limit.mistakes(channels)
    assert (loc, what.startswith(told)) == ((), True)
    with pytest.raises(ValueError, match="does not rise for"):
        limit.weigh(reading(156.75e6, unit="Hz"), channels)
    assert limit.mistakes(Channels(156e6, 157e6)) == ()
    assert bound("{between: 20 dB to 30 dB}").mistakes(channels) == ()
    assert bound("{at_most: 1 dB}").mistakes(channels) == ()


_db = st.decimals(-100, 100, places=2).map(lambda number: f"{number} dB")


@given(st.floats(-200, 200), _db, st.data())
def test_the_sign_of_the_margin_is_inside_or_outside(value: float, end: str, data: st.DataObject) -> None:
    """Whatever the numbers: positive or zero exactly when the comparison itself says inside."""
    channels = Channels(156.45e6, 157.05e6)
    other = data.draw(_db)
    limit, far = float(end.split()[0]), float(other.split()[0])
    inside = [
        (AtMost(Amount.parse(end)), value <= limit),
        (AtLeast(Amount.parse(end)), value >= limit),
    ]
    if limit < far:
        inside.append((Between(Ends.parse(f"{end} to {other}")), limit <= value <= far))
    for bound, expected in inside:
        margin = bound.weigh(Reading("x", "X", "dB", value), channels).margin
        assert margin is not None
        assert (margin >= 0) is expected
