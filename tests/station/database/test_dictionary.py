"""Every column that is exported is described, and nothing is described that is not there."""

from __future__ import annotations

import pytest

from station.database import dictionary, schema, words


def test_there_are_words_for_every_table_that_is_exported_and_for_no_other():
    """A new table gets its words in `station/database/words.py`, or is named in SECRET there."""
    told = {table.name for table in dictionary.exported_tables()}
    assert set(words.TABLES) == told == set(schema.metadata.tables) - words.SECRET


@pytest.mark.parametrize("table", dictionary.exported_tables(), ids=str)
def test_there_are_words_for_every_column_and_for_no_other(table):
    holds, columns = words.TABLES[table.name]
    assert set(columns) == {column.name for column in table.columns}
    assert holds.endswith(".")
    for column in dictionary.columns_of(table):
        assert column.meaning.strip() == column.meaning != ""
        assert column.kind


@pytest.mark.parametrize("table", dictionary.exported_tables(), ids=str)
def test_a_column_whose_name_says_its_unit_is_told_to_be_in_it(table):
    units = {"_hz": "Hz", "_s": "s", "_db": "dB", "_dbm": "dBm", "_c": "°C", "_deg": "°"}
    for column in dictionary.columns_of(table):
        ending = next((end for end in units if column.name.endswith(end)), None)
        if column.kind == "real" and ending:
            assert column.unit == units[ending], column.name
        elif column.kind == "real":
            assert column.unit, column.name


def test_what_is_packed_are_columns_of_bytes():
    for name, columns in words.PACKED.items():
        for column in columns:
            assert dictionary.kind_of(schema.metadata.tables[name].c[column]) == "bytes"
