"""The store through its public door: what goes in comes out, and what must not happen does not."""

from __future__ import annotations

import dataclasses
import threading
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pytest

from limits.reading import Reading
from limits.verdict import Outcome, Verdict
from station.database.entries import CertificateEntry, CertificateKind, RunId, RunState
from station.database.store import Store
from station.errors import StoreFault, UserMistake
from station.measurements.sweep import HOOKUPS
from station.orders import WorkOrder


def test_orders_come_back_as_they_were_entered(store, make):
    more = make.order("SW-2025-032", ("SKU-9", "SKU-10", "SKU-11"))
    store.add_orders([more])
    assert (make.order(), more) == store.orders()


@pytest.mark.parametrize(
    ("order", "named"),
    [
        (
            ("SW-2025-031", ("SKV-0200",)),
            "^nothing was taken in: work order SW-2025-031 is known already; remove its line from the file$",
        ),
        (
            ("SW-2025-031", ("SKV-0101", "SKV-0102")),
            "^nothing was taken in: work order SW-2025-031 is known already; remove its line from the file$",
        ),
        (
            ("SW-2025-099", ("SKV-0200", "skv-0102")),
            r"^nothing was taken in: serial skv-0102 \(of work order SW-2025-031\) is known already; correct it",
        ),
        (
            ("SW-2025-099", ("SKV-0101", "SKV-0102")),
            r"serials SKV-0101 \(of .*\), SKV-0102 \(of work order SW-2025-031\) are known already; correct them",
        ),
    ],
)
def test_an_order_or_a_serial_that_is_known_stores_nothing_at_all(store, make, order, named):
    with pytest.raises(UserMistake, match=named):
        store.add_orders([make.order("SW-2025-098", ("SKV-0900",)), make.order(*order)])
    assert (make.order(),) == store.orders()


@pytest.mark.parametrize(
    ("orders", "said"),
    [
        ([("A", ("S-1",)), ("B", ("s-1",))], "serial s-1 comes twice"),
        ([("A", ("S-1", "S-2", "s-1"))], "serial s-1 comes twice"),
        ([("A", ("S-1",)), ("A", ("S-2",))], "work order A comes twice"),
    ],
)
def test_what_comes_twice_among_new_orders_is_refused_with_all_of_them(store, make, orders, said):
    with pytest.raises(UserMistake, match=f"^nothing was taken in: {said}; enter it once$"):
        store.add_orders([make.order(*each) for each in orders])
    assert (make.order(),) == store.orders()


def test_a_unit_is_found_in_any_case_and_named_as_its_order_wrote_it(store, make):
    entry = store.unit("skv-0102")
    assert ("SKV-0102", make.order()) == (entry.serial, entry.order)


def test_an_unknown_serial_is_answered_with_the_nearest_known_ones(store):
    with pytest.raises(UserMistake, match=r"'SKV-0120'; did you mean SKV-0102, SKV-0101\?"):
        store.unit("SKV-0120")


def test_an_unknown_serial_unlike_any_other_says_what_to_do(store):
    with pytest.raises(UserMistake, match="import the work order"):
        store.unit("Q%_7")


def test_a_whole_run_comes_back_equal(store, make):
    head, sweeps = make.head(), [make.sweep(hookup, seed=n) for n, hookup in enumerate(HOOKUPS)]
    key = store.begin(head)
    for sweep in sweeps:
        store.keep_sweep(key.run_id, sweep)
    information = make.reading("ripple", 0.05)
    store.finish(key.run_id, (information,), make.failed(), make.finished)

    run = store.run(key.run_id)
    assert (1, head, make.order(), RunState.JUDGED, "", make.finished) == (
        run.run_number, run.head, run.order, run.state, run.why, run.finished,
    )  # fmt: skip
    assert make.failed() == run.verdict
    for kept, sweep in zip(run.sweeps, sweeps, strict=True):
        assert (sweep.hookup, sweep.settings, sweep.started, sweep.took_s) == (
            kept.hookup, kept.settings, kept.started, kept.took_s,
        )  # fmt: skip
        assert np.array_equal(sweep.freq_hz, kept.freq_hz)
        assert np.array_equal(sweep.s, kept.s)


