"""What persons decide about units is only ever added to, and made only where it fits what was measured."""

from __future__ import annotations

from datetime import timedelta

import pytest

from limits.verdict import Outcome, Verdict
from reports.trends.yields import table_of, yields
from station.database.disposition import Fate, in_force, last_rework, scrapped
from station.disposing import refuse_certificate, refuse_scrapped
from station.errors import UserMistake

SERIAL = "SKV-0101"


@pytest.fixture
def test_run(store, make):
    """Enters a judged run of the unit."""

    def enter(verdict: Verdict) -> None:
        store.finish(store.begin(make.head(SERIAL)).run_id, [], verdict, make.finished)

    return enter


@pytest.fixture
def decide(store, make):
    """Keeps a disposition of the unit."""

    def keep(fate: Fate, corrects: int | None = None) -> None:
        store.keep_disposition(
            SERIAL, fate, "Olaf Berg", make.finished + timedelta(days=1), "as said", corrects
        )

    return keep


def test_what_was_decided_comes_back_with_the_run_it_followed(store, make, test_run, decide):
    test_run(make.failed())
    decide(Fate.REWORK)
    (told,) = store.dispositions(SERIAL)
    assert (told.number, told.fate, told.person, told.why, told.after_run) == (
        1, Fate.REWORK, "Olaf Berg", "as said", 1,
    )  # fmt: skip
    assert told.sentence == "reworked by Olaf Berg on 4 March 2025, after run 1"


def test_a_unit_that_failed_is_not_released_and_one_that_passed_is(store, make, test_run, decide):
    with pytest.raises(UserMistake, match="SKV-0101 has no verdict yet"):
        decide(Fate.RELEASE)
    test_run(make.failed())
    with pytest.raises(
        UserMistake, match="run 1 of SKV-0101 failed, and is not released; rework or scrap it"
    ):
        decide(Fate.RELEASE)
    test_run(make.passed())
    decide(Fate.RELEASE)
    assert [each.fate for each in store.dispositions(SERIAL)] == [Fate.RELEASE]


def test_an_undecided_unit_is_decided_before_it_is_released(make, test_run, decide):
    test_run(Verdict((make.decision(make.reading(), Outcome.UNDECIDED),)))
    with pytest.raises(UserMistake, match="is undecided; decide it first: station resolve SKV-0101"):
        decide(Fate.RELEASE)


def test_after_a_rework_what_was_measured_before_counts_no_more(store, make, test_run, decide):
    with pytest.raises(UserMistake, match="was never tested, so there is nothing to rework"):
        decide(Fate.REWORK)
    test_run(make.passed())
    refuse_certificate(store, SERIAL, 1)
    decide(Fate.REWORK)
    with pytest.raises(UserMistake, match="after run 1, so run 1 says nothing of it any more; test it again"):
        refuse_certificate(store, SERIAL, 1)
    with pytest.raises(UserMistake, match="and not tested since; test it first"):
        decide(Fate.RELEASE)
    test_run(make.passed())
    refuse_certificate(store, SERIAL, 2)
    decide(Fate.RELEASE)


def test_a_scrapped_unit_is_tested_no_more_unless_that_was_a_mistake(store, make, test_run, decide):
    test_run(make.passed())
    decide(Fate.SCRAP)
    with pytest.raises(UserMistake, match=r"scrapped by Olaf Berg .* \(as said\), and is tested no more"):
        refuse_scrapped(store, SERIAL)
    with pytest.raises(UserMistake, match="and gets no certificate"):
        refuse_certificate(store, SERIAL, 1)
    with pytest.raises(UserMistake, match="if that was a mistake, add --corrects 1"):
        decide(Fate.REWORK)
    with pytest.raises(UserMistake, match="SKV-0101 has no disposition 2 that counts"):
        decide(Fate.RELEASE, 2)
    decide(Fate.RELEASE, 1)
    refuse_scrapped(store, SERIAL)
    told = store.dispositions(SERIAL)
    assert [each.number for each in in_force(told)] == [2]
    assert scrapped(told) is None
    assert last_rework(told) is None


def test_first_pass_is_the_first_run_after_assembly_or_a_rework(store, make, test_run, decide):
    def counted() -> tuple[int, int, int]:
        row = yields(table_of(store.run_counts()))[["units", "passed", "first_pass"]].iloc[0]
        return int(row["units"]), int(row["passed"]), round(100 * row["first_pass"])

    test_run(make.failed())
    test_run(make.passed())
    assert counted() == (1, 0, 0)
    decide(Fate.REWORK)
    assert counted() == (1, 0, 0)
    test_run(make.passed())
    test_run(make.passed())
    assert counted() == (2, 1, 50)
    decide(Fate.SCRAP, 1)
    assert counted() == (1, 0, 0)
