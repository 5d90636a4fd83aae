"""The check standard on a terminal: its measurement, its history, and the acceptance of another one."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from limits.check import normalised_error
from limits.control import ControlLimits
from limits.known import KnownValue
from limits.reading import Claim
from limits.verdict import Decision, Level, Outcome, Verdict
from reports import wording
from station.cli.asking import aside, celsius_of, out
from station.cli.exits import Exit
from station.cli.signing_in import at_bench, signed_in
from station.cli.tables import Column, print_json, say, show, there, verdict_style

if TYPE_CHECKING:
    from limits.drift import Slope
    from station.checks import Checks, Trend
    from station.database.entries import CheckedValue, RunLine
    from station.sequencer.events import Event

MOST_BARS = 20
"""Of the latest checks, in a line of bars."""

BARS = "▁▂▃▄▅▆▇█"


def measure(folder: Path, operator: str, temperature: str | None, *, as_json: bool) -> Exit:
    """Measure the standard with a person at the bench."""
    from station.cli.terminal import RunTeller, TerminalOperator
    from station.desk import open_desk
    from station.sequencer.events import ReadingMade, VerdictReached

    temperature_c = celsius_of(temperature)
    console = aside() if as_json else out()
    tell = RunTeller(console)

    def listen(event: Event) -> None:
        # They stand in the table at the end, beside what they are held to.
        if not isinstance(event, ReadingMade | VerdictReached):
            tell(event)

    with open_desk(folder) as desk:
        desk, name = at_bench(desk, operator)
        with desk.bench(TerminalOperator(name, console), listen) as bench:
            try:
                judged = bench.check(temperature_c=temperature_c)
            except KeyboardInterrupt:
                say(aside(), "Stopped by the operator: nothing was judged; what was swept is kept.")
                return Exit.STOPPED
        found = desk.checks()
    if as_json:
        print_json(_check_facts(judged.key.run_number, judged.verdict, found), out())
    else:
        _show_check(judged.verdict, found, console)
    return Exit.PASS if judged.verdict.outcome is Outcome.PASS else Exit.STATION_FAULT


def history(folder: Path, latest: int, *, as_json: bool) -> Exit:
    """So many of the latest checks, what limits apply, and the drift."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        found = desk.checks(latest)
    if as_json:
        print_json(_history_facts(found), out())
    else:
        _show_history(found, out())
    return Exit.PASS


def accept(folder: Path, person: str, why: str, *, as_json: bool) -> Exit:
    """Let the standard's history begin anew."""
    from station.desk import open_desk

    with open_desk(folder) as desk:
        reset = signed_in(desk, person).accept_standard(person, why)
    if as_json:
        print_json(asdict(reset), out())
    else:
        say(
            out(),
            f"Noted: the history of the check standard begins anew on {wording.moment(reset.made)}, by "
            f"{reset.person}: {reset.why}\nNext: station standard{there(folder)}",
        )
    return Exit.PASS


CHECK = (
    Column("name", "Characteristic", whole=True),
    Column("reading", "Reading", right=True, whole=True),
    Column("u", "U", right=True, whole=True),
    Column("known", "Known as", right=True, whole=True),
    Column("e_n", "E_n", lambda value: wording.number(value, 2), right=True),
    Column("own", "Own limits", right=True),
    Column("verdict", "Verdict", style=verdict_style, whole=True),
)


def _show_check(verdict: Verdict, found: Checks, console: Console) -> None:
    show([_check_row(*each) for each in _by_reading(verdict)], CHECK, console, as_json=False)
    for known, _ in _by_reading(verdict):
        if known.reading.value is None:
            say(console, f"{known.reading.name}: {known.reading.note}", wrap=True)
    if not any(decision.level is Level.WORKS for decision in verdict.decisions):
        say(
            console,
            f"Own limits apply from {found.form.limits_from} accepted checks on; until then only the known values.",
        )
    if verdict.outcome is Outcome.PASS:
        say(console, f"{found.form.serial} is in control: units may be tested.", "green")
    for reason in found.reasons:
        say(console, f"No unit may be tested: {reason.what}", "bold red", wrap=True)
        say(console, f"  {reason.way_out}", wrap=True)


def _by_reading(verdict: Verdict) -> list[tuple[Decision, Decision | None]]:
    """Each known value's decision, with that of the own limits where there is one."""
    own = {each.reading.name: each for each in verdict.at(Level.WORKS)}
    return [(each, own.get(each.reading.name)) for each in verdict.at(Level.SPECIFICATION)]


def _check_row(known: Decision, own: Decision | None) -> dict[str, Any]:
    reading = known.reading
    return {
        "name": reading.name,
        "reading": wording.judged(known, [own] if own else []) or "none",
        "u": wording.uncertainty(reading),
        "known": known.limit_text,
        "e_n": normalised_error(reading, KnownValue.parse(known.limit_text)),
        "own": own.limit_text if own else None,
        "verdict": Verdict((known, own) if own else (known,)).outcome.value,
    }


