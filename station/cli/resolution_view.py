"""The way out of an undecided verdict on a terminal, and as JSON: what to measure better, and who decided what."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Any

from rich.console import Console

from reports import wording
from reports.resolution import Resolution
from station.cli.tables import Column, say, show

if TYPE_CHECKING:
    from reports.verifying import TextVerification
    from station.resolving import OpenPoint, WayOut

OPEN_POINTS = (
    Column("title", "Undecided", least=12),
    Column("reading", "Reading", right=True, least=9),
    Column("u", "U", right=True, least=6),
    Column("limit", "Limit", least=14),
    Column("advice", "To decide it", least=16),
)


def show_way_out(serial: str, run_number: int, points: Sequence[OpenPoint], console: Console) -> None:
    """What is undecided and what would decide it; and, where that cannot be had, who may."""
    rows = [
        _row(list(group))
        for _, group in groupby(points, key=lambda point: (point.decision.reading.name, point.advice))
    ]
    say(console, f"Undecided in run {run_number} of {serial}", "bold")
    show(rows, OPEN_POINTS, console, as_json=False)
    for reason in dict.fromkeys(point.why_no_u for point in points if point.why_no_u):
        say(console, f"No U: {reason}.", wrap=True)
    say(console, "If it cannot be measured better, a person decides and signs for it:")
    say(console, f'  station resolve {serial} --run {run_number} release|reject --by NAME --why "..."')


def _row(points: Sequence[OpenPoint]) -> dict[str, Any]:
    """Several limits of one reading together, where the same would decide them."""
    first = points[0].decision
    limits = (f"{point.decision.level.value} {point.decision.limit_text}" for point in points)
    return {
        "title": first.reading.title,
        "reading": wording.judged(first) or "none",
        "u": wording.uncertainty(first.reading) or "none",
        "limit": ", ".join(limits),
        "advice": points[0].advice,
    }


def show_resolutions(resolutions: Sequence[tuple[Resolution, TextVerification]], console: Console) -> None:
    """Each decision of a person about a run, and what its signature is worth; the one that counts in bold."""
    for resolution, found in resolutions:
        again = "" if resolution.corrects is None else f", correcting decision {resolution.corrects}"
        style = "bold" if resolution is resolutions[-1][0] else ""
        say(
            console,
            f"Decision {resolution.number}: {resolution.sentence}{again}: {resolution.reason}",
            style,
            wrap=True,
        )
        say(console, f"  {signature_words(found)}", "" if found.intact and found.trusted else "bold red")


def signature_words(found: TextVerification) -> str:
    """What a signature is worth, in a sentence."""
    if not found.intact:
        return "Altered: this is not what was signed."
    who = f"{found.signer}, key {wording.digest(found.fingerprint)}"
    return f"Signed by {who}." if found.trusted else f"Signed by somebody unknown here: {who}."


def way_out_facts(way_out: WayOut) -> dict[str, Any]:
    """What is undecided in a run and what persons made of it, for a program."""
    resolutions = [resolution_facts(*each) for each in way_out.resolutions]
    return {
        "undecided": [point_facts(point) for point in way_out.points],
        "resolutions": resolutions,
        "resolution": resolutions[-1]["ruling"] if resolutions else None,
    }


def resolution_facts(resolution: Resolution, found: TextVerification) -> dict[str, Any]:
    """One decision of a person for a program."""
    return {
        "number": resolution.number,
        "ruling": resolution.ruling.value,
        "by": resolution.person,
        "made": resolution.made,
        "why": resolution.why,
        "corrects": resolution.corrects,
        "fingerprint": resolution.fingerprint,
        "intact": found.intact,
        "trusted": found.trusted,
    }


def point_facts(point: OpenPoint) -> dict[str, Any]:
    """One undecided reading for a program, in dB and Hz."""
    reading = point.decision.reading
    return {
        "name": reading.name,
        "title": reading.title,
        "value": reading.value,
        "unit": reading.unit,
        "u": reading.u,
        "level": point.decision.level.value,
        "limit": point.decision.limit_text,
        "rule": point.decision.rule,
        "enough_u": point.enough_u,
        "advice": point.advice,
        "why_no_u": point.why_no_u,
    }
