"""Yield and failures on a terminal."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from station.cli.asking import out
from station.cli.tables import Column, say, show
from station.errors import UserMistake

if TYPE_CHECKING:
    from pandas import DataFrame


def show_yield(
    folder: Path, by: Sequence[str], since: date | None, until: date | None, *, as_json: bool
) -> None:
    """Show how many units passed at once and in the end."""
    from limits.formwords import suggest
    from reports.trends.yields import KEYS, PERIODS
    from station.desk import open_desk

    known = (*PERIODS, *KEYS)
    for key in by:
        if key not in known:
            raise UserMistake(f"--by: nothing is kept by '{key}'{suggest(key, known)}")
    with open_desk(folder) as desk:
        keys = list(dict.fromkeys(by))
        table = desk.yields(keys, since, until)
        reasons = desk.retest_reasons(keys, since, until)
    columns = (
        *(Column(key, key.capitalize(), least=8 if key in PERIODS else None) for key in keys),
        Column("units", "Units", right=True, least=5),
        Column("first_pass", "At once", _percent, right=True, least=7),
        Column("between", "95 %", least=7),
        Column("final", "Finally", _percent, right=True, least=7),
        Column("undecided", "Undec.", _percent, right=True, least=6),
        *(Column(key, heading, _percent, right=True, least=7) for key, heading in _decided(table)),
        Column("retests", "Retest", _percent, right=True, least=6),
        Column("faults", "Fault", _percent, right=True, least=5),
        Column("hours_lost", "Hours", lambda hours: f"{hours:.1f}", right=True),
    )
    rows = [{**row, "between": _between(row)} for row in table.to_dict("records")]
    if as_json:
        facts = [
            {**row, "retest_reasons": _reasons_of(row, reasons, keys)} for row in table.to_dict("records")
        ]
        show(_without_nan(facts), columns, out(), as_json=True)
    else:
        _show(table, rows, columns, as_json=False)
        for row in rows:
            if found := _reasons_of(row, reasons, keys):
                group = " ".join(str(row[key]) for key in keys)
                told = ", ".join(f"{number} {reason}" for reason, number in found.items())
                say(out(), f"Retests{f' of {group}' if group else ''}: {told}.", wrap=True)
        say(
            out(),
            "At once: passed at the first run after assembly or a rework, with the interval that so few units "
            "leave open. Finally and undecided: as the units stand now, by measurement. By hand: undecided by "
            "measurement, and released or rejected by a person; nowhere counted as passed. Retest: runs "
            "beyond the first, per unit. Fault: runs that the station broke off, and the hours they took.",
            wrap=True,
        )


def _reasons_of(row: Mapping[Hashable, Any], reasons: DataFrame, keys: Sequence[str]) -> dict[str, int]:
    """Of one row: how many retests there were for each reason, the most frequent first."""
    mine = reasons
    for key in keys:
        mine = mine[mine[key] == row[key]]
    return dict(zip(mine["reason"], map(int, mine["retests"]), strict=True))


def _decided(table: DataFrame) -> list[tuple[str, str]]:
    """The columns of what persons decided, where anybody did."""
    headings = (("released", "By hand: released"), ("rejected", "By hand: rejected"))
    return [(key, heading) for key, heading in headings if (table[key] > 0).any()]


def show_failures(folder: Path, since: date | None, until: date | None, *, as_json: bool) -> None:
    """Show what units failed in at their first run."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        table = desk.failures(since, until)
    columns = (
        Column("model", "Model"),
        Column("title", "Characteristic"),
        Column("failed", "Units", right=True),
        Column("share", "Of all", _percent, right=True),
        Column("alone", "It alone", right=True),
        Column("cumulative", "So far", _percent, right=True),
    )
    if table.empty and not as_json:
        say(out(), "No unit failed at its first run.")
        return
    _show(table, table.to_dict("records"), columns, as_json=as_json)


def _show(table: DataFrame, rows: list[dict], columns: Sequence[Column], *, as_json: bool) -> None:  # type: ignore[type-arg]
    show(_without_nan(table.to_dict("records")) if as_json else rows, columns, out(), as_json=as_json)


def _without_nan(rows: list[dict]) -> list[dict]:  # type: ignore[type-arg]
    """JSON has no NaN: a share of nothing is null."""
    return [
        {key: None if isinstance(value, float) and math.isnan(value) else value for key, value in row.items()}
        for row in rows
    ]


def _percent(share: float) -> str:
    return "" if math.isnan(share) else f"{share:.1%}"


def _between(row: dict) -> str:  # type: ignore[type-arg]
    low, high = row["first_pass_low"], row["first_pass_high"]
    return "" if math.isnan(low) else f"{100 * low:.0f}-{100 * high:.0f}%"
