"""Fetched readings as a table: what may be calculated with, and what may not."""

from __future__ import annotations

from datetime import UTC, datetime

from limits.reading import Claim
from reports.trends.readings import COLUMNS, is_bound, is_value, table_of

ROW = dict.fromkeys(COLUMNS, "x") | {
    "run": 1, "started": datetime(2026, 11, 2, tzinfo=UTC), "calibration": None, "value": 1.0,
    "claim": Claim.VALUE.value,
}  # fmt: skip


def test_neither_a_bound_nor_nothing_is_a_value() -> None:
    table = table_of([ROW, {**ROW, "claim": Claim.AT_LEAST.value}, {**ROW, "value": None}])
    assert is_value(table).tolist() == [True, False, False]
    assert is_bound(table).tolist() == [False, True, False]
    assert table["calibration"].isna().all()


def test_of_nothing_there_is_an_empty_table_with_the_same_columns() -> None:
    assert table_of([]).columns.tolist() == list(COLUMNS)
