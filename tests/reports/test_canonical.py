"""One form of JSON, judged by the tables of RFC 8785."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import pytest
import rfc8785
import yaml
from hypothesis import given
from hypothesis import strategies as st

from reports.canonical import canonical, parsed

PUBLISHED = yaml.safe_load((Path(__file__).parents[1] / "reference" / "json" / "rfc8785.yaml").read_text())


def double(bits: str) -> float:
    (value,) = struct.unpack(">d", bytes.fromhex(bits))
    return float(value)


@pytest.mark.parametrize(("bits", "text"), PUBLISHED["numbers"].items())
def test_numbers_are_written_as_published(bits: str, text: str) -> None:
    assert canonical(double(bits)) == text.encode()


@pytest.mark.parametrize("bits", PUBLISHED["no_number"])
def test_what_is_no_number_is_refused(bits: str) -> None:
    with pytest.raises(ValueError, match="no form"):
        canonical(double(bits))


def test_names_are_sorted_as_published() -> None:
    told = canonical(dict.fromkeys(reversed(PUBLISHED["order"]), 1))
    assert list(json.loads(told)) == PUBLISHED["order"]


def test_a_whole_number_too_long_for_a_double_is_refused() -> None:
    with pytest.raises(ValueError, match="digits"):
        canonical(2**53 + 1)


VALUES = st.recursive(
    st.none() | st.booleans() | st.floats(allow_nan=False, allow_infinity=False) | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=5), inner, max_size=3),
    max_leaves=8,
)


@given(VALUES)
def test_any_value_is_written_as_another_program_writes_it(value: object) -> None:
    assert canonical(value) == rfc8785.dumps(value)  # type: ignore[arg-type]


@given(VALUES)
def test_any_value_is_read_back(value: object) -> None:
    assert parsed(canonical(value)) == value  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text", ['{"b":1,"a":2}', '{"a": 1}', '{"a":1,"a":1}', '{"a":1.0}', "[1,2", '"\\u0041"']
)
def test_another_form_of_json_is_refused(text: str) -> None:
    with pytest.raises(ValueError):
        parsed(text.encode())
