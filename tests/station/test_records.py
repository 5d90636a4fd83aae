"""From a stored run to what the reports may say of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from limits.reading import Reading
from limits.verdict import Decision, Level, Outcome, Verdict
from station.database.entries import DocumentKind, RunHead, RunId, RunState, StoredRun, StoredText
from station.errors import UserMistake
from station.orders import Serial, WorkOrder
from station.records import record_of

BEGUN = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
ADDRESS = ("Quay Road 4", "Northhaven")


def reading(name: str) -> Reading:
    return Reading(name, name.capitalize(), "dB", 1.0)


def decision(name: str, level: Level) -> Decision:
    return Decision(reading(name), level, "at most 2 dB", "simple acceptance", Outcome.PASS, 1.0)


@pytest.fixture
def run() -> StoredRun:
    """Judged: one characteristic against both levels, one by the works only, one not at all."""
    text = StoredText.of(DocumentKind.RECIPE, "SK-V4", "A", b"recipe: SK-V4\n")
    serial = Serial("SKV-0101")
    return StoredRun(
        run_id=RunId(1),
        run_number=2,
        head=RunHead(serial, "M. Tangen", "final test 1", BEGUN, text, text, text, None, ()),
        order=WorkOrder("W-1", "Northern Relay", "SK-V4", 156.6e6, 157.4e6, (serial,), date(2026, 4, 1)),
        state=RunState.JUDGED,
        why="",
        finished=BEGUN,
        readings=(reading("loss"), reading("ripple"), reading("notch")),
        verdict=Verdict(
            (
                decision("loss", Level.SPECIFICATION),
                decision("loss", Level.WORKS),
                decision("ripple", Level.WORKS),
            )
        ),
        sweeps=(),
    )


def test_what_the_customer_was_promised_no_limit_for_is_told_for_information(run: StoredRun) -> None:
    """Also where the works have a limit of their own: the certificate would lose the characteristic otherwise."""
    record = record_of(run, "Skerry Works", ADDRESS)
    assert [known.name for known in record.information] == ["ripple", "notch"]


def test_what_only_the_works_left_undecided_is_told_once_as_it_was_read(run: StoredRun) -> None:
    """The store keeps it twice: as it was read, and with the note of the decision."""
    noted = replace(reading("ripple"), note="nearer to its limit than U")
    record = record_of(replace(run, readings=(*run.readings, noted)), "Skerry Works", ADDRESS)
    assert record.information == (reading("ripple"), reading("notch"))


def test_the_record_carries_the_number_of_the_run_and_the_station(run: StoredRun) -> None:
    record = record_of(run, "Skerry Works", ADDRESS)
    assert record.number == "SKV-0101-2"
    assert (record.works.name, record.works.station) == ("Skerry Works", "final test 1")
    assert record.recipe.digest == run.head.recipe.digest


def test_a_run_without_a_verdict_makes_no_record(run: StoredRun) -> None:
    stopped = replace(run, verdict=None, state=RunState.STOPPED, why="the door was opened")
    with pytest.raises(
        UserMistake, match=r"run 2 of SKV-0101 has no verdict \(stopped: the door was opened\)"
    ):
        record_of(stopped, "Skerry Works", ADDRESS)
