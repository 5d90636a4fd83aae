"""Check standards in the store: their runs are whole, and count nowhere else."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial

import pytest

from limits.verdict import Level, LimitLine, Outcome, Verdict
from station.database.entries import (
    CertificateEntry,
    CertificateKind,
    OrderKind,
    RunId,
    RunState,
    StandardReset,
)
from station.errors import StoreFault, UserMistake
from station.orders import Serial, WorkOrder

STARTED = datetime(2025, 3, 3, 8, 30, tzinfo=UTC)
STANDARD = WorkOrder(
    "check standard SKC-001", "check standard", "CHECK", 150e6, 170e6, (Serial("SKC-001"),), STARTED.date()
)


@pytest.fixture
def check(with_standard, make):
    return partial(checked, with_standard, make)


def checked(
    store, make, value: float, day: int, *, station: str = "final test 1", outcome=Outcome.PASS
) -> RunId:
    started = STARTED + timedelta(days=day)
    key = store.begin(replace(make.head("SKC-001"), started=started, station=station))
    store.keep_sweep(key.run_id, make.sweep())
    about = make.reading("tx_loss", value)
    own = replace(
        make.decision(about, outcome, Level.WORKS),
        lines=(LimitLine((160e6,) * 3, (1.0, 1.5, 2.0), "from 12 checks"),),
    )
    store.finish(key.run_id, [about], Verdict((own,)), started + timedelta(minutes=1))
    return key.run_id


@pytest.fixture
def with_standard(store):
    store.enter_standard(STANDARD)
    return store


def test_a_standard_is_in_no_list_of_orders(with_standard, make, check):
    check(1.4, 0)
    assert [each.number for each in with_standard.orders()] == [make.order().number]
    assert with_standard.unit("skc-001").kind is OrderKind.REFERENCE
    assert with_standard.unit("SKV-0101").kind is OrderKind.PRODUCTION


def test_entering_it_again_changes_nothing(with_standard, check):
    check(1.4, 0)
    with_standard.enter_standard(STANDARD)
    assert len(with_standard.check_runs("SKC-001", "final test 1", 9)) == 1


def test_a_customers_unit_is_no_standard(with_standard, make):
    with pytest.raises(
        UserMistake, match=r"SKV-0101 is a unit of work order SW-2025-031; .* serial of its own"
    ):
        with_standard.enter_standard(replace(STANDARD, serials=make.order().serials[:1]))


def test_a_customers_order_cannot_take_its_serial(with_standard, make):
    with pytest.raises(UserMistake, match="SKC-001"):
        with_standard.add_orders([make.order("SW-2", ("SKC-001",))])


def test_the_history_tells_every_judged_reading_with_the_limits_in_force(with_standard, make, check):
    check(1.4, 0)
    check(2.4, 1, outcome=Outcome.FAIL)
    check(7.0, 2, station="final test 2")
    broken = with_standard.begin(make.head("SKC-001"))
    with_standard.break_off(broken.run_id, RunState.STOPPED, "", STARTED)
    found = with_standard.checked_values("skc-001", "final test 1", 9)
    assert [(each.run_number, each.outcome, each.reading.value, each.own) for each in found] == [
        (1, Outcome.PASS, 1.4, (1.0, 2.0)),
        (2, Outcome.FAIL, 2.4, (1.0, 2.0)),
    ]
    assert found[1].started == STARTED + timedelta(days=1)


def test_the_sweeps_of_a_check_are_kept_as_any_units(with_standard, check):
    stored = with_standard.run(check(1.4, 0))
    assert len(stored.sweeps) == 1


def test_a_standard_gets_no_certificate(with_standard, check):
    run_id = check(1.4, 0)
    entry = CertificateEntry(
        run_id, "SKC-001-1", CertificateKind.CERTIFICATE, STARTED, "0" * 64, "certificates/SKC-001-1.pdf"
    )
    with pytest.raises(StoreFault, match="of a check standard"):
        with_standard.keep_certificate(entry)


def test_what_is_not_known_yet_has_no_history(store):
    assert store.check_runs("SKC-001", "final test 1", 9) == ()
    assert store.checked_values("SKC-001", "final test 1", 9) == ()
    assert store.resets("SKC-001") == ()


def test_resets_are_kept_with_who_and_why(with_standard):
    made = [StandardReset(STARTED, "Ida", "certified again"), StandardReset(STARTED, "Ole", "new pad")]
    for reset in made:
        with_standard.keep_reset("SKC-001", reset)
    assert with_standard.resets("skc-001") == tuple(made)
    with pytest.raises(UserMistake, match="SKC-009"):
        with_standard.keep_reset("SKC-009", made[0])


def test_of_a_long_history_only_the_latest_is_read(with_standard, check):
    for day, outcome in enumerate((Outcome.PASS, Outcome.PASS, Outcome.FAIL, Outcome.PASS, Outcome.FAIL)):
        check(1.0 + day, day, outcome=outcome)
    check(9.0, 9, station="final test 2")
    here = "SKC-001", "final test 1"
    assert [line.run_number for line in with_standard.check_runs(*here, 2)] == [4, 5]
    assert with_standard.check_count(*here) == 5
    values = with_standard.checked_values(*here, 2)
    assert [each.reading.value for each in values] == [4.0, 5.0]
    accepted = with_standard.checked_values(*here, 2, Outcome.PASS)
    assert [each.reading.value for each in accepted] == [2.0, 4.0]


def test_runs_since_the_last_accepted_check_begin_with_it(with_standard, check):
    here = "SKC-001", "final test 1"
    check(1.0, 0, outcome=Outcome.FAIL)
    assert [line.run_number for line in with_standard.checks_since_accepted(*here)] == [1]
    check(1.0, 1)
    check(1.0, 2, outcome=Outcome.FAIL)
    check(1.0, 3, station="final test 2")
    check(1.0, 4, outcome=Outcome.FAIL)
    assert [line.run_number for line in with_standard.checks_since_accepted(*here)] == [2, 3, 5]


def test_the_last_judged_check_before_a_moment_is_found_with_what_it_was_judged_by(with_standard, check):
    check(1.4, 0)
    check(1.6, 1, outcome=Outcome.FAIL)
    check(1.4, 1, station="final test 2")
    check(1.4, 3)
    found = with_standard.check_before("skc-001", "final test 1", STARTED + timedelta(days=2))
    assert (found.serial, found.started) == ("SKC-001", STARTED + timedelta(days=1))
    assert (found.outcome, found.readings, found.certificate) == (Outcome.FAIL, 1, "")


def test_without_a_check_before_it_there_is_none(with_standard, check):
    check(1.4, 1)
    assert with_standard.check_before("SKC-001", "final test 1", STARTED) is None
    assert with_standard.check_before("SKC-002", "final test 1", STARTED + timedelta(days=9)) is None
