"""A unit's history on a terminal, and as JSON."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rich.console import Console

from limits.verdict import Decision, Outcome
from reports import wording
from station.cli.tables import Column, print_json, show, verdict_style

if TYPE_CHECKING:
    from station.database.entries import RunLine, StoredRun
    from station.desk import History


def show_history(history: History, stored: StoredRun | None, console: Console, *, as_json: bool) -> None:
    """Every run of the unit, then what one of them says."""
    if as_json:
        print_json(_history_facts(history, stored), console)
        return
    order = history.unit.order
    console.print(
        f"[b]{history.unit.serial}[/b]  {order.model} for {order.customer}, order {order.number}\n"
        f"TX {wording.frequency(order.tx_hz)}, RX {wording.frequency(order.rx_hz)}",
        highlight=False,
    )
    if not history.runs:
        console.print(f"Not tested yet. Next: station test {history.unit.serial}", highlight=False)
        return
    documents = {entry.run_id: entry.file for entry in history.certificates}
    show(
        [{**_run_row(line), "document": documents.get(line.run_id)} for line in history.runs],
        RUNS,
        console,
        as_json=False,
    )
    if stored is not None:
        _show_run(stored, console)


def run_facts(stored: StoredRun) -> dict[str, Any]:
    """One run for a program: every decision with its reading, in dB and Hz."""
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
        "decisions": [
            _decision_facts(decision) for decision in (stored.verdict.decisions if stored.verdict else ())
        ],
    }


RUNS = (
    Column("run", "Run", right=True),
    Column("started", "Started", wording.moment),
    Column("operator", "Operator"),
    Column("verdict", "Verdict", style=verdict_style),
    Column("because", "Because"),
    Column("document", "Document"),
)
DECISIONS = (
    Column("title", "Characteristic"),
    Column("reading", "Reading", right=True),
    Column("at", "At, MHz", right=True),
    Column("level", "Against"),
    Column("limit", "Limit"),
    Column("margin", "Margin", right=True),
    Column("verdict", "Verdict", style=verdict_style),
)


def _run_row(line: RunLine) -> dict[str, Any]:
    return {
        "run": line.run_number,
        "started": line.started,
        "operator": line.operator,
        "verdict": line.outcome.value if line.outcome else line.state.value,
        "because": line.why or "; ".join(line.failed),
    }


def _show_run(stored: StoredRun, console: Console) -> None:
    if stored.verdict is None:
        return
    console.print(f"Readings of run {stored.run_number}", style="bold", highlight=False)
    rows = [
        {
            "title": decision.reading.title,
            "reading": wording.judged(decision) or decision.reading.note,
            "at": wording.megahertz(decision.reading.at_hz) if decision.reading.at_hz else None,
            "level": decision.level.value,
            "limit": decision.limit_text,
            "margin": wording.margin(decision),
            "verdict": decision.outcome.value,
        }
        for decision in stored.verdict.decisions
    ]
    show(rows, DECISIONS, console, as_json=False)
    open_points = [decision for decision in stored.verdict.decisions if decision.outcome is not Outcome.PASS]
    if open_points and stored.verdict.meets_specification:
        console.print("Within the customer's specification, outside the works limit.", style="yellow")


def _history_facts(history: History, stored: StoredRun | None) -> dict[str, Any]:
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
        "readings_of": run_facts(stored) if stored else None,
    }


def _decision_facts(decision: Decision) -> dict[str, Any]:
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
    }
