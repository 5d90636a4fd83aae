"""Every verdict has its report."""

from __future__ import annotations

from datetime import datetime

import pytest

from limits.verdict import Outcome
from reports.catalog import REPORTS, report_for
from reports.record import UnitRecord


def test_each_verdict_belongs_to_exactly_one_report() -> None:
    named = [outcome for report in REPORTS for outcome in report.outcomes]
    assert sorted(named) == sorted(Outcome)


@pytest.mark.parametrize("name", ["passing", "failing", "undecided"])
def test_the_report_of_a_verdict_can_be_made(
    name: str, issued: datetime, request: pytest.FixtureRequest
) -> None:
    record: UnitRecord = request.getfixturevalue(name)
    assert report_for(record.verdict.outcome).make(record, issued).startswith(b"%PDF-")


def test_only_certificates_leave_the_works_signed() -> None:
    assert [report.name for report in REPORTS if report.signed] == ["certificate"]
