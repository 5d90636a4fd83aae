"""A unit is tested again as often as its recipe allows; then a reason is asked for, kept, and counted."""

from __future__ import annotations

from dataclasses import replace

import pytest

from limits.verdict import Verdict
from reports.trends.retests import reasons, table_of
from station.database.disposition import Fate
from station.database.entries import Because, RunState
from station.errors import UserMistake
from station.retesting import because_of, refuse_unexplained
from station.settings import RETEST_REASONS

SERIAL = "SKV-0101"
CABLING = Because("cabling", RETEST_REASONS["cabling"], "RX cable loose")


@pytest.fixture
def judge(store, make):
    """Enters a judged run of the unit."""

    def enter(verdict: Verdict, because: Because | None = None) -> None:
        run = store.begin(replace(make.head(SERIAL), because=because))
        store.finish(run.run_id, (), verdict, make.finished)

    return enter


def test_the_reason_comes_back_with_its_run_and_is_missing_where_nobody_gave_one(store, make, judge):
    judge(make.failed())
    judge(make.passed(), CABLING)
    assert [line.because for line in store.runs(SERIAL)] == [None, CABLING]
    assert store.latest_judged(SERIAL).head.because == CABLING
    assert CABLING.sentence == "the cabling was doubted (cabling): RX cable loose"


def test_beyond_the_number_allowed_a_reason_is_asked_for_and_every_code_is_named(store, make, judge):
    refuse_unexplained(store, SERIAL, 0, RETEST_REASONS)
    judge(make.failed())
    refuse_unexplained(store, SERIAL, 1, RETEST_REASONS)
    with pytest.raises(
        UserMistake, match="tested once since final assembly, and its recipe allows no retest"
    ):
        refuse_unexplained(store, SERIAL, 0, RETEST_REASONS)
    judge(make.failed())
    with pytest.raises(UserMistake, match=r"tested 2 times .* allows one retest without a reason") as told:
        refuse_unexplained(store, SERIAL, 1, RETEST_REASONS)
    assert all(f"{code} ({means})" in str(told.value) for code, means in RETEST_REASONS.items())


def test_runs_without_a_verdict_are_no_tests_of_the_unit(store, make, judge):
    judge(make.failed())
    for state in (RunState.STATION_FAULT, RunState.STOPPED):
        store.break_off(store.begin(make.head(SERIAL)).run_id, state, "analyzer: silent", make.finished)
    refuse_unexplained(store, SERIAL, 1, RETEST_REASONS)


def test_a_rework_that_counts_begins_the_count_anew(store, make, judge):
    for _ in range(2):
        judge(make.failed())
    store.keep_disposition(SERIAL, Fate.REWORK, "Olaf Berg", make.finished, "cavity 2 retuned")
    judge(make.failed())
    refuse_unexplained(store, SERIAL, 1, RETEST_REASONS)
    judge(make.failed())
    with pytest.raises(UserMistake, match="tested 2 times since its last rework"):
        refuse_unexplained(store, SERIAL, 1, RETEST_REASONS)
    store.keep_disposition(SERIAL, Fate.REWORK, "Olaf Berg", make.finished, "another lid")
    refuse_unexplained(store, SERIAL, 0, RETEST_REASONS)


def test_only_a_reason_that_the_works_has_listed_is_taken():
    assert because_of(RETEST_REASONS, "", " ") is None
    assert because_of(RETEST_REASONS, "cabling", " RX  cable loose ") == CABLING
    with pytest.raises(UserMistake, match=r"unknown reason 'cabeling'; did you mean 'cabling'.*sampling"):
        because_of(RETEST_REASONS, "cabeling", "")
    with pytest.raises(UserMistake, match="--why tells more of a reason: give its code too, cabling"):
        because_of(RETEST_REASONS, "", "RX cable loose")
    with pytest.raises(UserMistake, match="a character that cannot be printed"):
        because_of(RETEST_REASONS, "cabling", "RX\x07cable")


def test_retests_are_counted_by_reason_and_first_runs_are_none(store, make, judge):
    assert reasons(table_of(store.retests())).empty
    judge(make.failed(), Because("sampling", "a sample"))
    for because in (CABLING, None, CABLING):
        judge(make.passed(), because)
    store.keep_disposition(SERIAL, Fate.REWORK, "Olaf Berg", make.finished, "another lid")
    judge(make.passed(), Because("rework", "worked on"))
    assert reasons(table_of(store.retests())).to_dict("records") == [
        {"reason": "cabling", "retests": 2}, {"reason": "no reason", "retests": 1},
    ]  # fmt: skip
    (by_model, _) = reasons(table_of(store.retests()), ["month", "model"]).to_dict("records")
    assert by_model == {"month": "2025-03", "model": "SK-V4", "reason": "cabling", "retests": 2}
