"""When a characteristic shifted, on a terminal and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from limits.reading import Reading
from reports import wording
from station.cli.asking import out
from station.cli.tables import Column, print_json, say, show

if TYPE_CHECKING:
    from reports.trends.shifts import Shift

USUAL = 0.05
"""Above this share chance does as much too often to speak of a shift."""

CHANGES = (
    Column("when", "When", whole=True),
    Column("serial", "From unit"),
    Column("key", "What"),
    Column("old", "Was"),
    Column("new", "Became"),
    Column("lasts", "For good", lambda lasts: "yes" if lasts else "no"),
)


def show_shift(folder: Path, model: str, name: str, last: int | None, *, as_json: bool) -> None:
    """Show the most likely shift, how likely chance makes one, and what else changed then."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        found = desk.shift(model, name, last)
    if as_json:
        print_json(_facts(found), out())
        return
    console = out()
    if found.step is None:
        say(console, f"{name}: {found.note}.", wrap=True)
    else:
        _tell(found)
    if found.bounds or found.holes:
        left_out = f"Left out: {found.bounds} that only say 'at least', {found.holes} without a value."
        say(console, left_out, wrap=True)


def _tell(found: Shift) -> None:
    console, step = out(), found.step
    assert step is not None
    table = found.readings
    before, after = (
        wording.printed(Reading("", "", str(table["unit"].iloc[-1]), value, u=abs(step.size)))
        for value in (step.before, step.after)
    )
    said = "A shift" if step.p <= USUAL else "No shift that chance would not make as well; the most likely"
    say(console, f"{table['title'].iloc[-1]}", "bold")
    say(
        console,
        f"{said}: from {before} to {after} at {table['serial'].iloc[step.at]}, {_when(found, step.at)} "
        f"(p = {step.p:.3f} of {len(table)} units in any order). It may as well lie "
        f"from {_when(found, step.between[0])} to {_when(found, step.between[1])}.",
        wrap=True,
    )
    if not found.changes:
        say(
            console,
            "Neither recipe, calibration, operator, station nor order changed in that time.",
            wrap=True,
        )
        return
    say(console, "What changed in that time:")
    show(_changes(found), CHANGES, console, as_json=False)


def _when(found: Shift, row: int) -> str:
    return wording.moment(found.readings["started"].iloc[row])


def _changes(found: Shift) -> list[dict[str, Any]]:
    return [
        {
            **asdict(change),
            "when": _when(found, change.at),
            "serial": found.readings["serial"].iloc[change.at],
        }
        for change in found.changes
    ]


def _facts(found: Shift) -> dict[str, Any]:
    return {
        "used": len(found.readings),
        "bounds": found.bounds,
        "holes": found.holes,
        "note": found.note,
        "step": None
        if found.step is None
        else {
            **asdict(found.step),
            "size": found.step.size,
            "unit": found.readings["unit"].iloc[-1],
            "serial": found.readings["serial"].iloc[found.step.at],
            "started": found.readings["started"].iloc[found.step.at],
        },
        "changes": _changes(found),
    }
