"""A unit's history on a terminal, and as JSON."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from rich.console import Console

from limits.verdict import Decision, Level, Verdict
from reports import wording
from station.cli import dispose_acts
from station.cli.resolution_view import show_resolutions, show_way_out, way_out_facts
from station.cli.tables import Column, print_json, say, show, verdict_style

if TYPE_CHECKING:
    from station.costs import Cost
    from station.database.entries import RunLine, StoredRun
    from station.desk import History
    from station.resolving import WayOut


def show_history(
    history: History, stored: StoredRun | None, way_out: WayOut | None, console: Console, *, as_json: bool
) -> None:
    """Every run of the unit, then what one of them says, and what a person made of it."""
    if as_json:
        facts = run_facts(stored, way_out) if stored and way_out else None
        print_json(_history_facts(history, facts), console)
        return
    order = history.unit.order
    say(console, f"{history.unit.serial}  {order.model} for {order.customer}, order {order.number}", "bold")
    say(console, f"TX {wording.frequency(order.tx_hz)}, RX {wording.frequency(order.rx_hz)}")
    if not history.runs:
        say(console, f"Not tested yet. Next: station test {history.unit.serial}")
        return
    documents = {entry.run_id: entry.kind.value for entry in history.certificates}
    show(
        [{**_run_row(line), "document": documents.get(line.run_id)} for line in history.runs],
        RUNS,
        console,
        as_json=False,
    )
    for line in history.runs:
        if line.because:
            say(console, f"Run {line.run_number} was made because {line.because.sentence}", wrap=True)
    dispose_acts.show(history.dispositions, console)
    if stored is not None and way_out is not None:
        _show_run(stored, console)
        show_resolutions(way_out.resolutions, console)
        if way_out.points and not way_out.resolutions:
            show_way_out(stored.head.serial, stored.run_number, way_out.points, console)


def run_facts(stored: StoredRun, way_out: WayOut) -> dict[str, Any]:
    """One run for a program: every decision with its reading and what that cost, in dB, Hz and seconds."""
    from station.costs import costs_of

    costs = costs_of(stored)
    return {
        "serial": stored.head.serial,
        "run": stored.run_number,
        "state": stored.state.value,
        "why": stored.why,
        "verdict": stored.verdict.outcome.value if stored.verdict else None,
        "meets_specification": stored.verdict.meets_specification if stored.verdict else None,
        "started": stored.head.started,
        "finished": stored.finished,
        "operator": stored.head.operator,
        "temperature_c": stored.head.temperature_c,
        "temperature_end_c": stored.temperature_end_c,
        "settled_since": stored.head.settled_since,
        "retest": asdict(stored.head.because) if stored.head.because else None,
        "sweep_s": sum(sweep.took_s for sweep in stored.sweeps),
        "doubted": [
            {"hookup": each.sweep.hookup.name, "started": each.sweep.started, "doubt": each.doubt}
            for each in stored.doubted
        ],
        "decisions": [
            _decision_facts(decision, costs.get(decision.reading.name))
            for decision in (stored.verdict.decisions if stored.verdict else ())
        ],
        **way_out_facts(way_out),
    }


RUNS = (
    Column("run", "Run", right=True),
    Column("started", "Started", wording.moment),
    Column("operator", "Operator"),
    Column("verdict", "Verdict", style=verdict_style),
    Column("because", "Because", least=24),
    Column("document", "Filed"),
)
CHARACTERISTICS = (
    Column("name", "Characteristic", whole=True),
    Column("reading", "Reading", right=True, whole=True),
    Column("u", "U", right=True, whole=True),
    Column("specification", "Specified"),
    Column("works", "Works"),
    Column("verdict", "Verdict", style=verdict_style, whole=True),
)


def _run_row(line: RunLine) -> dict[str, Any]:
    return {
        "run": line.run_number,
        "started": line.started,
        "operator": line.operator,
        "verdict": line.outcome.value if line.outcome else line.state.value,
        "because": line.resolution.sentence if line.resolution else line.why or _first_of(line.failed),
        "resolution": line.resolution.ruling.value if line.resolution else None,
        "retest": asdict(line.because) if line.because else None,
    }


def _first_of(titles: tuple[str, ...]) -> str:
    more = f"; and {len(titles) - 1} more" if len(titles) > 1 else ""
    return f"{titles[0]}{more}" if titles else ""


def _show_run(stored: StoredRun, console: Console) -> None:
    if stored.verdict is None:
        say(
            console,
            f"Run {stored.run_number} has no verdict ({stored.state}): {stored.why}".removesuffix(": "),
        )
        kept = len(stored.sweeps) + len(stored.doubted)
        say(console, f"{wording.count(kept, 'sweep is', 'sweeps are')} kept.")
        return
    say(console, f"Readings of run {stored.run_number}", "bold")
    by_name: dict[str, list[Decision]] = {}
    for decision in stored.verdict.decisions:
        by_name.setdefault(decision.reading.name, []).append(decision)
    show(
        [_characteristic_row(decisions) for decisions in by_name.values()],
        CHARACTERISTICS,
        console,
        as_json=False,
    )
    for reading in dict.fromkeys(decision.reading for decision in stored.verdict.decisions):
        if reading.value is None:
            say(console, f"{reading.name}: {reading.note}", wrap=True)
    if stored.verdict.failed() and stored.verdict.meets_specification:
        say(console, "Within the customer's specification, outside the works limit.", "yellow")
    if stored.head.temperature_c is not None:
        temperatures = wording.temperatures(stored.head.temperature_c, stored.temperature_end_c)
        say(console, f"Temperature of the unit: {temperatures}")
    if stored.head.settled_since is not None:
        say(console, f"At the bench since {wording.moment(stored.head.settled_since)}")
    say(console, _cost_line(stored), wrap=True)
    for each in stored.doubted:
        say(console, f"Swept again, because of {each.doubt}", "yellow")


def _cost_line(stored: StoredRun) -> str:
    """What a run cost, and which of its readings were worth a second sweep."""
    from station.costs import costs_of

    total = f"Swept for {sum(sweep.took_s for sweep in stored.sweeps):.2f} s"
    costs = costs_of(stored)
    again = [
        reading.name for reading in stored.readings if reading.name in costs and costs[reading.name].again
    ]
    if not again:
        return f"{total}."
    return f"{total}; again with more care: {', '.join(again)}."


def _characteristic_row(decisions: list[Decision]) -> dict[str, Any]:
    """One characteristic with its limits side by side, and the worst of their verdicts."""
    closest = min(
        decisions, key=lambda decision: float("-inf") if decision.margin is None else decision.margin
    )
    limits = {decision.level: _short(decision.limit_text) for decision in decisions}
    return {
        "name": closest.reading.name,
        "reading": wording.judged(closest) or "none",
        "u": wording.uncertainty(closest.reading),
        "specification": limits.get(Level.SPECIFICATION),
        "works": limits.get(Level.WORKS),
        "verdict": Verdict(tuple(decisions)).outcome.value,
    }


def _short(limit_text: str) -> str:
    """A limit in as few characters as a terminal has for it."""
    for words, sign in (("at most", "≤"), ("at least", "≥"), ("between ", ""), (" and ", " to ")):
        limit_text = limit_text.replace(words, sign)
    return limit_text


def _history_facts(history: History, facts: dict[str, Any] | None) -> dict[str, Any]:
    order = history.unit.order
    return {
        "serial": history.unit.serial,
        "order": order.number,
        "customer": order.customer,
        "model": order.model,
        "tx_hz": order.tx_hz,
        "rx_hz": order.rx_hz,
        "runs": [{**_run_row(line), "finished": line.finished} for line in history.runs],
        "documents": [
            {"number": entry.number, "kind": entry.kind.value, "issued": entry.issued, "file": entry.file}
            for entry in history.certificates
        ],
        "dispositions": [dispose_acts.facts(each) for each in history.dispositions],
        "readings_of": facts,
    }


def _decision_facts(decision: Decision, cost: Cost | None) -> dict[str, Any]:
    reading = decision.reading
    return {
        "name": reading.name,
        "title": reading.title,
        "value": reading.value,
        "unit": reading.unit,
        "at_hz": reading.at_hz,
        "u": reading.u,
        "note": reading.note,
        "level": decision.level.value,
        "limit": decision.limit_text,
        "rule": decision.rule,
        "margin": decision.margin,
        "verdict": decision.outcome.value,
        "sweep_s": cost and cost.sweep_s,
        "bandwidth_hz": cost and cost.settings.bandwidth_hz,
        "averages": cost and cost.settings.averages,
        "swept_again": cost and cost.again,
    }
