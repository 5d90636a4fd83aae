"""What the last checks say of the station."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from limits.verdict import Outcome
from station.database.entries import RunId, RunLine, RunState, StandardReset
from station.orders import Serial
from station.sequencer.standing import (
    BROKEN,
    CALIBRATED_SINCE,
    FUTURE,
    IN_CONTROL,
    NO_CHECK,
    OUT,
    TOO_OLD,
    duration,
    standing,
)

BEGAN = datetime(2026, 11, 2, 6, 0, tzinfo=UTC)
EVERY_S = 12 * 3600.0
PASS, FAIL, OPEN = Outcome.PASS, Outcome.FAIL, Outcome.UNDECIDED
FAULT, STOPPED, RUNNING = RunState.STATION_FAULT, RunState.STOPPED, RunState.RUNNING


def runs(*ends: Outcome | RunState) -> list[RunLine]:
    """A check an hour."""
    return [
        RunLine(
            run_id=RunId(place), serial=Serial("SKC-001"), run_number=place, model="CHECK",
            order_number="check standard SKC-001", operator="Signe", station="final test 1",
            started=BEGAN + timedelta(hours=place), finished=None,
            state=RunState.JUDGED if isinstance(end, Outcome) else end, why="",
            outcome=end if isinstance(end, Outcome) else None, failed=(),
        )
        for place, end in enumerate(ends)
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("ends", "state"),
    [
        ((), NO_CHECK),
        ((STOPPED, RUNNING), NO_CHECK),
        ((PASS,), IN_CONTROL),
        ((FAIL, PASS), IN_CONTROL),
        ((PASS, STOPPED, RUNNING), IN_CONTROL),
        ((PASS, FAIL), OUT),
        ((PASS, OPEN), OUT),
        ((FAIL, STOPPED), OUT),
        ((PASS, FAULT), BROKEN),
        ((FAULT, PASS), IN_CONTROL),
    ],
)
def test_the_last_check_that_ended_decides(ends: tuple[Outcome | RunState, ...], state: str) -> None:
    assert standing(runs(*ends), (), EVERY_S, BEGAN + timedelta(hours=4)).state == state


@pytest.mark.parametrize(
    ("ends", "since_h"), [((FAIL, FAIL), 0), ((PASS, FAIL, PASS, FAIL, OPEN), 3), ((PASS, FAULT, FAIL), 1)]
)
def test_it_is_out_of_control_since_the_first_bad_check_after_the_last_good_one(
    ends: tuple[Outcome | RunState, ...], since_h: int
) -> None:
    found = standing(runs(*ends), (), EVERY_S, BEGAN + timedelta(hours=6))
    assert (found.state, found.since) == (OUT, BEGAN + timedelta(hours=since_h))


@pytest.mark.parametrize(
    ("age_s", "state"), [(0, IN_CONTROL), (EVERY_S, IN_CONTROL), (EVERY_S + 1, TOO_OLD), (-1, FUTURE)]
)
def test_a_check_holds_for_its_time_and_none_comes_from_the_future(age_s: float, state: str) -> None:
    assert standing(runs(PASS), (), EVERY_S, BEGAN + timedelta(seconds=age_s)).state == state


def test_a_reset_wipes_out_what_was_before_it_and_a_new_check_is_due() -> None:
    reset = StandardReset(BEGAN + timedelta(minutes=90), "Ida", "certified anew")
    found = standing(runs(PASS, FAIL), (reset,), EVERY_S, BEGAN + timedelta(hours=3))
    assert (found.state, found.since) == (NO_CHECK, reset.made)
    assert standing(runs(PASS, FAIL, PASS), (reset,), EVERY_S, BEGAN + timedelta(hours=3)).state == IN_CONTROL


@pytest.mark.parametrize(("minutes", "state"), [(-1, IN_CONTROL), (1, CALIBRATED_SINCE)])
def test_a_check_says_nothing_of_a_calibration_that_was_made_since(minutes: int, state: str) -> None:
    calibrated = BEGAN + timedelta(minutes=minutes)
    assert standing(runs(PASS), (), EVERY_S, BEGAN + timedelta(hours=1), calibrated).state == state


@pytest.mark.parametrize(
    ("seconds", "words"), [(43200, "12 h"), (5400, "90 min"), (45000, "12.5 h"), (90, "1.5 min")]
)
def test_an_age_is_told_in_hours_or_minutes(seconds: float, words: str) -> None:
    assert duration(seconds) == words