def _check_facts(run_number: int, verdict: Verdict, found: Checks) -> dict[str, Any]:
    return {
        "serial": found.form.serial,
        "check": run_number,
        "in_control": verdict.outcome is Outcome.PASS,
        "readings": [_decision_facts(*each) for each in _by_reading(verdict)],
        "reasons": [asdict(reason) for reason in found.reasons],
    }


def _decision_facts(known: Decision, own: Decision | None) -> dict[str, Any]:
    row, reading = _check_row(known, own), known.reading
    limits = own.lines[0].value if own else (None, None, None)
    return {
        "name": reading.name,
        "title": reading.title,
        "value": reading.value,
        "unit": reading.unit,
        "u": reading.u,
        "claim": reading.claim.value,
        "note": reading.note,
        "known": row["known"],
        "e_n": row["e_n"],
        "low": limits[0],
        "high": limits[2],
        "verdict": row["verdict"],
    }


CHECKS = (
    Column("check", "Check", right=True),
    Column("started", "Started", wording.moment),
    Column("operator", "Operator"),
    Column("verdict", "Found", style=lambda value: "green" if value == "in control" else "bold red"),
    Column("because", "Because", least=12),
)
TRENDS = (
    Column("name", "Characteristic", whole=True),
    Column("latest", "Latest", right=True, whole=True),
    Column("known", "Known as", right=True, whole=True),
    Column("own", "Own limits", right=True),
    Column("drift", "Drift in 30 d", right=True),
    Column("bars", "Latest checks"),
)


def _show_history(found: Checks, console: Console) -> None:
    say(console, f"Check standard {found.form.serial}", "bold")
    if not found.runs:
        say(console, "Not measured here yet. Next: station standard")
        return
    show([_run_row(line) for line in found.runs], CHECKS, console, as_json=False)
    if found.in_all > len(found.runs):
        say(console, f"The latest {len(found.runs)} of {found.in_all}; --latest {found.in_all} shows all.")
    for reset in found.resets:
        say(console, f"{wording.moment(reset.made)}: begun anew by {reset.person}: {reset.why}")
    show([_trend_row(trend) for trend in found.trends], TRENDS, console, as_json=False)
    for reason in found.reasons:
        say(console, f"No unit may be tested: {reason.what}; {reason.way_out}", "bold red", wrap=True)


def _run_row(line: RunLine) -> dict[str, Any]:
    words = {Outcome.PASS: "in control", Outcome.FAIL: "out of control", Outcome.UNDECIDED: "undecided"}
    failed = line.failed
    more = f"; and {len(failed) - 1} more" if len(failed) > 1 else ""
    return {
        "check": line.run_number,
        "started": line.started,
        "operator": line.operator,
        "verdict": words[line.outcome] if line.outcome else line.state.value,
        "because": line.why or (f"{failed[0]}{more}" if failed else ""),
    }


def _trend_row(trend: Trend) -> dict[str, Any]:
    return {
        "name": trend.reading.name,
        "latest": wording.printed(trend.reading),
        "known": trend.known,
        "own": _limits_words(trend.limits),
        "drift": _drift_words(trend.drift),
        "bars": bars([each for each in trend.checked if each.reading.claim is Claim.VALUE]),
    }


def _limits_words(limits: ControlLimits | None) -> str:
    return f"{limits.low:.3f} to {limits.high:.3f} dB" if limits else "not yet"


def _drift_words(drift: Slope | None) -> str:
    if drift is None:
        return ""
    seen = "" if drift.is_seen else " (none seen)"
    return f"{wording.number(drift.value, 3)} ± {wording.number(drift.half, 3)} dB{seen}"


def bars(checked: list[CheckedValue]) -> str:
    """The latest values as bars between the least and the largest of them."""
    values = [each.reading.value for each in checked if each.reading.value is not None][-MOST_BARS:]
    if not values:
        return ""
    low, high = min(values), max(values)
    step = (high - low) / (len(BARS) - 1) or 1.0
    return "".join(BARS[round((value - low) / step)] for value in values)


def _history_facts(found: Checks) -> dict[str, Any]:
    return {
        "serial": found.form.serial,
        "reasons": [asdict(reason) for reason in found.reasons],
        "checks_in_all": found.in_all,
        "resets": [asdict(reset) for reset in found.resets],
        "checks": [{**_run_row(line), "finished": line.finished} for line in found.runs],
        "characteristics": [_trend_facts(trend) for trend in found.trends],
    }


def _trend_facts(trend: Trend) -> dict[str, Any]:
    limits, drift = trend.limits, trend.drift
    return {
        "name": trend.reading.name,
        "title": trend.reading.title,
        "unit": trend.reading.unit,
        "known": trend.known,
        "limits": asdict(limits) if limits else None,
        "drift_per_30_days": drift.value if drift else None,
        "drift_half_interval": drift.half if drift else None,
        "values": [
            {
                "check": each.run_number,
                "started": each.started,
                "in_control": each.outcome is Outcome.PASS,
                "value": each.reading.value,
                "u": each.reading.u,
                "claim": each.reading.claim.value,
                "low": each.own[0] if each.own else None,
                "high": each.own[1] if each.own else None,
            }
            for each in trend.checked
        ],
    }
