"""One characteristic of many units as a table, in order of time: what charts and capability start from."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pandas as pd

from limits.reading import Claim

COLUMNS = (
    "run", "started", "serial", "order", "operator", "station", "recipe", "recipe_digest", "calibration", "tx_hz",
    "rx_hz", "title", "unit", "value", "claim",
)  # fmt: skip
"""One row for each judged run.

`run` and `calibration` are their numbers in the records, `tx_hz` and `rx_hz` the unit's channels, `recipe` is name
and revision, `started` UTC; `value` is in `unit` and NaN where there was none; `claim` says whether it is the value
or only a bound (`limits.reading.Claim`).
"""


def table_of(rows: Sequence[Mapping[str, object]]) -> pd.DataFrame:
    """Fetched rows as a table with COLUMNS, also where there are none."""
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return table.astype({"value": float, "calibration": "Int64"}).assign(
        started=pd.to_datetime(table["started"], utc=True)
    )


def is_value(table: pd.DataFrame) -> pd.Series[bool]:
    """Which rows hold a value that may be calculated with: neither none nor a bound."""
    return (table["claim"] == Claim.VALUE.value) & table["value"].notna()


def is_bound(table: pd.DataFrame) -> pd.Series[bool]:
    """Which rows hold a number that the true value is only known to reach."""
    return (table["claim"] == Claim.AT_LEAST.value) & table["value"].notna()
