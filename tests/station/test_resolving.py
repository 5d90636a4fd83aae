"""The way out of an undecided verdict: what would decide it, and a person who signs. No bench is needed for it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from importlib import resources
from pathlib import Path

import pytest

from limits.reading import Claim, Reading
from limits.verdict import Decision, Level, Outcome, Verdict
from reports.errors import WrongPassphrase
from reports.resolution import Ruling
from station.database.entries import DocumentKind, RunHead, StoredRun, StoredText
from station.desk import Desk, make_works, open_desk
from station.errors import StoreFault, UserMistake
from station.keyring import make_key, open_key
from station.orders import Serial, WorkOrder
from station.resolving import Wish

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
SERIAL = Serial("SKV-0001")
PASSPHRASE = "salt-water-9"
BENCH = """\
bench: final test 1
analyzer: {kind: vector, address: "TCPIP::192.0.2.10::5025::SOCKET", dialect: linear-single, identity: any,
  from: 300 kHz, to: 3 GHz, most_points: 1601}
"""
NEAR = Reading("tx_loss", "TX loss", "dB", 1.58, u=0.05)
BARE = replace(NEAR, u=None)
BOUND = Reading("isolation_at_tx", "Isolation", "dB", 70.0, u=0.5, claim=Claim.AT_LEAST, note="may be larger")
HOLE = Reading("tx_notch_depth", "Notch depth", "dB", None, note="no notch found")


def opened(
    reading: Reading, margin: float | None = 0.02, rule: str = "guarded acceptance with w = U"
) -> Decision:
    return Decision(reading, Level.SPECIFICATION, "at most 1.6 dB", rule, Outcome.UNDECIDED, margin)


@dataclass(frozen=True)
class AtHand:
    """A desk, and a way to put a judged run before it."""

    desk: Desk
    bench: bytes = BENCH.encode()

    def enter(self, *decisions: Decision) -> StoredRun:
        recipe = (resources.files("station") / "recipes" / "SK-V4.yaml").read_bytes()
        head = RunHead(
            SERIAL,
            "M. Tangen",
            "final test 1",
            NOW,
            StoredText.of(DocumentKind.RECIPE, "SK-V4", "A", recipe),
            StoredText.of(DocumentKind.LIMIT_TABLE, "SK-V4", "A", b"limits\n"),
            StoredText.of(DocumentKind.BENCH, "final test 1", "", self.bench),
            None,
            (),
        )
        run_id = self.desk.store.begin(head).run_id
        self.desk.store.finish(run_id, [], Verdict(decisions), NOW)
        return self.desk.store.run(run_id)

    def decide(self, ruling: Ruling = Ruling.RELEASE, by: str = "Astrid Holm", why: str = "as agreed",
               corrects: int | None = None, passphrase: str = PASSPHRASE) -> StoredRun:  # fmt: skip
        works = self.desk.works
        wish = Wish(ruling, by, why, corrects)
        return self.desk.resolve(SERIAL, None, wish, lambda: open_key(works, passphrase, NOW))

    def change(self, sql: str) -> None:
        """By hand, past the program."""
        file = self.desk.works.folder / "records.sqlite"
        with sqlite3.connect(file) as connection:
            connection.execute(sql)
        connection.close()


@pytest.fixture
def at_hand(tmp_path: Path) -> Iterator[AtHand]:
    works = make_works(tmp_path / "works", "Skerry Works", ("Net Loft Quay 3",), BENCH)
    make_key(works, lambda: PASSPHRASE, datetime(2026, 1, 1, tzinfo=UTC), 2)
    order = WorkOrder("SKO-1", "Coastal Rescue", "SK-V4", 156.6e6, 157.4e6, (SERIAL,), date(2026, 12, 1))
    with open_desk(works.folder, lambda: NOW) as desk:
        desk.store.add_orders([order])
        yield AtHand(desk)


@pytest.mark.parametrize(
    ("decision", "enough", "advice"),
    [
        (opened(NEAR), 0.02, "measure better: as it reads it passes once U is below 0.020\u202fdB"),
        (
            opened(NEAR, 0.02, "guarded acceptance with w = 0.5 U"),
            0.04,
            "passes once U is below 0.040\u202fdB",
        ),
        (opened(NEAR, -0.03, "guarded rejection with w = U"), 0.03, "it fails once U is below 0.030\u202fdB"),
        (opened(NEAR, 0.0), 0.0, "it lies on its limit, so no better measurement decides it"),
        (opened(BOUND, None), None, "measure it: may be larger"),
        (opened(HOLE, None), None, "measure it: no notch found"),
        (opened(BARE), None, "have its U evaluated"),
    ],
)
def test_each_undecided_reading_is_told_with_what_would_decide_it(
    at_hand: AtHand, decision: Decision, enough: float | None, advice: str
) -> None:
    (point,) = at_hand.desk.way_out(at_hand.enter(decision)).points
    assert point.enough_u == (enough if enough is None else pytest.approx(enough))
    assert point.advice.endswith(advice)


def test_where_no_uncertainty_was_evaluated_it_is_said_why(at_hand: AtHand) -> None:
    (point,) = at_hand.desk.way_out(at_hand.enter(opened(BARE))).points
    assert "its bench file stated no figures; give them under 'uncertainty' in bench.yaml" in point.why_no_u


def test_a_decision_is_signed_over_a_text_that_names_the_run_and_its_undecided_readings(
    at_hand: AtHand,
) -> None:
    at_hand.enter(opened(NEAR))
    stored = at_hand.decide(why="  The customer\n accepts it ")
    resolution = stored.resolution
    assert resolution is not None
    assert (resolution.person, resolution.made, resolution.why) == (
        "Astrid Holm",
        NOW,
        "The customer accepts it",
    )
    told = json.loads(resolution.text)
    assert (told["serial"], told["run"], told["ruling"]) == (SERIAL, 1, "release")
    assert told["undecided"] == [
        {"name": "tx_loss", "value": 1.58, "unit": "dB", "U": 0.05, "claim": "value", "level": "specification",
         "limit": "at most 1.6 dB", "rule": "guarded acceptance with w = U", "margin": 0.02}
    ]  # fmt: skip
    ((_, found),) = at_hand.desk.way_out(stored).resolutions
    assert (found.intact, found.trusted, found.signer) == (True, True, "Skerry Works final test")


def test_a_correction_refers_to_what_it_corrects_by_its_digest(at_hand: AtHand) -> None:
    at_hand.enter(opened(NEAR))
    at_hand.decide()
    stored = at_hand.decide(Ruling.REJECT, why="a slip", corrects=1)
    told = json.loads(stored.resolutions[1].text)["corrects"]
    assert told["resolution"] == 1 and len(told["sha256"]) == 64
    assert all(found.intact for _, found in at_hand.desk.way_out(stored).resolutions)


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE resolution SET why = 'bribed'",
        "UPDATE resolution SET person = 'Somebody Else'",
        "UPDATE resolution SET ruling = 'reject'",
        "UPDATE resolution SET made = '2026-11-26 12:00:00.000000'",
        "UPDATE resolution SET text = replace(text, 'agreed', 'denied')",
        "UPDATE resolution SET why = 'denied', text = replace(text, 'as agreed', 'denied')",
        "UPDATE resolution SET signature = x'3000'",
        f"UPDATE resolution SET fingerprint = '{'ab' * 32}'",
        "UPDATE reading SET value = 1.48",
        "UPDATE decision SET limit_text = 'at most 1.7 dB'",
    ],
)
def test_what_is_changed_by_hand_afterwards_is_found_and_gets_no_certificate(
    at_hand: AtHand, sql: str
) -> None:
    at_hand.enter(opened(NEAR))
    at_hand.decide()
    at_hand.change(sql)
    stored = at_hand.desk.stored_run(SERIAL)
    assert [found.intact for _, found in at_hand.desk.way_out(stored).resolutions] == [False]
    with pytest.raises(StoreFault, match="resolution 1 of run 1 of SKV-0001 is not what was signed"):
        at_hand.desk.certify(SERIAL, None, lambda: pytest.fail("nothing is signed"))


def test_a_decision_signed_with_a_key_that_the_works_does_not_know_gets_no_certificate(
    at_hand: AtHand,
) -> None:
    at_hand.enter(opened(NEAR))
    stored = at_hand.decide()
    at_hand.desk.works.key.with_suffix(".pem").unlink()
    ((_, found),) = at_hand.desk.way_out(stored).resolutions
    assert (found.intact, found.trusted) == (True, False)
    with pytest.raises(UserMistake, match="does not know; name that signer's certificate under 'trusted'"):
        at_hand.desk.certify(SERIAL, None, lambda: pytest.fail("nothing is signed"))


def nobody() -> str:
    return pytest.fail("nobody is asked for a passphrase in vain")


@pytest.mark.parametrize(
    ("by", "why", "words"),
    [
        (" ", "as agreed", "needs a name: say who decides with --by NAME"),
        ("Astrid Holm", "\n", "needs a reason that others can follow: say it with --why"),
        ("Astrid\x07Holm", "as agreed", "--by holds a character that cannot be printed"),
    ],
)
def test_a_decision_without_a_name_or_a_reason_is_refused(
    at_hand: AtHand, by: str, why: str, words: str
) -> None:
    at_hand.enter(opened(NEAR))
    with pytest.raises(UserMistake, match=words):
        at_hand.decide(by=by, why=why)
    assert at_hand.desk.stored_run(SERIAL).resolutions == ()


def test_what_was_never_measured_can_be_rejected_but_not_released(at_hand: AtHand) -> None:
    at_hand.enter(opened(NEAR), opened(HOLE, None))
    with pytest.raises(
        UserMistake, match="there is no reading of Notch depth; test the unit again, or reject"
    ):
        at_hand.decide()
    assert at_hand.decide(Ruling.REJECT).resolution is not None


def test_a_run_that_judged_no_promise_cannot_be_released(at_hand: AtHand) -> None:
    at_hand.enter(replace(opened(NEAR), level=Level.WORKS))
    with pytest.raises(UserMistake, match="judged nothing that the customer was promised"):
        at_hand.decide()


def test_a_bound_may_be_released_for_it_has_a_number_to_be_told(at_hand: AtHand) -> None:
    at_hand.enter(opened(BOUND, None))
    assert at_hand.decide().resolution is not None


def test_nobody_is_asked_for_a_passphrase_when_the_run_may_not_be_decided(at_hand: AtHand) -> None:
    at_hand.enter(replace(opened(NEAR), outcome=Outcome.PASS))
    wish = Wish(Ruling.RELEASE, "Astrid Holm", "as agreed")
    with pytest.raises(UserMistake, match="says pass"):
        at_hand.desk.resolve(SERIAL, None, wish, nobody)  # type: ignore[arg-type]


def test_a_wrong_passphrase_records_nothing(at_hand: AtHand) -> None:
    at_hand.enter(opened(NEAR))
    with pytest.raises(WrongPassphrase):
        at_hand.decide(passphrase="wrong")
    assert at_hand.desk.stored_run(SERIAL).resolutions == ()


@pytest.mark.parametrize(
    ("ruling", "counted"), [(None, (0, 0, 1)), (Ruling.RELEASE, (1, 0, 0)), (Ruling.REJECT, (0, 1, 0))]
)
def test_an_order_counts_what_persons_decided_apart(
    at_hand: AtHand, ruling: Ruling | None, counted: tuple[int, int, int]
) -> None:
    at_hand.enter(opened(NEAR))
    if ruling is not None:
        at_hand.decide(ruling)
    (progress,) = at_hand.desk.orders()
    assert (progress.released, progress.rejected, progress.undecided) == counted
    assert (progress.passed, progress.failed, progress.untested) == (0, 0, 0)
