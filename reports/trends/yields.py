"""Yield: how many units pass at once, how many in the end, and what the station itself cost.

Of a table with one row for each day, model, order, station, operator and recipe: how many runs there were, and what
came of them. The database counts; here the rows are put together by whatever somebody asks for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from reports.trends.proportion import share

PERIODS = {"day": "%Y-%m-%d", "week": "%G-W%V", "month": "%Y-%m"}
"""How a day is named as part of each; weeks are those of ISO 8601."""

KEYS = ("model", "order", "station", "operator", "recipe")
"""What else rows can be put together by."""

COUNTS = (
    "runs", "judged", "first", "first_passed", "latest", "latest_passed", "latest_undecided", "latest_released",
    "latest_rejected", "faults", "stopped",
)  # fmt: skip
"""What is counted in each row.

`first` are first judged runs of a unit, `latest` its latest ones: each unit counts once in either, in the row that
the run belongs to. `passed` is what the measurement said; a unit that it left undecided is released or rejected where
a person decided, else undecided.
"""


def table_of(counts: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Counted rows as a table that `yields` takes, also where there are none."""
    return pd.DataFrame(counts, columns=["day", *KEYS, *COUNTS, "hours_lost"])


def yields(counts: pd.DataFrame, by: Sequence[str] = ()) -> pd.DataFrame:
    """One row for each group, or one for all.

    `counts` has the columns `day`, KEYS, COUNTS and `hours_lost`. The result has the columns of `by`, then `units`,
    `passed`, `first_pass` with `first_pass_low` and `_high` (Wilson, 95 %), `final` with the same, `retests`
    (judged runs beyond the first, per unit), `undecided`, `released` and `rejected` by a person (of units, as they
    stand), `faults` (of runs) and `hours_lost` to them. A share of nothing is NaN.
    """
    named = with_periods(counts)
    numbers = [*COUNTS, "hours_lost"]
    if by:
        groups = named.groupby(list(by), sort=True)[numbers].sum().reset_index()
    else:
        groups = named[numbers].sum().to_frame().T
    return pd.DataFrame([_row(group, by) for _, group in groups.iterrows()])


def with_periods(counts: pd.DataFrame) -> pd.DataFrame:
    """The table with a column for each of PERIODS."""
    return counts.assign(
        **{period: pd.to_datetime(counts["day"]).dt.strftime(form) for period, form in PERIODS.items()}
    )


def _row(group: pd.Series[float], by: Sequence[str]) -> dict[str, object]:
    first = share(int(group["first_passed"]), int(group["first"]))
    final = share(int(group["latest_passed"]), int(group["latest"]))
    row: dict[str, object] = {key: group[key] for key in by}
    row |= {"units": int(group["first"]), "passed": int(group["first_passed"])}
    for name, found in (("first_pass", first), ("final", final)):
        row[name] = found.value if found else float("nan")
        row[f"{name}_low"] = found.low if found else float("nan")
        row[f"{name}_high"] = found.high if found else float("nan")
    row |= {
        "retests": _over(group["judged"] - group["first"], group["first"]),
        **{
            name: _over(group[f"latest_{name}"], group["latest"])
            for name in ("undecided", "released", "rejected")
        },
        "faults": _over(group["faults"], group["runs"]),
        "hours_lost": float(group["hours_lost"]),
    }
    return row


def _over(some: float, of: float) -> float:
    return float(some / of) if of else float("nan")
