"""Control charts on a terminal, and as JSON: limits of each phase, and every alarm with its units."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from limits.reading import Reading
from reports import wording
from station.cli.asking import out
from station.cli.tables import Column, print_json, say, show
from station.errors import UserMistake

if TYPE_CHECKING:
    from pandas import DataFrame

    from reports.trends.charting import Charted, Drawn, Wish
    from reports.trends.rules import Alarm
    from reports.trends.shewhart import Chart

LIMITS = (
    Column("phase", "Phase", right=True),
    Column("what", "Plotted", least=10),
    Column("points", "Points", right=True),
    Column("centre", "Centre", right=True, least=7),
    Column("low", "Low", right=True, least=7),
    Column("high", "High", right=True, least=7),
    Column("since", "Since", whole=True),
    Column("why", "Because of"),
)
ALARMS = (
    Column("rule", "Rule", whole=True),
    Column("words", "What", least=16),
    Column("what", "Plotted", least=10),
    Column("when", "First told", whole=True),
    Column("units", "Units"),
)
SHOWN = 6
"""Units that are named on a terminal; JSON names all."""

MEANT = (
    "Limits: 3 sigma of what is plotted, set by the readings themselves; they say what is usual, not what is good. "
    "Every unit counts with its first verdict. Moving average: weight 0.2, limits 2.962 sigma. Sums: slack 0.5, "
    "limit 5 sigma. Limits that differ from point to point are those of the last one."
)


def wish_of(
    kind: str, split: Sequence[str] | None, baseline: int | None, rules: Sequence[str] | None
) -> Wish:
    """What somebody asked for. Raises UserMistake for a word that is none."""
    from reports.trends.charting import Kind, Wish
    from reports.trends.phases import KEYS
    from reports.trends.rules import NELSON, RULES, WESTERN_ELECTRIC

    _one_of("--kind", kind, [*Kind])
    named = list(dict.fromkeys(split or ["recipe"]))
    for key in named:
        _one_of("--split", key, [*KEYS, "none"])
    families = {"WE": WESTERN_ELECTRIC, "N": NELSON}
    chosen: list[str] = []
    for rule in rules or ["WE"]:
        _one_of("--rule", rule.upper(), [*RULES, *families])
        chosen.extend(families.get(rule.upper(), (rule.upper(),)))
    keys = () if "none" in named else tuple(named)
    return Wish(Kind(kind), keys, baseline, tuple(dict.fromkeys(chosen)))


def _one_of(option: str, word: str, known: Sequence[str]) -> None:
    from limits.formwords import suggest

    if word not in known:
        raise UserMistake(f"{option}: there is no '{word}'{suggest(word, known)}")


def show_chart(folder: Path, model: str, name: str, wish: Wish, last: int | None, *, as_json: bool) -> None:
    """Show the charts of one characteristic, or of failures by order."""
    from reports.trends.attributes import Attribute
    from station.desk import open_desk

    with open_desk(folder) as desk:
        if name in [*Attribute]:
            _show_attributes(desk.attributes(model), Attribute(name), wish, as_json=as_json)
            return
        found = desk.chart(model, name, wish, last)
    if as_json:
        print_json(_facts(found), out())
        return
    console = out()
    if found.drawn:
        say(console, f"{found.readings['title'].iloc[-1]}, model {model}", "bold")
        show([_limits_row(found, each) for each in found.drawn], LIMITS, console, as_json=False)
        rows = [_alarm_row(found.readings, each, alarm) for each in found.drawn for alarm in each.alarms]
        _show_alarms(rows)
    for note in found.notes:
        say(console, f"{note[0].upper()}{note[1:]}.", "yellow", wrap=True)
    if found.bounds or found.holes:
        say(
            console,
            f"Left out: {found.bounds} that only say 'at least', {found.holes} without a value.",
            wrap=True,
        )
    if found.drawn:
        say(console, MEANT, wrap=True)


def _show_attributes(orders: DataFrame, what: Any, wish: Wish, *, as_json: bool) -> None:
    from reports.trends.attributes import attribute_chart

    chart = attribute_chart(orders, what, wish.baseline)
    alarms = chart.alarms(wish.rules)
    named = orders["order"].tolist()
    if as_json:
        points = [{"order": order, **point} for order, point in zip(named, _points(chart), strict=True)]
        told = [{**asdict(alarm), "orders": [named[point] for point in alarm.points]} for alarm in alarms]
        print_json({"what": chart.what, "points": points, "alarms": told}, out())
        return
    columns = (
        Column("order", "Order"),
        Column("day", "Since", whole=True),
        Column("units", "Units", right=True),
        *(Column(key, heading, _three, right=True) for key, heading in (
            ("value", chart.what.capitalize()), ("centre", "Centre"), ("low", "Low"), ("high", "High"),
        )),
    )  # fmt: skip
    rows = [{**row, **point} for row, point in zip(orders.to_dict("records"), _points(chart), strict=True)]
    show(rows, columns, out(), as_json=False)
    _show_alarms(
        [
            {**asdict(alarm), "what": chart.what, "when": orders["day"].iloc[alarm.at], "units": ", ".join(
                named[point] for point in alarm.points)}
            for alarm in alarms
        ]
    )  # fmt: skip


def _show_alarms(rows: list[dict[str, Any]]) -> None:
    if rows:
        show(rows, ALARMS, out(), as_json=False)
    else:
        say(out(), "No rule alarms.")


def _limits_row(found: Charted, drawn: Drawn) -> dict[str, Any]:
    chart, phase = drawn.chart, found.phases[drawn.phase]
    return {
        "phase": drawn.phase + 1,
        "what": chart.what,
        "points": len(chart.value),
        **{key: _quantity(found.readings, float(array[-1]), float(chart.sigma[-1])) for key, array in (
            ("centre", chart.centre), ("low", chart.low), ("high", chart.high),
        )},
        "since": found.readings["started"].iloc[phase.start].date().isoformat(),
        "why": ", ".join(f"{change.key} {change.new}" for change in phase.why),
    }  # fmt: skip


def _alarm_row(readings: DataFrame, drawn: Drawn, alarm: Alarm) -> dict[str, Any]:
    serials = _serials(readings, drawn, alarm)
    more = f" and {len(serials) - SHOWN} more" if len(serials) > SHOWN else ""
    first = readings["started"].iloc[drawn.rows[alarm.at][0]]
    units = ", ".join(serials[:SHOWN]) + more
    return {**asdict(alarm), "what": drawn.chart.what, "when": wording.moment(first), "units": units}


def _serials(readings: DataFrame, drawn: Drawn, alarm: Alarm) -> list[str]:
    rows = [row for point in alarm.points for row in drawn.rows[point]]
    return [str(serial) for serial in readings["serial"].iloc[rows]]


def _quantity(readings: DataFrame, value: float, sigma: float) -> str | None:
    """As printed everywhere, to the digits that the spread lets count."""
    if not math.isfinite(value):
        return None
    unit = str(readings["unit"].iloc[-1])
    return str(wording.printed(Reading("", "", unit, value, u=sigma or None)))


def _three(value: float | None) -> str:
    return "" if value is None else f"{value:.3f}"


def _points(chart: Chart) -> list[dict[str, float | None]]:
    """JSON has neither NaN nor infinity: what is not there is null."""
    arrays = {"value": chart.value, "centre": chart.centre, "low": chart.low, "high": chart.high}
    return [
        {key: float(array[at]) if math.isfinite(array[at]) else None for key, array in arrays.items()}
        for at in range(len(chart.value))
    ]


def _facts(found: Charted) -> dict[str, Any]:
    readings = found.readings
    return {
        "used": len(readings),
        "bounds": found.bounds,
        "holes": found.holes,
        "notes": found.notes,
        "phases": [asdict(phase) for phase in found.phases],
        "charts": [
            {
                "phase": drawn.phase,
                "what": drawn.chart.what,
                "points": [
                    {**point, "runs": [int(run) for run in readings["run"].iloc[list(rows)]]}
                    for point, rows in zip(_points(drawn.chart), drawn.rows, strict=True)
                ],
                "alarms": [
                    {**asdict(alarm), "units": _serials(readings, drawn, alarm)} for alarm in drawn.alarms
                ],
            }
            for drawn in found.drawn
        ],
    }
