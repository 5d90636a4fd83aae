"""The uncertainty budget of a reading on a terminal, and as JSON."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, Any

from rich.console import Console

from reports import wording
from station.cli.tables import Column, print_json, say, show

if TYPE_CHECKING:
    from station.budgets import Accounted
    from station.measurements.uncertainty import Contribution


def _digits(value: float, unit: str) -> str:
    """As many for every line: to 0.0001 dB, to 1 Hz."""
    return wording.number(value, 0 if unit == "Hz" else 4)


def _columns(unit: str) -> tuple[Column, ...]:
    digits = partial(_digits, unit=unit)
    return (
        Column("name", "Contribution"),
        Column("kind", "Type"),
        Column("distribution", "Distribution"),
        Column("value", f"Moves, {unit}", digits, right=True),
        Column("divisor", "Divisor", lambda value: wording.number(value, 2), right=True),
        Column("share", f"u, {unit}", digits, right=True),
        Column("source", "From", least=14),
    )


def show_budget(accounted: Accounted, console: Console, *, as_json: bool) -> None:
    """The reading with its U, then every line."""
    reading, budget = accounted.reading, accounted.budget
    lines = [_line(line) for line in budget.contributions]
    if as_json:
        facts = {
            "name": reading.name,
            "title": reading.title,
            "value": reading.value,
            "unit": reading.unit,
            "at_hz": reading.at_hz,
            "combined": budget.combined,
            "k": budget.k,
            "u": budget.stated,
            "lines": lines,
        }
        print_json(facts, console)
        return
    value = wording.printed(reading)
    say(console, f"{reading.title}: {value}", "bold")
    show(lines, _columns(reading.unit), console, as_json=False)
    u, k = f"{_digits(budget.combined, reading.unit)} {reading.unit}", f"k = {wording.number(budget.k, 2)}"
    say(console, f"Combined standard uncertainty {u}, expanded U = {wording.uncertainty(reading)} ({k})")


def _line(line: Contribution) -> dict[str, Any]:
    return {
        "name": line.name,
        "kind": line.kind.value,
        "distribution": line.distribution.value,
        "value": line.value,
        "divisor": line.value / line.standard if line.standard else 1.0,
        "sensitivity": line.sensitivity,
        "share": line.share,
        "degrees_of_freedom": None if math.isinf(line.degrees_of_freedom) else line.degrees_of_freedom,
        "source": line.source,
    }
