"""A certificate of the works is valid only while the works' records say what it says."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from reports.certificate import certificate
from reports.record import UnitRecord
from reports.signing import SigningKey
from reports.verification import Status, Verification
from station.cli.exits import Exit
from station.cli.unit_acts import verify
from station.database.store import Store
from station.issuing import draw, issue, source_of, verify_file
from station.keyring import open_key, own_certificates
from station.settings import Works
from station.timestamps import sign_for

NOW = datetime(2026, 11, 25, 14, 0, tzinfo=UTC)


@pytest.fixture
def store(small_works: Works) -> Iterator[Store]:
    with sqlite3.connect(small_works.folder / "records.sqlite") as database:
        # What the small works has beside its runs are no real PDFs.
        database.execute("DELETE FROM certificate")
        database.execute("DELETE FROM ledger_entry WHERE kind = 'certificate'")
    with Store.open(small_works.database) as opened:
        yield opened


@pytest.fixture
def key(small_works: Works) -> SigningKey:
    return open_key(small_works, "salt-water-9", NOW)


@pytest.fixture
def issued(small_works: Works, store: Store, key: SigningKey) -> Path:
    """A certificate of the works."""
    run = store.latest_judged("SKV-0101")
    assert run is not None
    return issue(small_works, store, run, NOW, lambda: key).path


@pytest.fixture
def check(small_works: Works, store: Store) -> Callable[[Path], Verification]:
    return lambda path: verify_file(path, own_certificates(small_works), NOW, store=store)


@pytest.fixture
def signed_as(small_works: Works, key: SigningKey, store: Store) -> Callable[..., Path]:
    """A file with the works' own signature over a record with something changed in it."""

    def make(**changes: object) -> Path:
        run = store.latest_judged("SKV-0101")
        assert run is not None
        record: UnitRecord = replace(source_of(small_works, store, run).record, **changes)
        pdf, _ = sign_for(small_works, certificate(record, NOW), key, ("Final test", "Holmsund"), NOW)
        path = small_works.folder / "other.pdf"
        path.write_bytes(pdf)
        return path

    return make


def test_what_the_works_issued_agrees(issued: Path, check: Callable[[Path], Verification]) -> None:
    found = check(issued)
    assert found.status is Status.VALID
    assert found.records_note == (
        "The works' records say the same: certificate SKV-0101-1, issued on 25 November 2026."
    )


def test_another_file_of_the_same_number_is_told(
    issued: Path, signed_as: Callable[..., Path], check: Callable[[Path], Verification]
) -> None:
    found = check(signed_as(operator="Somebody Else"))
    assert (found.intact, found.trusted, found.status) == (True, True, Status.CONTRADICTED)
    assert "have another file as certificate SKV-0101-1, issued on 25 November 2026" in found.sentence


def test_one_that_was_never_entered_says_so(
    signed_as: Callable[..., Path], check: Callable[[Path], Verification]
) -> None:
    assert check(signed_as()).records_note == "The works' records at hand know nothing of it."


def test_without_the_records_nothing_is_said_of_them(issued: Path, small_works: Works) -> None:
    found = verify_file(issued, own_certificates(small_works), NOW)
    assert (found.status, found.records_note) == (Status.VALID, "")


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ("UPDATE reading SET value = value + 0.01", "run SKV-0101 run 1 is not as it was entered"),
        ("UPDATE certificate SET issued = '2026-11-26 14:00:00'", "certificate SKV-0101-1 is not as it was"),
    ],
)
def test_records_that_were_changed_are_told(
    change: str, said: str, issued: Path, small_works: Works, check: Callable[[Path], Verification]
) -> None:
    with sqlite3.connect(small_works.folder / "records.sqlite") as database:
        database.execute(change)
    found = check(issued)
    assert found.status is Status.CONTRADICTED
    assert said in found.sentence


def test_a_certificate_that_another_program_would_draw_otherwise_still_agrees(
    issued: Path, small_works: Works, store: Store, check: Callable[[Path], Verification], key: SigningKey
) -> None:
    """The house may have moved since: what is drawn today is another file; the old one is none the worse."""
    moved = replace(small_works, address=("Outer Skerries",))
    run = store.latest_judged("SKV-0101")
    assert run is not None
    assert draw(source_of(moved, store, run), NOW, lambda: key).pdf != issued.read_bytes()
    assert check(issued).status is Status.VALID


def test_the_command_asks_the_records_and_ends_as_they_say(
    issued: Path, signed_as: Callable[..., Path], small_works: Works, capsys: pytest.CaptureFixture[str]
) -> None:
    assert verify(small_works.folder, issued, ((), (), ()), as_json=False) is Exit.PASS
    assert "records say the same: certificate SKV-0101-1" in capsys.readouterr().out
    other = signed_as(operator="Somebody Else")
    assert verify(small_works.folder, other, ((), (), ()), as_json=False) is Exit.FAIL
    small_works.folder.joinpath("records.sqlite").write_bytes(b"no database")
    assert verify(small_works.folder, issued, ((), (), ()), as_json=True) is Exit.PASS
    assert "Not compared with the works' records" in capsys.readouterr().err
