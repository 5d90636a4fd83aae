"""Every report by name: the table of contents of this room."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from limits.verdict import Outcome
from reports.certificate import certificate
from reports.failure_sheet import failure_sheet
from reports.record import UnitRecord


@dataclass(frozen=True, slots=True)
class Report:
    """One thing that can be printed of a unit."""

    name: str
    title: str
    outcomes: tuple[Outcome, ...]
    """The verdicts it is made for; for any other it refuses."""

    signed: bool
    """Whether it leaves the works only with a signature."""

    make: Callable[[UnitRecord, datetime], bytes]
    """From a record and the moment of issue to PDF bytes."""


REPORTS: tuple[Report, ...] = (
    Report("certificate", "Test certificate", (Outcome.PASS,), True, certificate),
    Report("failure sheet", "Failure sheet", (Outcome.FAIL, Outcome.UNDECIDED), False, failure_sheet),
)


def report_for(outcome: Outcome) -> Report:
    """The report that belongs to a verdict."""
    return next(report for report in REPORTS if outcome in report.outcomes)
