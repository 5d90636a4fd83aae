"""Why units were tested again.

Of a table with one row for each day, model, order, station, operator, recipe and reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from reports.trends.yields import KEYS, with_periods

UNEXPLAINED = "no reason"
"""Instead of a code, where a recipe allowed a retest without one."""


def table_of(counts: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Counted rows as a table that `reasons` takes, also where there are none."""
    return pd.DataFrame(counts, columns=["day", *KEYS, "reason", "retests"])


def reasons(counts: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """The columns of `by`, then `reason` and `retests`, the most frequent first within each group.

    `counts` has the columns `day`, KEYS, `reason` (a code, or missing) and `retests`: judged runs beyond the first.
    """
    named = with_periods(counts.assign(reason=counts["reason"].fillna(UNEXPLAINED)))
    groups = named.groupby([*by, "reason"], sort=True)["retests"].sum().reset_index()
    order = [*by, "retests", "reason"]
    return groups.sort_values(order, ascending=[*(True for _ in by), False, True], ignore_index=True)
