"""Cells of a CSV file: nothing that a spreadsheet would carry out, and nothing that cannot be taken back."""

from __future__ import annotations

import csv
import io
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.tablefiles import FORMULA_BEGINS, cell


@pytest.mark.parametrize(
    ("value", "told"),
    [
        (None, ""),
        ("", '""'),
        (True, "true"),
        (0.1 + 0.2, "0.30000000000000004"),
        (-1.5, "-1.5"),
        (7, "7"),
        (date(2026, 11, 25), "2026-11-25"),
        (datetime(2026, 11, 25, 12, tzinfo=UTC), "2026-11-25T12:00:00+00:00"),
        (b"\x30\x00", '"3000"'),
        ('say "so"', '"say ""so"""'),
        ([["=", 1.5]], '"[[""="", 1.5]]"'),
        ("=cmd|' /C calc'!A0", "\"'=cmd|' /C calc'!A0\""),
        ("'quoted", "\"''quoted\""),
    ],
)
def test_how_each_kind_of_value_stands_in_a_cell(value, told):
    assert cell(value) == told


@given(st.text())
def test_any_text_comes_back_and_none_is_a_formula(text):
    (row,) = csv.reader(io.StringIO(f"{cell(text)},1\r\n", newline=""))
    assert not row[0].startswith(tuple(each for each in FORMULA_BEGINS if each != "'"))
    assert row[0].removeprefix("'") == text
