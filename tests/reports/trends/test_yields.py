"""Yield from counts: by hand on a small table, intervals by published ones."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pandas as pd
import pytest

from reports.trends.failures import failures
from reports.trends.proportion import share
from reports.trends.yields import COUNTS, yields

PUBLISHED = Path(__file__).parents[2] / "reference" / "trends" / "proportion_intervals.csv"


def published() -> list[dict[str, str]]:
    with PUBLISHED.open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", published(), ids=lambda row: f"{row['k']} of {row['n']}, {row['method']}")
def test_an_interval_is_the_published_one(row: dict[str, str]) -> None:
    """To the printed digits; the e-Handbook's own example to 6e-6, where its table was rounded on the way."""
    method = {"wilson": "wilson", "clopper_pearson": "exact"}[row["method"]]
    found = share(int(row["k"]), int(row["n"]), method=method, confidence=float(row["confidence"]))
    within = 6e-6 if len(row["low"]) > 6 else 0.5e-4
    assert found.low == pytest.approx(float(row["low"]), abs=within)
    assert found.high == pytest.approx(float(row["high"]), abs=within)


def test_of_nothing_there_is_no_share() -> None:
    assert share(0, 0) is None


def counts(*rows: dict[str, object]) -> pd.DataFrame:
    plain = {"model": "SK-V4", "order": "SKO-1", "station": "1", "operator": "B.", "recipe": "SK-V4 A"}
    return pd.DataFrame([{**plain, **dict.fromkeys(COUNTS, 0), "hours_lost": 0.0, **row} for row in rows])


SEASON = counts(
    {"day": "2026-11-02", "runs": 10, "judged": 9, "first": 8, "first_passed": 6, "latest": 7, "latest_passed": 3,
     "latest_undecided": 1, "latest_released": 2, "latest_rejected": 1, "faults": 1, "hours_lost": 0.5},
    {"day": "2026-11-09", "runs": 3, "judged": 3, "first": 1, "first_passed": 1, "latest": 2, "latest_passed": 2},
    {"day": "2026-12-01", "runs": 1, "judged": 1, "first": 1, "first_passed": 0, "latest": 1, "latest_passed": 0,
     "model": "SK-U4"},
)  # fmt: skip


def test_all_of_it_is_one_row() -> None:
    (row,) = yields(SEASON).to_dict("records")
    assert (row["units"], row["passed"]) == (10, 7)
    assert row["first_pass"] == 0.7
    assert row["final"] == 0.5, "what a person released has not passed"
    assert (row["released"], row["rejected"]) == (pytest.approx(2 / 10), pytest.approx(1 / 10))
    assert row["retests"] == pytest.approx(3 / 10)
    assert row["undecided"] == pytest.approx(1 / 10)
    assert row["faults"] == pytest.approx(1 / 14)
    assert row["hours_lost"] == 0.5
    assert row["first_pass_low"] == pytest.approx(share(7, 10).low)


@pytest.mark.parametrize(
    ("by", "expected"),
    [
        ("week", {"2026-W45": 8, "2026-W46": 1, "2026-W49": 1}),
        ("month", {"2026-11": 9, "2026-12": 1}),
        ("day", {"2026-11-02": 8, "2026-11-09": 1, "2026-12-01": 1}),
        ("model", {"SK-U4": 1, "SK-V4": 9}),
    ],
)
def test_rows_are_put_together_by_what_is_asked_for(by: str, expected: dict[str, int]) -> None:
    table = yields(SEASON, [by])
    assert dict(zip(table[by], table["units"], strict=True)) == expected


def test_a_group_without_first_runs_has_no_yield_and_no_zero_either() -> None:
    (row,) = yields(counts({"day": "2026-11-02", "runs": 1, "faults": 1}), ["day"]).to_dict("records")
    assert math.isnan(row["first_pass"])
    assert math.isnan(row["retests"])
    assert row["faults"] == 1.0


FAILED = pd.DataFrame(
    [
        {"unit": unit, "model": "SK-V4", "name": name, "title": f"{name} in words"}
        for unit, name in ((1, "tx_loss"), (2, "tx_loss"), (2, "isolation"), (3, "isolation"), (4, "tx_loss"))
    ]
)


def test_what_fails_most_stands_first_with_what_it_alone_costs() -> None:
    table = failures(FAILED, units=40)
    assert table["name"].tolist() == ["tx_loss", "isolation"]
    assert table["failed"].tolist() == [3, 2]
    assert table["alone"].tolist() == [2, 1]
    assert table["alone_share"].tolist() == [0.05, 0.025]
    assert table["cumulative"].tolist() == [0.75, 1.0]


def test_where_nothing_failed_the_table_is_empty() -> None:
    assert failures(FAILED.iloc[:0], units=3).empty
