"""The field types of forms, above all frequencies relative to the channels."""

from __future__ import annotations

import csv
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import TypeAdapter

from limits.quantity import (
    Channels,
    Dbm,
    Decibel,
    FileName,
    Flag,
    Frequency,
    Hertz,
    Number,
    Seconds,
    Span,
    Text,
    Whole,
)

PAIR = Channels(tx_hz=156.45e6, rx_hz=157.05e6)
TURNED = Channels(tx_hz=157.05e6, rx_hz=156.45e6)


@pytest.mark.parametrize(
    ("text", "pair", "turned"),
    [
        ("tx", 156.45e6, 157.05e6),
        ("rx", 157.05e6, 156.45e6),
        ("low", 156.45e6, 156.45e6),
        ("high", 157.05e6, 157.05e6),
        ("tx + 2.5 MHz", 158.95e6, 159.55e6),
        ("rx - 12.5 kHz", 157.0375e6, 156.4375e6),
        ("rx \u2212 12.5 kHz", 157.0375e6, 156.4375e6),
        ("high+1MHz", 158.05e6, 158.05e6),
        ("157.05 MHz", 157.05e6, 157.05e6),
    ],
)
def test_a_frequency_follows_the_units_own_channels(text: str, pair: float, turned: float) -> None:
    frequency = Frequency.parse(text)
    assert (frequency.at(PAIR), frequency.at(TURNED)) == (pair, turned)
    assert str(frequency) == text


@pytest.mark.parametrize(
    ("text", "lowest", "highest"),
    [
        ("tx ± 12.5 kHz", 156.4375e6, 156.4625e6),
        ("tx +- 12.5 kHz", 156.4375e6, 156.4625e6),
        ("tx +/- 12.5 kHz", 156.4375e6, 156.4625e6),
        ("tx±12.5kHz", 156.4375e6, 156.4625e6),
        ("rx - 1 MHz ± 100 kHz", 155.95e6, 156.15e6),
        ("low - 2.5 MHz to high + 2.5 MHz", 153.95e6, 159.55e6),
        ("low to high", 156.45e6, 157.05e6),
        ("tx - 1 MHz to high", 155.45e6, 157.05e6),
        ("150 MHz to 170 MHz", 150e6, 170e6),
    ],
)
def test_a_span_is_bound_from_lowest_to_highest(text: str, lowest: float, highest: float) -> None:
    span = Span.parse(text)
    assert span.at(PAIR) == (lowest, highest)
    assert str(span) == text


@pytest.mark.parametrize(
    "text", ["low + 600 kHz to high - 600 kHz", "157 MHz to tx", "low to tx", "rx to high"]
)
def test_a_span_whose_ends_cross_for_one_pair_is_refused_for_that_pair(text: str) -> None:
    """Its ends are never turned round: what is narrower than it was meant to be would pass more."""
    span, far = Span.parse(text), Channels(tx_hz=165e6, rx_hz=160e6)
    with pytest.raises(ValueError) as refused:
        span.at(PAIR)
    assert str(refused.value).startswith(f"'{text}' does not rise for TX 156.45 MHz and RX 157.05 MHz: ")
    assert span.at(far)[0] < span.at(far)[1]


def test_a_span_knows_its_width_where_it_is_the_same_for_every_pair() -> None:
    assert Span.parse("tx - 1 MHz to tx + 2 MHz").width_hz == 3e6
    assert Span.parse("rx ± 12.5 kHz").width_hz == 25e3
    assert Span.parse("low to high").width_hz is None


def test_published_duplex_pairs_are_reached_from_each_other(reference: Path) -> None:
    """All 35 maritime duplex pairs: coast is ship + 4.6 MHz to the last bit, and texts read exactly."""
    with (reference / "vhf_maritime_channels.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert len(rows) == 35
    for row in rows:
        ship, coast = (Frequency.parse(f"{row[key]} MHz") for key in ("ship_mhz", "coast_mhz"))
        channels = Channels(tx_hz=ship.at(PAIR), rx_hz=coast.at(PAIR))
        assert channels.tx_hz == round(float(row["ship_mhz"]) * 1000) * 1000
        assert Frequency.parse("tx + 4.6 MHz").at(channels) == channels.rx_hz
        assert Frequency.parse("rx - 4.6 MHz").at(channels) == channels.tx_hz


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("TX", "unknown channel 'TX' in 'TX'; did you mean 'tx'?"),
        ("rxx - 1 MHz", "did you mean 'rx'?"),
        ("uplink", "valid are tx, rx, low, high"),
        ("tx + 2.5", "'2.5' has no unit"),
        ("tx 2.5 MHz", "expected a frequency like 'tx'"),
        ("tx + -2.5 MHz", "expected a frequency like 'tx'"),
        ("tx - 5 mHz", "did you mean 'MHz'"),
        ("157,05 MHz", "write 157.05 MHz"),
        ("", "expected a frequency like 'tx'"),
    ],
)
def test_a_frequency_that_makes_no_sense_is_refused_with_a_hint(text: str, hint: str) -> None:
    with pytest.raises(ValueError) as refused:
        Frequency.parse(text)
    assert hint in str(refused.value)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("tx", "expected a span like"),
        ("tx ± 12,5 kHz", "write 12.5 kHz"),
        ("tx ± rx", "expected a span like"),
        ("tx ± 0 Hz", "above 0 Hz"),
        ("tx + 1 MHz to tx", "does not rise"),
        ("tx to tx", "does not rise"),
        ("tx to rx to high", "expected a span like"),
        (
            "tx - 1 MHz to rx + 1 MHz",
            "does not rise where RX lies below TX; write its ends with 'low' and 'high'",
        ),
        ("rx to tx", "does not rise where RX lies above TX; write its ends with 'low' and 'high'"),
        ("tx to rx", "does not rise where RX lies below TX; write its ends with 'low' and 'high'"),
        ("high to low", "does not rise; write the lower frequency first, like 'low to high'"),
        ("high - 5 MHz to low + 5 MHz", "does not rise; write the lower frequency first"),
        ("tx to", "expected"),
    ],
)
def test_a_span_that_makes_no_sense_is_refused_with_a_hint(text: str, hint: str) -> None:
    with pytest.raises(ValueError) as refused:
        Span.parse(text)
    assert hint in str(refused.value)


