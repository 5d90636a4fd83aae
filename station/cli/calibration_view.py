"""A calibration on a terminal, and as JSON: what is asked, and what came of it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from reports import wording
from station.cli.tables import Column, print_json, say, show
from station.database.entries import CalibrationHead
from station.measurements.standards import Findings
from station.sequencer.events import (
    CalibrationMade,
    CalibrationStarted,
    Event,
    StandardAsked,
    StandardDoubted,
    StandardSwept,
)

if TYPE_CHECKING:
    from station.calibration_history import PastCalibration


class CalibrationTeller:
    """Prints the events of a calibration."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._to_do = 0
        self._done = 0

    def __call__(self, event: Event) -> None:
        """One event in a line, or none."""
        match event:
            case CalibrationStarted(steps):
                self._to_do = len(steps)
                say(self._console, f"Calibration in {self._to_do} steps.")
            case StandardSwept(step, sweep):
                self._done += 1
                place = f"{min(self._done, self._to_do)} of {self._to_do}"
                say(
                    self._console,
                    f"  {place}, {step}: {len(sweep.freq_hz)} points swept in {sweep.took_s:.2f} s.",
                )
            case StandardDoubted(doubt, again):
                self._done -= len(doubt.steps)
                if doubt.steps:
                    say(
                        self._console,
                        f"  Not believed ({wording.count(again + 1, 'time', 'times')}).",
                        "yellow",
                    )
            case StandardAsked() | CalibrationMade() | _:
                pass


RESIDUALS = (
    Column("what", "Residual"),
    Column("port", "Port", right=True),
    Column("value_db", "dB", lambda value: f"{value:.1f}", right=True),
    Column("turn_deg", "Turned, deg", lambda value: f"{value:.1f}", right=True),
    Column("at_hz", "worst at, MHz", wording.megahertz, right=True),
)
NOISE = (
    Column("bandwidth_hz", "Bandwidth, Hz", lambda value: f"{value:g}", right=True),
    Column("floor_dbm", "Noise floor, dBm", lambda value: f"{value:.1f}", right=True),
    Column("leakage_db", "Leakage, dB down", lambda value: f"{value:.1f}", right=True),
    Column("trace_db", "Trace noise, dB", lambda value: f"{value:.4f}", right=True),
)


def show_calibration(head: CalibrationHead, findings: Findings, console: Console, *, as_json: bool) -> None:
    """What came of a calibration."""
    if as_json:
        print_json(_facts(head, findings), console)
        return
    say(console, "\nAccepted and kept.", "green")
    show(_rows(findings.residuals, RESIDUALS), RESIDUALS, console, as_json=False)
    show(_rows(findings.noise, NOISE), NOISE, console, as_json=False)


PAST = (
    Column("made", "Made", wording.moment, least=20),
    Column("operator", "By"),
    Column("kit", "Kit"),
    Column("cables", "Cables"),
    Column("until", "Holds until", wording.moment, least=20),
    Column("standing", "In force", style=lambda value: "green" if value == "yes" else "", least=12),
)


def show_calibrations(folder: Path, latest: int, *, as_json: bool) -> None:
    """The calibrations of this station, the newest first, and which one is in force."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        found = desk.calibrations(latest)
    console = Console()
    rows = [_past_facts(each) for each in found]
    if as_json:
        print_json(rows, console)
    elif not rows:
        say(console, "This station has made no calibration yet. Next: station calibrate")
    else:
        told = [{**row, "standing": "; ".join(row["why_not"]) or "yes"} for row in rows]
        show(told, PAST, console, as_json=False)


def _past_facts(each: PastCalibration) -> dict[str, Any]:
    head = each.head
    return {
        "made": head.made,
        "operator": head.operator,
        "analyzer": head.analyzer,
        "temperature_c": head.temperature_c,
        "kit": head.kit.name,
        "kit_digest": head.kit.digest,
        "cables": head.cables,
        "valid_for_s": head.valid_for_s,
        "until": each.until,
        "in_force": each.in_force,
        "why_not": list(each.why_not),
    }


def _rows(values: Sequence[object], columns: tuple[Column, ...]) -> list[dict[str, Any]]:
    return [{column.key: getattr(value, column.key) for column in columns} for value in values]


def _facts(head: CalibrationHead, findings: Findings) -> dict[str, Any]:
    terms = next(iter(findings.terms.values()))
    return {
        "station": head.station,
        "operator": head.operator,
        "made": head.made,
        "valid_for_s": head.valid_for_s,
        "analyzer": head.analyzer,
        "temperature_c": head.temperature_c,
        "kit": head.kit.name,
        "kit_digest": head.kit.digest,
        "cables": head.cables,
        "low_hz": float(terms.freq_hz[0]),
        "high_hz": float(terms.freq_hz[-1]),
        "points": len(terms.freq_hz),
        "residuals": _rows(findings.residuals, RESIDUALS),
        "noise": _rows(findings.noise, NOISE),
    }
