"""Do stations, operators or lots read differently? One-way analysis of a characteristic's readings by group."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import f, f_oneway, t

from reports.trends.components import CONFIDENCE, Deviation, MeanSquare, deviation
from reports.trends.moments import Moments, moments

LEAST = 2
"""Readings that a group needs to have a spread."""


@dataclass(frozen=True, slots=True)
class OneWay:
    """The analysis of variance of groups."""

    ss_between: float
    df_between: int
    ss_within: float
    df_within: int

    @property
    def between(self) -> MeanSquare:
        """Between groups."""
        return MeanSquare(self.ss_between / self.df_between, self.df_between)

    @property
    def within(self) -> MeanSquare:
        """Within groups."""
        return MeanSquare(self.ss_within / self.df_within, self.df_within)

    @property
    def f(self) -> float:
        """Infinite where nothing spreads within the groups."""
        return self.between.value / self.within.value if self.ss_within > 0.0 else math.inf

    @property
    def p(self) -> float:
        """How often groups that are alike differ as much, if all spread alike."""
        return float(f.sf(self.f, self.df_between, self.df_within))

    @property
    def r_squared(self) -> float:
        """Share of the sum of squares that lies between groups."""
        return self.ss_between / (self.ss_between + self.ss_within)


@dataclass(frozen=True, slots=True)
class Pair:
    """How far one group reads above another."""

    first: str
    second: str
    difference: float
    low: float
    high: float
    p: float


@dataclass(frozen=True, slots=True)
class Differences:
    """Of all groups with enough readings."""

    groups: tuple[tuple[str, Moments], ...]
    left_out: tuple[str, ...]
    """Groups with fewer than two readings."""

    one_way: OneWay
    welch_p: float
    """As the one-way p, but groups may spread differently; NaN where one does not spread at all."""

    spread_between: Deviation
    """Standard deviation between groups, if they were drawn from many (one-way random effects)."""

    pairs: tuple[Pair, ...]
    """All pairs, with intervals that hold for all of them together, whatever each group spreads."""


def one_way(groups: Sequence[Sequence[float]]) -> OneWay:
    """The sums of squares, from the first value on: a common offset costs no digits.

    Raises ValueError for fewer than two groups, or where no group has two values.
    """
    count = sum(len(group) for group in groups)
    if len(groups) < 2 or count <= len(groups) or any(len(group) == 0 for group in groups):
        raise ValueError(
            "groups can be compared when there are two at least, with more than one value in one"
        )
    found = [moments([*group]) for group in _centred(groups)]
    # From the mean of all, not pair by pair: so the certified values of NIST's SmLs sets are met best.
    overall = math.fsum(each.count * each.mean for each in found) / count
    between = math.fsum(each.count * (each.mean - overall) ** 2 for each in found)
    return OneWay(between, len(groups) - 1, math.fsum(each.m2 for each in found), count - len(groups))


def differences(table: pd.DataFrame, by: str, confidence: float = CONFIDENCE) -> Differences:
    """Compare the readings in column `value` by the groups that column `by` names; NaN is left out.

    Pairs by Tamhane's T2 (J. Amer. Statist. Assoc. 72 (1977), 728, from memory), which is hardly wider than the
    studentized range and a thousand times quicker; all by Welch (Biometrika 38, 1951; scipy). Raises ValueError
    where fewer than two groups have two readings, or nothing spreads.
    """
    named = {str(name): each.dropna().to_numpy(dtype=np.float64) for name, each in table.groupby(by)["value"]}
    groups = {name: values for name, values in named.items() if len(values) >= LEAST}
    if len(groups) < 2:
        raise ValueError(f"fewer than two groups have {LEAST} readings; there is nothing to compare")
    analysis = one_way([*map(list, groups.values())])
    if analysis.ss_within <= 0.0:
        raise ValueError("the readings do not spread within the groups")
    summaries = tuple((name, moments([*values])) for name, values in groups.items())
    counts = [each.count for _, each in summaries]
    size = (sum(counts) - sum(count**2 for count in counts) / sum(counts)) / (len(counts) - 1)
    centred = _centred([*groups.values()])
    spread = all(values.min() < values.max() for values in centred)
    return Differences(
        summaries,
        tuple(name for name in named if name not in groups),
        analysis,
        float(f_oneway(*centred, equal_var=False).pvalue) if spread else math.nan,
        deviation([(1.0 / size, analysis.between)], [(1.0 / size, analysis.within)], confidence),
        tuple(_pairs(summaries, confidence)) if spread else (),
    )


def _pairs(groups: Sequence[tuple[str, Moments]], confidence: float) -> list[Pair]:
    """Each pair by Welch's t, at a level that all of them together keep (Sidak's inequality)."""
    pairs = list(combinations(groups, 2))
    beyond = (1.0 - confidence ** (1.0 / len(pairs))) / 2.0
    found = []
    for (first, a), (second, b) in pairs:
        parts = [each.m2 / (each.count - 1) / each.count for each in (a, b)]
        df = sum(parts) ** 2 / sum(
            part**2 / (each.count - 1) for part, each in zip(parts, (a, b), strict=True)
        )
        error, apart = math.sqrt(sum(parts)), a.mean - b.mean
        reach = float(t.isf(beyond, df)) * error
        p = 1.0 - (1.0 - 2.0 * float(t.sf(abs(apart) / error, df))) ** len(pairs)
        found.append(Pair(first, second, apart, apart - reach, apart + reach, p))
    return found


def _centred(groups: Sequence[Sequence[float] | NDArray[np.float64]]) -> list[NDArray[np.float64]]:
    first = float(groups[0][0])
    return [np.asarray(group, dtype=np.float64) - first for group in groups]
