"""Program messages: where they end, what their units are, how their parameters read."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures_sim.scpi.message import Token, cut_message, parse_message


def headers(message: str) -> list[str]:
    return [unit.header for unit in parse_message(message.encode())]


def only_tokens(parameters: str) -> tuple[Token, ...]:
    (unit,) = parse_message(b"X " + parameters.encode("latin-1"))
    assert unit.error is None
    return unit.tokens


def test_a_unit_after_a_semicolon_stays_at_the_same_level(scpi_rules: Any) -> None:
    example = scpi_rules["header_rules"]["example"].split(" is ")
    assert headers(example[0])[1] == example[1]


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        ("SENS:FREQ:STAR 1;STOP 2", ["SENS:FREQ:STAR", "SENS:FREQ:STOP"]),
        ("SENS:FREQ:STAR 1;:STOP 2", ["SENS:FREQ:STAR", ":STOP"]),
        ("SENS:FREQ:STAR 1;*OPC;STOP 2", ["SENS:FREQ:STAR", "*OPC", "SENS:FREQ:STOP"]),
        ("SENS:FREQ:STAR 1;:INIT;*OPC?", ["SENS:FREQ:STAR", ":INIT", "*OPC?"]),
        ("INIT;CONT ON", ["INIT", "CONT"]),
        ("INIT:IMM;CONT ON", ["INIT:IMM", "INIT:CONT"]),
        (";;  *IDN? ; ; *RST", ["*IDN?", "*RST"]),
        ("FUNC 'a;b';COUN?", ["FUNC", "COUN?"]),
        ("", []),
        ("   ", []),
    ],
)
def test_path_memory(message: str, expected: list[str]) -> None:
    assert headers(message) == expected


@pytest.mark.parametrize(
    ("text", "token"),
    [
        ("1", Token("number", "1")),
        ("-1.5E+3", Token("number", "-1.5E+3")),
        (".5", Token("number", ".5")),
        ("2.", Token("number", "2.")),
        ("1 e 3", Token("number", "1e3")),
        ("150 MHz", Token("number", "150", "MHZ")),
        ("1e6HZ", Token("number", "1e6", "HZ")),
        ("#HfF", Token("nondecimal", "#HFF")),
        ("#Q17", Token("nondecimal", "#Q17")),
        ("#B101", Token("nondecimal", "#B101")),
        ("MAXimum", Token("character", "MAXimum")),
        ('"say ""so"""', Token("string", 'say "so"')),
        ("'it''s'", Token("string", "it's")),
        ("''", Token("string", "")),
        ("(@1:3)", Token("expression", "(@1:3)")),
    ],
)
def test_kinds_of_parameter(text: str, token: Token) -> None:
    assert only_tokens(text) == (token,)


def test_several_parameters_with_blanks_between() -> None:
    assert [t.text for t in only_tokens(" 'XFR:POW:S11' , 2 MHZ ,ON ")] == ["XFR:POW:S11", "2", "ON"]


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("X 1,,2", -102),
        ("X 1,", -102),
        ("X ,1", -102),
        ("X 1 2", -103),
        ("X 'open", -151),
        ('X "open', -151),
        ("X (open", -171),
        ("X 1.2.3,4", -121),
        ("X +", -121),
        ("X %", -101),
        ("X=1", -111),
        ("?", -102),
        ("\xa7", -101),
    ],
)
def test_what_cannot_be_read_has_the_standard_number(message: str, number: int) -> None:
    (unit,) = parse_message(message.encode("latin-1"))
    assert unit.error is not None
    assert unit.error.number == number


def test_units_after_an_unreadable_one_are_still_there() -> None:
    units = parse_message(b"SENS:FREQ:STAR 'x;1;STOP 2MHZ")
    assert units[0].error is not None
    assert [unit.header for unit in parse_message(b"SENS:FREQ:STAR 1,;STOP 2MHZ")] == [
        "SENS:FREQ:STAR",
        "SENS:FREQ:STOP",
    ]


def test_published_blocks_are_read_or_refused(scpi_rules: Any) -> None:
    cases = scpi_rules["definite_length_block"]["cases"]
    assert len(cases) == 9
    for case in cases:
        cut = cut_message(f"X {case['raw']}".encode("latin-1"), ended=True)
        assert cut is not None
        (unit,) = parse_message(cut[0])
        if case["valid"]:
            assert unit.error is None, case
            assert unit.tokens == (Token("block", case["payload"]),), case
        else:
            assert unit.error is not None, case
            assert unit.error.number == -161, case


@pytest.mark.parametrize(
    ("buffer", "cut"),
    [
        (b"*IDN?\n", (b"*IDN?", b"")),
        (b"*IDN?\r\n*RST\n", (b"*IDN?", b"*RST\n")),
        (b"*IDN?", None),
        (b"X #15a\nb\nc\nY\n", (b"X #15a\nb\nc", b"Y\n")),
        (b"X #15a\n", None),
        (b"X 'a#15'\nY\n", (b"X 'a#15'", b"Y\n")),
        (b"X 'open\nY 'z'\n", (b"X 'open", b"Y 'z'\n")),
        (b"X #HFF\nY\n", (b"X #HFF", b"Y\n")),
        (b"\n\n", (b"", b"\n")),
    ],
)
def test_a_message_ends_with_a_line_feed_that_is_not_in_a_block(
    buffer: bytes, cut: tuple[bytes, bytes] | None
) -> None:
    assert cut_message(buffer) == cut


def test_end_ends_a_message_without_line_feed() -> None:
    assert cut_message(b"*IDN?", ended=True) == (b"*IDN?", b"")
    assert cut_message(b"", ended=True) is None


@given(st.binary(max_size=60))
def test_any_bytes_can_be_parsed(message: bytes) -> None:
    """Nothing a client sends makes the parser fail; each unit is readable or has an error."""
    for unit in parse_message(message):
        assert unit.header or unit.error is not None


@given(
    st.lists(st.binary(max_size=12).filter(lambda part: b"\n" not in part and b"#" not in part), max_size=5)
)
def test_messages_come_out_as_they_went_in(parts: list[bytes]) -> None:
    buffer = b"".join(part + b"\n" for part in parts)
    out = []
    while cut := cut_message(buffer):
        out.append(cut[0])
        buffer = cut[1]
    assert out == [part.rstrip(b"\r") for part in parts]
    assert buffer == b""
