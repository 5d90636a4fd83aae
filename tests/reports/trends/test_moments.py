"""Summaries and the one-way analysis, held against the certified values of NIST StRD."""

from __future__ import annotations

import csv
import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml

from reports.trends.differences import differences, one_way
from reports.trends.moments import Moments, moments

FOLDER = Path(__file__).parents[2] / "reference" / "trends" / "nist_strd"
CERTIFIED = yaml.safe_load((FOLDER / "certified.yaml").read_text(encoding="utf-8"))

# Decimals that no binary fraction can hold cost digits before anything is calculated; those that remain.
DIGITS = {"NumAcc3": 9.4, "NumAcc4": 8.2, "Michelso": 13.5, "Mavro": 13.0}
ONE_WAY_DIGITS = {
    "SiRstv": 12.5, "AtmWtAg": 9.5, "SmLs04": 9.9, "SmLs05": 9.9, "SmLs07": 3.9, "SmLs08": 3.9,
}  # fmt: skip


def digits(value: float, certified: str) -> float:
    """How many digits agree: the log relative error that StRD measures by."""
    true = float(certified)
    return 16.0 if value == true else -math.log10(abs(value - true) / abs(true))


def values(row: dict[str, str]) -> list[float]:
    return [float(line["y"]) for line in lines(row)]


def lines(row: dict[str, str]) -> list[dict[str, str]]:
    """Read by Python, which finds the nearest binary fraction to every decimal."""
    with (FOLDER / row["file"]).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("name", CERTIFIED["univariate"])
def test_mean_and_spread_are_certified(name: str) -> None:
    row = CERTIFIED["univariate"][name]
    found = moments(values(row))
    assert found.count == row["n"]
    assert digits(found.mean, row["mean"]) >= 14.5
    assert digits(found.sd, row["sd"]) >= DIGITS.get(name, 14.0)


@pytest.mark.parametrize("name", CERTIFIED["univariate"])
@pytest.mark.parametrize("size", [1, 2, 100])
def test_summaries_put_together_keep_the_digits(name: str, size: int) -> None:
    """Day by day or one by one; where sums of squares would lose all of them on NumAcc4."""
    row = CERTIFIED["univariate"][name]
    every = values(row)
    found = Moments()
    for start in range(0, len(every), size):
        found = found.merged(moments(every[start : start + size]))
    assert found.count == row["n"]
    assert digits(found.mean, row["mean"]) >= 14.0
    assert digits(found.sd, row["sd"]) >= min(DIGITS.get(name, 12.0), 12.0) - 0.5


def test_nothing_is_put_together_with_anything() -> None:
    some = moments([1.0, 2.0, 4.0])
    assert Moments().merged(some) == some.merged(Moments()) == some
    assert Moments().merged(Moments()) == moments([]) == Moments()
    assert moments([3.0]).sd is None


@pytest.mark.parametrize("name", CERTIFIED["anova_one_way"])
def test_the_one_way_analysis_is_certified(name: str) -> None:
    row = CERTIFIED["anova_one_way"][name]
    table = pd.DataFrame({"group": [line["group"] for line in lines(row)], "y": values(row)})
    found = one_way([group.to_list() for _, group in table.groupby("group")["y"]])
    assert (found.df_between, found.df_within) == (row["df_between"], row["df_within"])
    least = ONE_WAY_DIGITS.get(name, 13.0)
    for value, certified in (
        (found.ss_between, row["ss_between"]),
        (found.ss_within, row["ss_within"]),
        (found.f, row["f"]),
        (found.r_squared, row["r_squared"]),
    ):
        assert digits(value, certified) >= least


@pytest.mark.parametrize("name", ["SmLs07", "SmLs08"])
def test_what_is_lost_is_lost_in_the_decimals_not_in_the_arithmetic(name: str) -> None:
    """In fractions without any rounding, from the same binary numbers: at least 13 digits alike."""
    row = CERTIFIED["anova_one_way"][name]
    groups: dict[str, list[Fraction]] = {}
    for line in lines(row):
        groups.setdefault(line["group"], []).append(Fraction(float(line["y"])))
    overall = sum(map(sum, groups.values())) / row["n"]
    means = {key: sum(group) / len(group) for key, group in groups.items()}
    between = sum(len(group) * (means[key] - overall) ** 2 for key, group in groups.items())
    within = sum((value - means[key]) ** 2 for key, group in groups.items() for value in group)
    found = one_way([[*map(float, group)] for group in groups.values()])
    assert digits(found.ss_between, str(float(between))) >= 13.0
    assert digits(found.ss_within, str(float(within))) >= 13.0


def drawn(shift: float, spreads: tuple[float, ...] = (0.1, 0.1, 0.3), seed: int = 5) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    counts = (60, 25, 12)
    groups = [
        pd.DataFrame({"operator": name, "value": 1.2 + off + random.normal(0, spread, count)})
        for name, off, spread, count in zip("ABC", (0.0, shift, 0.0), spreads, counts, strict=True)
    ]
    return pd.concat([*groups, pd.DataFrame({"operator": ["D"], "value": [9.0]})])


def test_who_reads_otherwise_is_found_with_how_much() -> None:
    found = differences(drawn(0.2), "operator")
    assert found.left_out == ("D",)
    assert [name for name, _ in found.groups] == ["A", "B", "C"]
    pairs = {(pair.first, pair.second): pair for pair in found.pairs}
    assert pairs["A", "B"].low < -0.2 < pairs["A", "B"].high < 0
    assert pairs["A", "B"].p < 0.01 < pairs["A", "C"].p
    assert found.welch_p < 0.01


def test_groups_that_are_alike_are_seldom_told_apart() -> None:
    """However unlike their spreads: 60 drawings, at most 5 % and three of its own standard deviations, 13.4 %."""
    found = [differences(drawn(0.0, seed=seed), "operator") for seed in range(60)]
    assert sum(any(pair.p < 0.05 for pair in each.pairs) for each in found) <= 8
    assert sum(each.welch_p < 0.05 for each in found) <= 8


def test_the_spread_between_groups_lies_in_its_interval() -> None:
    """Eight stations that differ by 0.2 (standard deviation), unequal counts: 95 % of 100, 88 at least."""
    inside = 0
    for seed in range(100):
        random = np.random.default_rng(seed)
        counts = random.integers(10, 30, 8)
        table = pd.concat(
            [
                pd.DataFrame(
                    {"station": f"{k}", "value": random.normal(0, 0.2) + random.normal(0, 0.3, count)}
                )
                for k, count in enumerate(counts)
            ]
        )
        spread = differences(table, "station").spread_between
        inside += spread.low <= 0.2 <= spread.high
    assert inside >= 88


def test_one_group_alone_differs_from_nobody() -> None:
    with pytest.raises(ValueError, match="nothing to compare"):
        differences(drawn(0.0).query("operator in ('A', 'D')"), "operator")


def test_groups_without_any_spread_are_not_compared() -> None:
    with pytest.raises(ValueError, match="do not spread"):
        differences(pd.DataFrame({"by": ["A", "A", "B", "B"], "value": [1.0, 1.0, 2.0, 2.0]}), "by")
