"""The machine-readable twin of a certificate: the same record as JSON, for whoever reads with a program.

Its form is `schemas/certificate-1.json` (JSON Schema, draft 2020-12), named by the `form` that every twin carries;
a later form gets a file and a name of its own. Like the certificate it holds the customer's specification and never
a works limit. Written as RFC 8785 has it, so that a record has one twin and that one digest.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import UTC, datetime
from importlib import resources

from limits.reading import Reading
from limits.verdict import Decision, Level
from reports.canonical import Json, canonical
from reports.record import Document, Order, UnitRecord
from reports.resolution import Resolution

FORM = "urn:duplexer-final-test:certificate:1"
SCHEMA = "certificate-1.json"


def schema() -> dict[str, object]:
    """The published JSON Schema of the form written here."""
    text = resources.files("reports").joinpath("schemas", SCHEMA).read_text(encoding="utf-8")
    loaded: dict[str, object] = json.loads(text)
    return loaded


def twin(record: UnitRecord, issued: datetime) -> bytes:
    """The record as JSON, as told by the certificate issued at that moment."""
    return canonical(
        {
            "form": FORM,
            "number": record.number,
            "issued": _moment(issued),
            "works": {
                "name": record.works.name,
                "address": list(record.works.address),
                "station": record.works.station,
            },
            "order": _order(record.order),
            "unit": {"serial": record.serial, "model": record.order.model},
            "run": _run(record),
            "recipe": _document(record.recipe),
            "specification": _document(record.limits),
            "instruments": [{"role": each.role, "identity": each.identity} for each in record.instruments],
            "sweeps": _sweeps(record),
            "verdict": record.verdict.outcome.value,
            "release": _release(record.resolution),
            "characteristics": _characteristics(record.verdict.at(Level.SPECIFICATION), record.information),
            "network": _network(record),
        }
    )


def digest_of(data: bytes) -> str:
    """SHA-256, 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def network_file(record: UnitRecord) -> str:
    """The name of the Touchstone file that goes with the twin."""
    return f"{record.number}.s3p"


def twin_file(record: UnitRecord) -> str:
    """The name of the twin as a file."""
    return f"{record.number}.json"


def _moment(value: datetime) -> str:
    """To the second, in UTC (RFC 3339)."""
    return f"{value.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}"


def _order(order: Order) -> Json:
    return {
        "number": order.number,
        "customer": order.customer,
        "tx_hz": order.tx_hz,
        "rx_hz": order.rx_hz,
        "due": order.due.isoformat(),
    }


def _run(record: UnitRecord) -> Json:
    return {
        "number": record.run_number,
        "started": _moment(record.started),
        "finished": _moment(record.finished),
        "operator": record.operator,
        "temperature_start_c": record.temperature_c,
        "temperature_end_c": record.temperature_end_c,
    }


def _document(document: Document) -> Json:
    return {"name": document.name, "revision": document.revision, "sha256": document.digest}


def _sweeps(record: UnitRecord) -> Json:
    return [
        {
            "hookup": sweep.hookup,
            "points": sweep.points,
            "bandwidth_hz": sweep.bandwidth_hz,
            "averages": sweep.averages,
            "power_dbm": sweep.power_dbm,
        }
        for sweep in record.sweeps
    ]


def _release(resolution: Resolution | None) -> Json:
    if resolution is None:
        return None
    return {
        "number": resolution.number,
        "person": resolution.person,
        "made": _moment(resolution.made),
        "reason": resolution.reason,
    }


def _characteristics(judged: Sequence[Decision], information: Sequence[Reading]) -> Json:
    return [
        *({**_reading(decision.reading), "decision": _decision(decision)} for decision in judged),
        *({**_reading(reading), "decision": None} for reading in information),
    ]


def _reading(reading: Reading) -> dict[str, Json]:
    return {
        "name": reading.name,
        "title": reading.title,
        "unit": reading.unit,
        "value": reading.value,
        "claim": reading.claim.value,
        "expanded_uncertainty": reading.u,
        "found_at_hz": reading.at_hz,
        "span_hz": None if reading.span_hz is None else list(reading.span_hz),
        "note": reading.note,
    }


def _decision(decision: Decision) -> Json:
    return {
        "limit": decision.limit_text,
        "limit_lines": [
            {"freq_hz": list(line.freq_hz), "value": list(line.value)} for line in decision.lines
        ],
        "rule": decision.rule,
        "outcome": decision.outcome.value,
        "margin": decision.margin,
    }


def _network(record: UnitRecord) -> Json:
    if not record.network:
        return None
    return {"file": network_file(record), "sha256": digest_of(record.network.encode())}
