"""What the papers say of a unit that the readings could not decide and a person did."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest

from limits.verdict import Decision, Level, Outcome, Verdict
from reports.catalog import report_for
from reports.certificate import certificate
from reports.errors import NotCertifiable, NothingFailed
from reports.failure_sheet import failure_sheet
from reports.record import UnitRecord
from reports.resolution import Resolution, Ruling

MakeRecord = Callable[..., UnitRecord]
GUARDED = "guarded acceptance with w = U"


def opened(decision: Decision) -> Decision:
    reading = replace(decision.reading, u=0.043, note="nearer to its limit than the guard band w = U")
    return replace(decision, reading=reading, rule=GUARDED, outcome=Outcome.UNDECIDED)


def left_open(record: UnitRecord, *levels: Level) -> UnitRecord:
    """The same with its TX loss undecided at these levels."""
    return replace(
        record,
        verdict=Verdict(
            tuple(
                opened(decision)
                if decision.reading.name == "tx_loss" and decision.level in levels
                else decision
                for decision in record.verdict.decisions
            )
        ),
    )


@pytest.fixture
def decide(issued: datetime) -> Callable[[UnitRecord, Ruling], UnitRecord]:
    def by_hand(record: UnitRecord, ruling: Ruling) -> UnitRecord:
        resolution = Resolution(
            1,
            ruling,
            "Astrid Holm",
            issued,
            "The customer accepts 1.57 dB by letter",
            None,
            "",
            b"",
            "ab" * 32,
        )
        return replace(record, resolution=resolution)

    return by_hand


@pytest.fixture
def released(make_record: MakeRecord, decide: Callable[..., UnitRecord]) -> UnitRecord:
    return decide(left_open(make_record({"tx_loss": 1.57}), *Level), Ruling.RELEASE)


def flowing(text: str) -> str:
    return " ".join(text.split())


def test_a_released_unit_gets_a_certificate_that_says_who_released_it_when_and_why(
    released: UnitRecord, issued: datetime, text_of: Callable[..., str]
) -> None:
    text = flowing(text_of(certificate(released, issued)))
    assert "No. SKV-0107-1-R1" in text
    assert "Released by a person's decision" in text
    assert "in 11 of 12 characteristics listed; 1 could not be decided" in text
    assert "Astrid Holm released the unit on 25 November 2026, 15:20 UTC" in text
    assert "Reason: The customer accepts 1.57 dB by letter." in text
    assert "signed by the works with the key abab abab abab abab" in text
    assert "Passed" not in text


def test_it_shows_the_undecided_reading_with_its_u_and_limit(
    released: UnitRecord, issued: datetime, text_of: Callable[..., str]
) -> None:
    text = text_of(certificate(released, issued))
    account = text[text.index("What was undecided") : text.index("Results")]
    assert re.search(
        r"TX to ANT insertion loss at the TX frequency +156\.8000 +1\.57 dB +0\.05 dB +at most 1\.6 dB",
        account,
    )
    results = text[text.index("Results") : text.index("Sweeps")]
    assert results.count("undecided") == 1


def test_a_works_limit_left_undecided_is_named_without_its_number(
    make_record: MakeRecord, decide: Callable[..., UnitRecord], issued: datetime, text_of: Callable[..., str]
) -> None:
    record = decide(left_open(make_record({"tx_loss": 1.47}), Level.WORKS), Ruling.RELEASE)
    text = flowing(text_of(certificate(record, issued)))
    assert (
        "in all 12 characteristics listed; against a tighter limit of the works it could not be decided"
        in text
    )
    assert "tighter limit of the works" in text
    assert "at most 1.5 dB" not in text


def test_a_rejected_unit_gets_a_failure_sheet_with_the_reason_and_no_certificate(
    released: UnitRecord, decide: Callable[..., UnitRecord], issued: datetime, text_of: Callable[..., str]
) -> None:
    rejected = decide(released, Ruling.REJECT)
    text = flowing(text_of(failure_sheet(rejected, issued)))
    assert "Rejected by a person's decision" in text
    assert (
        "The unit was rejected by Astrid Holm on 25 November 2026. Reason: The customer accepts 1.57 dB"
        in text
    )
    with pytest.raises(NotCertifiable, match="the unit was rejected by Astrid Holm"):
        certificate(rejected, issued)


def test_a_released_unit_gets_no_failure_sheet(released: UnitRecord, issued: datetime) -> None:
    with pytest.raises(NothingFailed, match="was released by Astrid Holm on 25 November 2026"):
        failure_sheet(released, issued)


def test_a_decision_chooses_the_report_and_leaves_the_verdict_as_measured(
    released: UnitRecord, decide: Callable[..., UnitRecord]
) -> None:
    rejected = decide(released, Ruling.REJECT)
    assert report_for(released.outcome).name == "certificate"
    assert report_for(rejected.outcome).name == "failure sheet"
    assert {released.verdict.outcome, rejected.verdict.outcome} == {Outcome.UNDECIDED}


@pytest.mark.parametrize("ruling", Ruling)
def test_no_decision_of_a_person_moves_a_verdict_that_is_not_undecided(
    ruling: Ruling, failing: UnitRecord, passing: UnitRecord, decide: Callable[..., UnitRecord]
) -> None:
    assert decide(failing, ruling).outcome is Outcome.FAIL
    assert decide(passing, ruling).outcome is Outcome.PASS
