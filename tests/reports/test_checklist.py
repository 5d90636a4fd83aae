"""What ISO/IEC 17025:2017, clause 7.8, asks of a report, row by row, and where the certificate says it.

The rows are those of a manufacturer's final test (list read on pages that quote the standard, in words of our own);
rows without a place are those that cannot apply, each with the reason.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest

from limits.verdict import Outcome, Verdict
from reports.certificate import certificate
from reports.record import CheckNote, Instrument, UnitRecord

PLACES: dict[str, tuple[str, ...]] = {
    "7.8.2.1 a, title": ("Test certificate",),
    "7.8.2.1 b, name and address of who tested": ("Skerry Works", "Quay Road 4 · Northhaven"),
    "7.8.2.1 c, where it was done": ("Tested at Skerry Works, final test 1",),
    "7.8.2.1 d, unique number on every page, and a clear end": (
        "Certificate SKV-0107-1 · Serial SKV-0107",
        "End of certificate",
    ),
    "7.8.2.1 e, customer": ("Customer Coastal Rescue Relay Service", "Order W-2026-031"),
    "7.8.2.1 f, method": ("Procedure SK-V4 final test, revision A; SHA-256 begins",),
    "7.8.2.1 g, item and its condition": (
        "Serial number SKV-0107",
        "SK-V4, cavity duplexer",
        "finished and tuned, as it was when it was tested",
    ),
    "7.8.2.1 i, dates of the test": ("Tested 25 November 2026, 14:05 to 14:09 UTC",),
    "7.8.2.1 j, date of issue": ("Issued 25 November 2026, 15:20 UTC",),
    "7.8.2.1 l, these items only": ("The results relate only to the unit named here",),
    "7.8.2.1 m, results with units": ("TX to ANT insertion loss at the TX frequency", "1.31 dB"),
    "7.8.2.1 n, additions, deviations, exclusions": ("nothing was added, changed or left out",),
    "7.8.2.1 o, who authorised it": ("issued by Skerry Works as a digitally signed PDF",),
    "7.8.4.1 a, uncertainty": ("U is the expanded uncertainty for a coverage of about 95 %", "0.05 dB"),
    "7.8.4.1 c, traceability": (
        "Calibrated: 2026-09-14, Holm Calibration 2026-104",
        "SKC-001, known from Holm Calibration 2026-117; measured 25 November 2026, 14:00 UTC: in control",
    ),
    "7.8.6.2 a, results a statement of conformity is about": ("in all 12 characteristics listed",),
    "7.8.6.2 b, specification met": ("meets specification SK-V4, revision C",),
    "7.8.6.2 c, decision rule": (
        "Decision rule: simple acceptance. A reading on or inside its limit passes",
    ),
}

CANNOT_APPLY = {
    "7.8.2.1 h, date of receipt": "the works made the item itself",
    "7.8.2.1 k, sampling": "every unit is tested",
    "7.8.2.1 p, results of others": "there are none",
}


@pytest.fixture
def text(passing: UnitRecord, issued: datetime, text_of: Callable[..., str]) -> str:
    decisions = tuple(replace(d, reading=replace(d.reading, u=0.043)) for d in passing.verdict.decisions)
    calibrated = Instrument("analyzer", "ANALYZER,1", "2026-09-14, Holm Calibration 2026-104")
    record = replace(
        passing,
        verdict=Verdict(decisions),
        instruments=(calibrated,),
        check=CheckNote(
            "SKC-001", "Holm Calibration 2026-117", issued.replace(hour=14, minute=0), Outcome.PASS, 18
        ),
    )
    return re.sub(r"\s", "", text_of(certificate(record, issued), "-raw"))


@pytest.mark.parametrize("clause", PLACES)
def test_the_certificate_says_what_the_clause_asks_for(clause: str, text: str) -> None:
    for wanted in PLACES[clause]:
        assert re.sub(r"\s", "", wanted) in text


def test_every_page_carries_the_number(
    passing: UnitRecord, issued: datetime, text_of: Callable[..., str]
) -> None:
    pages = text_of(certificate(passing, issued)).split("\f")[:-1]
    for number, page in enumerate(pages, start=1):
        assert "Certificate SKV-0107-1" in page
        assert f"Page {number} of {len(pages)}" in page


def test_every_row_of_the_clause_is_accounted_for() -> None:
    letters = {name[8] for name in (*PLACES, *CANNOT_APPLY) if name.startswith("7.8.2.1 ")}
    assert letters == set("abcdefghijklmnop")