def test_a_reading_that_several_decisions_share_is_kept_once(store, make):
    key = store.begin(make.head())
    store.finish(key.run_id, (make.reading("ripple"), make.reading()), make.failed(), make.finished)
    names = ["ripple", "tx_loss", "rx_return_loss", "notch_depth"]
    assert names == [reading.name for reading in store.run(key.run_id).readings]


def test_numbers_of_numpy_come_back_as_plain_ones(store, make):
    odd = Reading("n", "t", "dB", np.float64(2.5), at_hz=np.float32(1.5), span_hz=(np.int64(1), np.int64(2)))
    key = store.begin(make.head())
    store.finish(key.run_id, (odd,), Verdict(()), make.finished)
    assert (odd,) == store.run(key.run_id).readings


def test_a_run_without_any_decision_is_undecided(store, make):
    key = store.begin(make.head())
    store.finish(key.run_id, (), Verdict(()), make.finished)
    assert (Outcome.UNDECIDED, Verdict(())) == (
        store.runs("SKV-0101")[0].outcome,
        store.run(key.run_id).verdict,
    )


def test_a_retest_is_a_new_run_beside_the_old_one(store, make):
    for verdict in (make.failed(), make.passed()):
        store.finish(store.begin(make.head()).run_id, (), verdict, make.finished)
    assert [(r.run_number, r.outcome) for r in store.runs("SKV-0101")] == [
        (1, Outcome.FAIL),
        (2, Outcome.PASS),
    ]


def test_runs_are_counted_per_unit(store, make):
    numbers = [store.begin(make.head(serial)).run_number for serial in ("SKV-0101", "SKV-0102", "skv-0101")]
    assert numbers == [1, 1, 2]


def test_a_line_names_each_characteristic_that_failed_once(store, make):
    store.finish(store.begin(make.head()).run_id, (), make.failed(), make.finished)
    assert store.runs("SKV-0101")[0].failed == ("rx_return_loss in words",)


def test_a_run_that_was_broken_off_keeps_its_sweeps_and_says_why(store, make):
    key = store.begin(make.head())
    store.keep_sweep(key.run_id, make.sweep())
    store.break_off(key.run_id, RunState.STATION_FAULT, "analyzer: silent for 5 s", make.finished)
    run = store.run(key.run_id)
    assert (
        run.state, run.why, run.verdict, len(run.sweeps),
    ) == (RunState.STATION_FAULT, "analyzer: silent for 5 s", None, 1)  # fmt: skip


def test_a_doubted_sweep_stays_with_its_reason_and_counts_no_more(store, make):
    key = store.begin(make.head())
    places = [store.keep_sweep(key.run_id, make.sweep(hookup)) for hookup in HOOKUPS]
    store.keep_doubt(key.run_id, places[1], "nobody moved a cable")
    run = store.run(key.run_id)
    assert places == [0, 1, 2]
    assert [sweep.hookup for sweep in run.sweeps] == [HOOKUPS[0], HOOKUPS[2]]
    assert [(each.sweep.hookup, each.doubt) for each in run.doubted] == [(HOOKUPS[1], "nobody moved a cable")]


def test_only_a_sweep_that_counts_in_a_running_run_can_be_doubted(store, make):
    key = store.begin(make.head())
    place = store.keep_sweep(key.run_id, make.sweep())
    with pytest.raises(ValueError, match="says why"):
        store.keep_doubt(key.run_id, place, "")
    store.keep_doubt(key.run_id, place, "first")
    for position in (place, 5):
        with pytest.raises(StoreFault, match="no sweep"):
            store.keep_doubt(key.run_id, position, "second")
    store.break_off(key.run_id, RunState.STOPPED, "stopped", make.finished)
    with pytest.raises(StoreFault, match="not running"):
        store.keep_doubt(key.run_id, place, "third")


def test_a_run_nobody_ended_is_shown_as_running_and_hinders_no_other(store, make):
    store.begin(make.head())
    assert store.begin(make.head()).run_number == 2
    assert [line.state for line in store.runs("SKV-0101")] == [RunState.RUNNING] * 2


def test_the_latest_judged_run_is_not_a_later_one_that_broke(store, make):
    assert store.latest_judged("SKV-0101") is None
    judged = store.begin(make.head())
    store.finish(judged.run_id, (), make.passed(), make.finished)
    store.break_off(
        store.begin(make.head()).run_id, RunState.STOPPED, "stopped by the operator", make.finished
    )
    latest = store.latest_judged("SKV-0101")
    assert latest is not None
    assert judged.run_id == latest.run_id


