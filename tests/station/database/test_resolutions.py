"""Decisions of persons in the store: appended, never changed, and only about what is undecided and counts."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace

import pytest

from limits.verdict import Outcome, Verdict
from reports.resolution import Resolution, Ruling
from station.database.disposition import Fate
from station.database.entries import CertificateEntry, CertificateKind, RunId, RunState
from station.database.store import Store
from station.errors import StoreFault, UserMistake


def undecided(make: SimpleNamespace) -> Verdict:
    return Verdict((make.decision(make.reading(), Outcome.UNDECIDED),))


def judged(store: Store, make: SimpleNamespace, verdict: Verdict, serial: str = "SKV-0101") -> RunId:
    run_id = store.begin(make.head(serial)).run_id
    store.finish(run_id, [], verdict, make.finished)
    return run_id


@pytest.fixture
def run_id(store: Store, make: SimpleNamespace) -> RunId:
    """An undecided run."""
    return judged(store, make, undecided(make))


def decided(make: SimpleNamespace, number: int = 1, ruling: Ruling = Ruling.RELEASE) -> Resolution:
    return Resolution(
        number, ruling, "Astrid Holm", make.finished + timedelta(days=number), "as agreed",
        number - 1 or None, f'{{"number": {number}}}', b"\x30\x00", "ab" * 32,
    )  # fmt: skip


def test_a_decision_is_kept_whole_and_leaves_the_verdict_as_measured(
    store: Store, make: SimpleNamespace, run_id: RunId
) -> None:
    store.keep_resolution(run_id, decided(make))
    stored = store.run(run_id)
    assert stored.resolutions == (decided(make),)
    assert stored.verdict == undecided(make)
    (line,) = store.runs("SKV-0101")
    assert (line.outcome, line.resolution) == (Outcome.UNDECIDED, decided(make))


def test_a_correction_is_a_further_record_and_the_last_one_counts(
    store: Store, make: SimpleNamespace, run_id: RunId
) -> None:
    store.keep_resolution(run_id, decided(make))
    store.keep_resolution(run_id, decided(make, 2, Ruling.REJECT))
    stored = store.run(run_id)
    assert [each.number for each in stored.resolutions] == [1, 2]
    assert stored.resolution == store.runs("SKV-0101")[0].resolution == decided(make, 2, Ruling.REJECT)


def test_a_decided_run_is_not_decided_again_unless_the_decision_that_counts_is_named(
    store: Store, make: SimpleNamespace, run_id: RunId
) -> None:
    with pytest.raises(UserMistake, match="no resolution 1 to correct; leave out --corrects"):
        store.refuse_resolution(run_id, 1)
    store.keep_resolution(run_id, decided(make))
    with pytest.raises(
        UserMistake, match=r"released by Astrid Holm on 4 March 2025 already; .* add --corrects 1"
    ):
        store.keep_resolution(run_id, decided(make))
    store.keep_resolution(run_id, decided(make, 2))
    with pytest.raises(UserMistake, match=r"resolution 1 is not the one that counts; .* --corrects 2"):
        store.keep_resolution(run_id, decided(make, 2))
    assert len(store.run(run_id).resolutions) == 2


@pytest.mark.parametrize("verdict", ["passed", "failed"])
def test_what_was_measured_to_pass_or_fail_is_no_persons_to_decide(
    store: Store, make: SimpleNamespace, verdict: str
) -> None:
    run_id = judged(store, make, getattr(make, verdict)())
    with pytest.raises(UserMistake, match=f"run 1 of SKV-0101 says {verdict[:4]}; a person decides only"):
        store.keep_resolution(run_id, decided(make))
    assert store.run(run_id).resolutions == ()


def test_a_station_fault_a_stop_and_a_run_at_work_are_never_resolved(
    store: Store, make: SimpleNamespace
) -> None:
    run_id = store.begin(make.head()).run_id
    with pytest.raises(UserMistake, match=r"has no verdict \(running\), so there is nothing to resolve"):
        store.keep_resolution(run_id, decided(make))
    store.break_off(run_id, RunState.STATION_FAULT, "the analyzer is silent", make.finished)
    with pytest.raises(
        UserMistake, match=r"\(station fault: the analyzer is silent\), .* test the unit again"
    ):
        store.keep_resolution(run_id, decided(make))


def test_a_run_that_a_later_verdict_has_overtaken_is_not_resolved(
    store: Store, make: SimpleNamespace, run_id: RunId
) -> None:
    judged(store, make, make.passed())
    with pytest.raises(UserMistake, match="run 1 of SKV-0101 was overtaken by run 2, which says pass"):
        store.keep_resolution(run_id, decided(make))


@pytest.mark.parametrize(
    ("fate", "said"),
    [
        (Fate.SCRAP, r"SKV-0101 was scrapped by .* \(dropped\), and nothing of it is left to resolve"),
        (Fate.REWORK, "SKV-0101 was reworked by .*, so run 1 says nothing of it any more; test it again"),
    ],
)
def test_a_unit_that_was_scrapped_or_reworked_since_is_not_resolved(
    store: Store, make: SimpleNamespace, run_id: RunId, fate: Fate, said: str
) -> None:
    store.keep_disposition("SKV-0101", fate, "Olaf Berg", make.finished, "dropped")
    with pytest.raises(UserMistake, match=said):
        store.refuse_resolution(run_id, None)
    with pytest.raises(UserMistake, match=said):
        store.keep_resolution(run_id, decided(make))


def test_a_later_run_without_a_verdict_and_another_unit_overtake_nothing(
    store: Store, make: SimpleNamespace, run_id: RunId
) -> None:
    judged(store, make, make.passed(), "SKV-0102")
    store.break_off(store.begin(make.head()).run_id, RunState.STOPPED, "", make.finished)
    store.keep_resolution(run_id, decided(make))
    assert store.run(run_id).resolution == decided(make)


def test_a_check_standard_is_no_persons_to_decide(store: Store, make: SimpleNamespace) -> None:
    store.enter_standard(make.order("CHECK", ("CS-1",)))
    run_id = judged(store, make, undecided(make), "CS-1")
    with pytest.raises(UserMistake, match="check standard, about which no person decides; measure it again"):
        store.keep_resolution(run_id, decided(make))


def entry(run_id: RunId, make: SimpleNamespace, kind: CertificateKind, resolution: int) -> CertificateEntry:
    number = f"SKV-0101-1-{resolution}"
    return CertificateEntry(run_id, number, kind, make.finished, "0" * 64, f"{number}.pdf", resolution)


def test_each_decision_has_a_document_of_its_own_beside_the_failure_sheet(
    store: Store, make: SimpleNamespace, run_id: RunId
) -> None:
    sheet = entry(run_id, make, CertificateKind.FAILURE_SHEET, 0)
    store.keep_certificate(sheet)
    store.keep_resolution(run_id, decided(make))
    released = entry(run_id, make, CertificateKind.CERTIFICATE, 1)
    store.keep_certificate(released)
    store.keep_resolution(run_id, decided(make, 2, Ruling.REJECT))
    rejected = entry(run_id, make, CertificateKind.FAILURE_SHEET, 2)
    store.keep_certificate(rejected)
    assert store.certificates("SKV-0101") == (sheet, released, rejected)
    assert [store.certificate_of(run_id, number) for number in (0, 1, 2)] == [sheet, released, rejected]
    with pytest.raises(UserMistake, match="the run has failure sheet SKV-0101-1-2 already"):
        store.keep_certificate(replace(rejected, number="another"))


@pytest.mark.parametrize(
    ("ruling", "kind"),
    [(None, CertificateKind.CERTIFICATE), (Ruling.REJECT, CertificateKind.CERTIFICATE),
     (Ruling.RELEASE, CertificateKind.FAILURE_SHEET)],
)  # fmt: skip
def test_a_document_that_says_other_than_the_decision_is_not_taken_in(
    store: Store, make: SimpleNamespace, run_id: RunId, ruling: Ruling | None, kind: CertificateKind
) -> None:
    if ruling is not None:
        store.keep_resolution(run_id, decided(make, 1, ruling))
    with pytest.raises(StoreFault, match=f"no {kind.value} can be of a run that says"):
        store.keep_certificate(entry(run_id, make, kind, 0 if ruling is None else 1))


def test_a_document_of_a_decision_that_was_corrected_is_not_taken_in(
    store: Store, make: SimpleNamespace, run_id: RunId
) -> None:
    store.keep_resolution(run_id, decided(make))
    store.keep_resolution(run_id, decided(make, 2, Ruling.REJECT))
    with pytest.raises(StoreFault, match="tells of a decision that is not the last one"):
        store.keep_certificate(entry(run_id, make, CertificateKind.CERTIFICATE, 1))
