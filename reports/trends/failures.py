"""What fails: how many units each characteristic fails, and how many it alone keeps from passing."""

from __future__ import annotations

import pandas as pd


def failures(failed: pd.DataFrame, units: int) -> pd.DataFrame:
    """One row for each characteristic that failed, the most frequent first.

    `failed` has one row for each characteristic that failed in a first run: `unit`, `model`, `name`, `title`. `units`
    are all first runs. The result: `model`, `name`, `title`, `failed` (units), `share` of all units, `alone` (units
    that failed in nothing else: what mending this one would save), `alone_share`, and `cumulative`, the share of the
    failed units that fail in this characteristic or one above it.
    """
    if failed.empty:
        columns = ("model", "name", "title", "failed", "share", "alone", "alone_share", "cumulative")
        return pd.DataFrame(columns=columns)
    once = failed.drop_duplicates(["unit", "model", "name"])
    alone = once.groupby("unit")["name"].transform("size") == 1
    table = (
        once.assign(alone=alone)
        .groupby(["model", "name"])
        .agg(title=("title", "last"), failed=("unit", "size"), alone=("alone", "sum"))
        .reset_index()
        .sort_values(["failed", "alone", "model", "name"], ascending=[False, False, True, True])
    )
    table["share"] = table["failed"] / units
    table["alone_share"] = table["alone"] / units
    covered: set[object] = set()
    cumulative = []
    for model, name in zip(table["model"], table["name"], strict=True):
        covered |= set(once.loc[(once["model"] == model) & (once["name"] == name), "unit"])
        cumulative.append(len(covered) / once["unit"].nunique())
    table["cumulative"] = cumulative
    order = ["model", "name", "title", "failed", "share", "alone", "alone_share", "cumulative"]
    return table[order].reset_index(drop=True)