def test_a_run_is_found_by_the_units_own_number_for_it(store, make):
    store.begin(make.head("SKV-0102"))
    keys = [store.begin(make.head()) for _ in range(2)]
    assert [keys[1].run_id, keys[0].run_id] == [store.numbered("SKV-0101", n).run_id for n in (2, 1)]
    assert store.numbered("SKV-0101", 3) is None


@pytest.mark.parametrize("late", ["sweep", "finish", "break_off"])
def test_nothing_is_added_to_a_run_that_has_ended(store, make, late):
    run_id = store.begin(make.head()).run_id
    store.finish(run_id, (), make.passed(), make.finished)
    acts = {
        "sweep": lambda: store.keep_sweep(run_id, make.sweep()),
        "finish": lambda: store.finish(run_id, (make.reading("more"),), make.failed(), make.finished),
        "break_off": lambda: store.break_off(run_id, RunState.STOPPED, "late", make.finished),
    }
    with pytest.raises(StoreFault, match="not running any more"):
        acts[late]()
    run = store.run(run_id)
    assert (make.passed(), (), 1) == (run.verdict, run.sweeps, len(run.readings))


def test_a_run_is_not_broken_off_as_judged(store, make):
    with pytest.raises(ValueError, match="judged"):
        store.break_off(store.begin(make.head()).run_id, RunState.JUDGED, "", make.finished)


def test_an_unknown_unit_cannot_be_run_and_leaves_no_trace(store, make):
    with pytest.raises(UserMistake, match="SKV-9999"):
        store.begin(make.head("SKV-9999"))
    assert all(store.runs(serial) == () for serial in make.order().serials)


def test_an_unknown_run_says_so(store):
    with pytest.raises(UserMistake, match="no run 77"):
        store.run(RunId(77))


def test_a_time_of_another_zone_comes_back_as_the_same_instant_in_utc(store, make):
    local = datetime(2025, 7, 1, 12, 0, tzinfo=timezone(timedelta(hours=2)))
    key = store.begin(make.head())
    store.finish(key.run_id, (), make.passed(), local)
    assert (local, UTC) == (store.run(key.run_id).finished, store.run(key.run_id).finished.tzinfo)


def test_a_time_without_a_zone_is_refused(store, make):
    key = store.begin(make.head())
    with pytest.raises(StoreFault, match="no time zone"):
        store.finish(key.run_id, (), make.passed(), datetime(2025, 7, 1, 12, 0))


def test_certificates_of_a_unit_come_back_oldest_first(store, make):
    entries = []
    for verdict, kind in (
        (make.failed(), CertificateKind.FAILURE_SHEET),
        (make.passed(), CertificateKind.CERTIFICATE),
    ):
        key = store.begin(make.head())
        store.finish(key.run_id, (), verdict, make.finished)
        number = f"SKV-0101-{key.run_number}"
        entries.append(CertificateEntry(key.run_id, number, kind, make.finished, "ab" * 32, f"{number}.pdf"))
        store.keep_certificate(entries[-1])
    assert tuple(entries) == store.certificates("skv-0101")
    assert store.certificates("SKV-0102") == ()


@pytest.mark.parametrize("verdict", ["failed", "passed", None])
def test_a_certificate_is_kept_only_of_a_run_that_passed_and_a_failure_sheet_never_of_one(
    store, make, verdict
):
    key = store.begin(make.head())
    if verdict:
        store.finish(key.run_id, (), getattr(make, verdict)(), make.finished)
    kind = CertificateKind.FAILURE_SHEET if verdict == "passed" else CertificateKind.CERTIFICATE
    with pytest.raises(StoreFault, match=f"no {kind.value} can be"):
        store.keep_certificate(CertificateEntry(key.run_id, "n", kind, make.finished, "ab" * 32, "f"))


def document(key, number: str, when) -> CertificateEntry:
    return CertificateEntry(key.run_id, number, CertificateKind.CERTIFICATE, when, "ab" * 32, f"{number}.pdf")


def judged(store, make, serial: str = "SKV-0101"):
    key = store.begin(make.head(serial))
    store.finish(key.run_id, (), make.passed(), make.finished)
    return key


