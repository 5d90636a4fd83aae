"""Capability, and differences between groups, on a terminal and as JSON."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reports import wording
from station.cli.asking import out
from station.cli.tables import Column, print_json, say, show

if TYPE_CHECKING:
    from reports.trends.capability import Index
    from station.capabilities import LimitCapability

INDICES = (
    Column("name", "Characteristic", least=16),
    Column("limit", "Limit", least=7),
    Column("values", "Units", right=True),
    Column("cp", "Cp", right=True),
    Column("cpk", "Cpk", right=True),
    Column("pp", "Pp", right=True),
    Column("ppk", "Ppk", right=True),
    Column("between", "95 %", least=9),
    Column("stable", "Stable", least=6),
)
MEANT = (
    "Of each unit's first run. Cp and Cpk: as the process is from unit to unit (moving ranges); Pp and Ppk: all that "
    "was made; the interval is that of Ppk. Limits with one end have Cpk and Ppk of that end. Stable: no unit beyond "
    "control limits, and no order among neighbours; an index of a process that is not foretells nothing. Limits are "
    "those of the limit table as it is now."
)
DIFFERENCES = (
    Column("first", "Group"),
    Column("second", "against"),
    Column("difference", "Reads higher by", right=True),
    Column("between", "95 %"),
    Column("p", "p", right=True),
)


def show_capability(
    folder: Path, model: str, characteristic: str | None, last: int | None, *, as_json: bool
) -> None:
    """The indices of each limit, then what speaks against them."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        found = desk.capabilities(model, characteristic, last)
    if as_json:
        print_json([_facts(each) for each in found], out())
        return
    for level in dict.fromkeys(each.level for each in found):
        say(out(), f"{level.capitalize()}, model {model}", "bold")
        show([_row(each) for each in found if each.level is level], INDICES, out(), as_json=False)
    told: dict[str, list[str]] = {}
    for each in found:
        for what in (*each.capability.doubts, each.capability.why):
            if what and each.name not in told.setdefault(what, []):
                told[what].append(each.name)
    for what, names in told.items():
        say(out(), f"{', '.join(names)}: {what}.", "yellow", wrap=True)
    say(out(), MEANT, wrap=True)


def show_differences(
    folder: Path, model: str, name: str, by: str, last: int | None, *, as_json: bool
) -> None:
    """The groups, all pairs of them, and the spread between them."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        found = desk.differences(model, name, by, last)
    if as_json:
        print_json(_without_nan(asdict(found)), out())
        return
    groups = [
        {"group": group, "n": each.count, "mean": each.mean, "sd": each.sd} for group, each in found.groups
    ]
    columns = (
        Column("group", by.capitalize()),
        Column("n", "Units", right=True),
        Column("mean", "Mean", _figure, right=True),
        Column("sd", "Spread s", _figure, right=True),
    )
    show(groups, columns, out(), as_json=False)
    pairs = [
        {
            "first": pair.first,
            "second": pair.second,
            "difference": _figure(pair.difference),
            "between": f"{_figure(pair.low)} to {_figure(pair.high)}",
            "p": f"{pair.p:.2g}",
        }
        for pair in found.pairs
    ]
    show(pairs, DIFFERENCES, out(), as_json=False)
    spread = found.spread_between
    say(
        out(),
        f"All alike: p = {found.welch_p:.2g} (Welch). Standard deviation between groups, if drawn from many: "
        f"{_figure(spread.value)}, 95 % {_figure(spread.low)} to {_figure(spread.high)}. Intervals of pairs hold for "
        "all of them together (Tamhane). Groups that tested different units differ by those units too.",
        wrap=True,
    )
    if found.left_out:
        say(out(), f"Left out, with one reading only: {', '.join(found.left_out)}.", "yellow", wrap=True)


def _row(each: LimitCapability) -> dict[str, Any]:
    found = each.capability
    return {
        "name": each.name,
        "limit": each.limit,
        "values": found.values,
        **{key: _index(getattr(found, key)) for key in ("cp", "cpk", "pp", "ppk")},
        "between": _interval(found.ppk),
        "stable": None if found.sd_within is None else "yes" if found.stable else "no",
    }


def _index(index: Index | None) -> str | None:
    return None if index is None else wording.number(index.value, 2)


def _interval(index: Index | None) -> str | None:
    if index is None or math.isnan(index.low):
        return None
    return f"{wording.number(index.low, 2)} to {wording.number(index.high, 2)}"


def _figure(value: float) -> str:
    return f"{value:.4g}"


def _facts(each: LimitCapability) -> dict[str, Any]:
    facts: dict[str, Any] = _without_nan({**asdict(each), "stable": each.capability.stable})
    return facts


def _without_nan(facts: Any) -> Any:
    """JSON has no NaN: what nobody can tell is null."""
    if isinstance(facts, dict):
        return {key: _without_nan(value) for key, value in facts.items()}
    if isinstance(facts, list | tuple):
        return [_without_nan(value) for value in facts]
    return None if isinstance(facts, float) and not math.isfinite(facts) else facts
