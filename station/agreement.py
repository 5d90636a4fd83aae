"""A certificate against the works' own records: whether what it says is what they say.

What is compared are numbers and digests and never a certificate drawn anew: a later program draws otherwise, and an
older certificate is none the worse for it.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from limits.verdict import Level
from reports import wording
from station.database.entries import CertificateEntry, StoredRun
from station.database.store import Store

if TYPE_CHECKING:
    from reports.verification import Verification


def compared(found: Verification, pdf: bytes, store: Store) -> Verification:
    """What a check found of an unchanged file, with what the records say of it.

    Raises StoreFault or UserMistake where the records cannot be read.
    """
    if not (found.intact and found.covers_whole_file):
        return found
    said = _said(pdf) if found.twin else {}
    digest = hashlib.sha256(pdf).hexdigest()
    entry = store.certificate_known_by(digest, said.get("number", ""))
    if entry is None:
        return replace(found, records_note="The works' records at hand know nothing of it.")
    if other := next(_differences(entry, digest, said, store), ""):
        return replace(found, contradiction=found.contradiction or other)
    when = wording.day(entry.issued)
    return replace(
        found, records_note=f"The works' records say the same: {entry.kind} {entry.number}, issued on {when}."
    )


def _said(pdf: bytes) -> Mapping[str, Any]:
    from reports.attached import twin_in

    return twin_in(pdf).said


def _differences(
    entry: CertificateEntry, digest: str, said: Mapping[str, Any], store: Store
) -> Iterator[str]:
    """What speaks against it, the gravest first."""
    if entry.sha256 != digest:
        day = wording.day(entry.issued)
        yield f"the works' records have another file as {entry.kind} {entry.number}, issued on {day}"
    run = store.run(entry.run_id)
    names = {"certificate": entry.number, "run": f"{run.head.serial} run {run.run_number}"}
    for kind, key in names.items():
        lines = [line for line in store.ledger.lines(key) if line.entry.kind == kind]
        if not all(store.ledger.as_entered(line) for line in lines):
            yield f"in the works' records {kind} {key} is not as it was entered; `station ledger` tells more"
    if said:
        yield from _in_the_run(said, run)


def _in_the_run(said: Mapping[str, Any], run: StoredRun) -> Iterator[str]:
    """Where the certificate's data and the stored run differ."""
    order, table = run.order, run.head.limits
    both = {
        "serial number": (said["unit"]["serial"], run.head.serial),
        "run": (said["run"]["number"], run.run_number),
        "order": (said["order"]["number"], order.number),
        "customer": (said["order"]["customer"], order.customer),
        "TX channel": (said["order"]["tx_hz"], order.tx_hz),
        "RX channel": (said["order"]["rx_hz"], order.rx_hz),
        "specification": (said["specification"]["sha256"], table.digest),
    }
    for what, (here, there) in both.items():
        if here != there:
            yield f"the works' records have {there} as its {what} where it says {here}"
    if (release := said["release"]) is not None:
        decided = {each.number: (each.person, each.reason) for each in run.resolutions}
        if decided.get(release["number"]) != (release["person"], release["reason"]):
            yield "the works' records have no such release by a person"
    stored = {each.name: (each.value, each.u) for each in run.readings}
    outcomes = {} if run.verdict is None else _outcomes(run)
    for each in said["characteristics"]:
        name, decision = each["name"], each["decision"]
        if stored.get(name) != (each["value"], each["expanded_uncertainty"]):
            yield f"the works' records have another reading of {each['title']}"
        if decision is not None and outcomes.get(name) != (decision["limit"], decision["outcome"]):
            yield f"the works' records have another decision about {each['title']}"


def _outcomes(run: StoredRun) -> dict[str, tuple[str, str]]:
    assert run.verdict is not None
    judged = run.verdict.at(Level.SPECIFICATION)
    return {each.reading.name: (each.limit_text, each.outcome.value) for each in judged}