def test_the_certificate_of_a_run_is_found_by_its_run(store, make):
    first, second = judged(store, make), judged(store, make)
    entry = document(first, "SKV-0101-1", make.finished)
    store.keep_certificate(entry)
    assert entry == store.certificate_of(first.run_id)
    assert store.certificate_of(second.run_id) is None


@pytest.mark.parametrize("number", ["SKV-0101-1", "SKV-0101-1 again"])
def test_a_run_has_one_certificate_and_a_second_changes_nothing(store, make, number):
    key = judged(store, make)
    entry = document(key, "SKV-0101-1", make.finished)
    store.keep_certificate(entry)
    with pytest.raises(
        UserMistake,
        match=r"has certificate SKV-0101-1 already \(issued 2025-03-03, SKV-0101-1\.pdf\); use that one",
    ):
        store.keep_certificate(document(key, number, make.finished + timedelta(days=1)))
    assert store.certificates("SKV-0101") == (entry,)


def test_no_two_certificates_have_one_number(store, make):
    store.keep_certificate(document(judged(store, make), "SKV-0101-1", make.finished))
    with pytest.raises(UserMistake, match="number SKV-0101-1 is taken already"):
        store.keep_certificate(document(judged(store, make, "SKV-0102"), "SKV-0101-1", make.finished))
    assert store.certificates("SKV-0102") == ()


def test_threads_that_certify_one_run_make_one_certificate(store, make):
    key, refused = judged(store, make), []

    def certify() -> None:
        try:
            store.keep_certificate(document(key, "SKV-0101-1", make.finished))
        except UserMistake as mistake:
            refused.append(mistake)

    threads = [threading.Thread(target=certify) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert (len(refused), len(store.certificates("SKV-0101"))) == (5, 1)


def test_runs_whose_program_died_are_closed_as_station_faults_of_that_station_only(store, make):
    other = dataclasses.replace(make.head("SKV-0102"), station="final test 2")
    dead, alive, judged_before = store.begin(make.head()), store.begin(other), judged(store, make)
    store.keep_sweep(dead.run_id, make.sweep())
    (closed,) = store.close_abandoned("final test 1", make.finished)
    assert (closed.run_id, closed.state, closed.why, closed.finished) == (
        dead.run_id, RunState.STATION_FAULT, "the program ended in mid-run", make.finished,
    )  # fmt: skip
    assert (closed, store.run(dead.run_id).sweeps != ()) == (store.runs("SKV-0101")[0], True)
    assert store.run(alive.run_id).state is RunState.RUNNING
    assert store.run(judged_before.run_id).state is RunState.JUDGED
    assert store.close_abandoned("final test 1", make.finished) == ()


def test_many_abandoned_runs_are_closed_the_first_one_first(store, make):
    begun = [store.begin(make.head()).run_id for _ in range(3)]
    assert [line.run_id for line in store.close_abandoned("final test 1", make.finished)] == begun


def test_threads_may_write_at_once(store, make):
    numbers, faults = [], []

    def run_one_unit() -> None:
        try:
            key = store.begin(make.head())
            store.keep_sweep(key.run_id, make.sweep())
            store.finish(key.run_id, (), make.passed(), make.finished)
            numbers.append(key.run_number)
        except StoreFault as fault:
            faults.append(fault)

    threads = [threading.Thread(target=run_one_unit) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert ([], list(range(1, 9))) == (faults, sorted(numbers))


def test_what_was_stored_is_there_after_closing(url, make):
    with Store.open(url, create=True) as first:
        first.add_orders([make.order()])
        key = first.begin(make.head())
        first.finish(key.run_id, (), make.passed(), make.finished)
    with Store.open(url) as again:
        assert make.passed() == again.run(key.run_id).verdict


def test_a_thousand_serials_in_one_order(store, make):
    big = make.order("BIG", tuple(f"B-{n:04d}" for n in range(1200)))
    store.add_orders([big])
    assert isinstance(big, WorkOrder)
    assert big == store.unit("B-1199").order
    with pytest.raises(
        UserMistake, match=r"B-0004 \(of work order BIG\) and 1195 more are known already; correct them"
    ):
        store.add_orders([make.order("BIG-2", big.serials)])
