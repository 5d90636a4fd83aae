"""Attributes by order: the share of units that fail at once, and how many characteristics each fails in."""

from __future__ import annotations

from enum import StrEnum

import pandas as pd

from reports.trends import shewhart
from reports.trends.shewhart import Chart


class Attribute(StrEnum):
    """What is counted."""

    FAILED = "p"
    DEFECTS = "u"


def by_order(counts: pd.DataFrame, failed: pd.DataFrame) -> pd.DataFrame:
    """One row for each order in order of its first day: `order`, `day`, `units`, `failed` units, `defects`.

    `counts` as `reports.trends.yields.yields` takes it, `failed` with one row for each characteristic that a unit of
    an `order` failed in at its first judged run. A unit that was left undecided has not failed in anything, and has
    not passed: it counts among `failed`.
    """
    orders = counts.groupby("order").agg(
        day=("day", "min"), units=("first", "sum"), passed=("first_passed", "sum")
    )
    orders = orders[orders["units"] > 0]
    orders["failed"] = orders["units"] - orders["passed"]
    defects = failed.groupby("order").size() if len(failed) else pd.Series(dtype=float)
    orders["defects"] = defects.reindex(orders.index).fillna(0).astype(int)
    columns = ["order", "day", "units", "failed", "defects"]
    return orders.reset_index().sort_values(["day", "order"])[columns].reset_index(drop=True)


def attribute_chart(orders: pd.DataFrame, what: Attribute, baseline: int | None = None) -> Chart:
    """The p or u chart of these orders; so many first ones set its limits. Raises ValueError where there is none."""
    if orders.empty:
        raise ValueError("there is no order to chart")
    units, chosen = orders["units"].to_numpy(dtype=float), slice(baseline)
    if what is Attribute.FAILED:
        return shewhart.share(orders["failed"].to_numpy(dtype=float), units, chosen)
    return shewhart.per_unit(orders["defects"].to_numpy(dtype=float), units, chosen)
