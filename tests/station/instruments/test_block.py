"""Blocks and numbers against the cases of IEEE 488.2 and SCPI-1999 in tests/reference/scpi/blocks.yaml."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from station.instruments.block import (
    NumberFormat,
    binary_numbers,
    block_head,
    block_payload,
    join_messages,
    shown,
    split_answers,
    text_numbers,
)

REFERENCE = yaml.safe_load(
    (Path(__file__).parents[2] / "reference" / "scpi" / "blocks.yaml").read_text(encoding="utf-8")
)
GOOD = [case for case in REFERENCE["blocks"] if "payload" in case]
BAD = [case for case in REFERENCE["blocks"] if "wrong" in case]


@pytest.mark.parametrize("case", GOOD, ids=lambda case: case["raw"])
def test_a_block_gives_its_payload(case):
    assert block_payload(case["raw"].encode()) == case["payload"].encode()


@pytest.mark.parametrize("case", BAD, ids=lambda case: case["raw"])
def test_what_is_no_block_is_refused_with_the_reason(case):
    with pytest.raises(ValueError, match=case["wrong"]):
        block_payload(case["raw"].encode())


@pytest.mark.parametrize(
    "case", REFERENCE["float_blocks"], ids=lambda case: f"{case['form']} {case['order']}"
)
def test_a_block_of_floats_gives_its_numbers(case):
    payload = block_payload(bytes.fromhex(case["hex"]))
    values = binary_numbers(payload, NumberFormat(case["form"], case["order"]))
    assert values.tolist() == case["values"]
    assert values.dtype == np.float64


@pytest.mark.parametrize("name", REFERENCE["special_numbers"])
@pytest.mark.parametrize("form", ["REAL,64", "REAL,32", "ASCII"])
def test_scpis_stand_ins_for_what_is_no_number_are_refused(name, form):
    value = REFERENCE["special_numbers"][name]
    with pytest.raises(ValueError, match="value 2 of 3"):
        if form == "ASCII":
            text_numbers(f"1.0,{value:E},2.0")
        else:
            dtype = ">f8" if form == "REAL,64" else ">f4"
            binary_numbers(np.array([1.0, value, 2.0], dtype).tobytes(), NumberFormat(form))


@given(st.binary(max_size=300))
def test_any_bytes_survive_a_block(data):
    length = str(len(data)).encode()
    raw = b"#" + str(len(length)).encode() + length + data
    assert block_payload(raw) == data
    assert block_payload(raw + b"\n") == data


@given(st.binary(max_size=20))
def test_any_start_of_a_block_is_a_head_or_more_is_needed_or_it_is_refused(start):
    try:
        head = block_head(start)
    except ValueError:
        return
    assert head is None or start[:1] == b"#"


def test_half_a_number_at_the_end_is_refused():
    with pytest.raises(ValueError, match="15 bytes are not a whole number of REAL,64"):
        binary_numbers(b"\0" * 15, NumberFormat("REAL,64"))


def test_answers_are_told_apart_where_quoted_text_holds_the_separator():
    text = '1; 2.5 ;-222,"Data out of range; FREQ ""x;y""";\'a;b\''
    assert split_answers(text) == ("1", "2.5", '-222,"Data out of range; FREQ ""x;y"""', "'a;b'")


def test_commands_are_joined_so_that_each_is_read_from_the_root():
    """SENS:FREQ:STAR 1;STOP 2 would be SENS:FREQ:STOP; a colon begins at the root again."""
    parts = ("SENS:FREQ:STAR 1", "STOP 2", "*CLS", ":INIT", "*OPC?")
    assert join_messages(parts) == "SENS:FREQ:STAR 1;:STOP 2;*CLS;:INIT;*OPC?"


def test_bytes_are_shown_in_one_printable_line():
    assert shown(b"a\nb\xff") == r"'a\nb\xff'"
    assert shown(b"x" * 100) == f"'{'x' * 40}'... (100 bytes)"