_quantity = st.builds(
    "{}{}{}".format,
    st.sampled_from(["12.5", "1", "0.25", "600"]),
    st.sampled_from([" ", ""]),
    st.sampled_from(["Hz", "kHz", "MHz", "GHz"]),
)
_frequency = st.one_of(
    st.sampled_from(["tx", "rx", "low", "high"]),
    st.builds("{} {} {}".format, st.sampled_from(["tx", "rx"]), st.sampled_from("+-\u2212"), _quantity),
    _quantity,
)
_span = st.one_of(
    st.builds("{} {} {}".format, _frequency, st.sampled_from(["±", "+-", "+/-"]), _quantity),
    st.builds("{} to {}".format, _frequency, _frequency),
)
_pair = st.builds(Channels, st.floats(100e6, 500e6), st.floats(100e6, 500e6))


@given(_frequency)
def test_a_printed_frequency_expression_reads_back_as_itself(text: str) -> None:
    frequency = Frequency.parse(text)
    assert Frequency.parse(str(frequency)) == frequency


@given(_span, _pair)
def test_a_span_never_runs_backwards(text: str, channels: Channels) -> None:
    try:
        span = Span.parse(text)
    except ValueError as refused:
        assert "does not rise" in str(refused)
        return
    assert Span.parse(str(span)) == span
    try:
        lowest, highest = span.at(channels)
    except ValueError as refused:
        assert "does not rise for" in str(refused)
    else:
        assert lowest < highest


@given(st.one_of(_frequency, _span, st.text("txrlowhig ±+-/.0123456789kMGHz", max_size=24)))
def test_the_editors_pattern_takes_what_the_parser_takes_and_no_more(text: str) -> None:
    """But for spaces at the ends, which YAML takes away; and a pattern cannot know which spans rise."""
    text = text.strip()
    for kind in (Frequency, Span):
        pattern = TypeAdapter(kind).json_schema()["pattern"]
        try:
            kind.parse(text)
        except ValueError as refused:
            if not re.search("does not rise|above 0 Hz", str(refused)):
                assert re.search(pattern, text) is None
        else:
            assert re.search(pattern, text)


@pytest.mark.parametrize(
    ("kind", "good", "value"),
    [
        (Hertz, "12.5 kHz", 12500.0),
        (Decibel, "1.5 dB", 1.5),
        (Dbm, "-10 dBm", -10.0),
        (Seconds, "5 ms", 0.005),
        (Whole, "4", 4),
        (Number, "0.66", 0.66),
        (Flag, "no", False),
        (Text, "no", "no"),
        (FileName, "SK-V4", "SK-V4"),
    ],
)
def test_each_type_fills_a_field_and_has_a_schema(kind: object, good: str, value: object) -> None:
    adapter = TypeAdapter(kind)
    assert adapter.validate_python(good, strict=True) == value
    schema = adapter.json_schema()
    assert re.search(schema["pattern"], good)
    assert schema["description"]
    assert "string" in schema["type"]


@pytest.mark.parametrize("name", ["../SK-V4", "a/b", "a\\b", ".SK-V4", "..", "x" * 101])
def test_a_text_that_names_a_file_cannot_lead_out_of_its_folder(name: str) -> None:
    adapter = TypeAdapter(FileName)
    with pytest.raises(ValueError, match="names a file"):
        adapter.validate_python(name, strict=True)
    assert re.search(adapter.json_schema()["pattern"], name) is None


def test_a_program_may_fill_a_field_with_the_value_itself() -> None:
    assert TypeAdapter(Hertz).validate_python(12500.0, strict=True) == 12500.0
    assert TypeAdapter(Span).validate_python(Span.parse("low to high")) == Span.parse("low to high")


@pytest.mark.parametrize("kind", [Hertz, Whole, Text, Frequency, Span])
def test_a_list_is_no_value(kind: object) -> None:
    with pytest.raises(ValueError, match="expected one value, got a list"):
        TypeAdapter(kind).validate_python(["1 Hz"], strict=True)
