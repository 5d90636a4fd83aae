"""All records at one moment, from either engine into either: nothing lost, nothing torn, nothing written over."""

from __future__ import annotations

import contextlib
import sqlite3
import uuid
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa

from station.database import copying, opening
from station.database.address import database_url
from station.database.entries import (
    Calibration,
    CalibrationHead,
    CertificateEntry,
    CertificateKind,
    DocumentKind,
    RunState,
    StandardReset,
    StoredText,
)
from station.database.matings import Service
from station.database.schema import metadata
from station.database.store import Store
from station.errors import StoreFault, UserMistake
from station.measurements.calibration import ErrorTerms
from station.measurements.noise import MeasuredNoise
from station.measurements.standards import Findings, Residual, Step, Use
from station.measurements.sweep import HOOKUPS

Rows = dict[str, list[dict[str, Any]]]

WRITE = """
print("ready", flush=True)
with Store.open(url) as store:
    for n in range(100_000):
        store.add_orders([make.order(f"SW-{n}", (f"A{n}", f"B{n}", f"C{n}"))])
"""


def calibration(make: SimpleNamespace) -> Calibration:
    kit = StoredText.of(DocumentKind.KIT, "works kit 2", "", b"kit: works kit 2\n")
    plane = np.full((3, 2, 2), 0.1 - 0.2j)
    terms = ErrorTerms(np.linspace(150e6, 170e6, 3), plane, plane, plane, largest_step_hz=1e7)
    findings = Findings(
        dict.fromkeys(HOOKUPS, terms),
        (Residual("directivity", 1, 57.25, 151e6),),
        (MeasuredNoise(1e3, -114.2, 0.1 + 0.2),),
    )
    head = CalibrationHead("final test 1", "Signe", make.started, 43_200.0, "Any", 22.5, "N", kit)
    return Calibration(head, findings, {Step("short", (1,), Use.CALIBRATE, HOOKUPS[0]): [make.sweep()]})


@pytest.fixture
def full(store: Store, make: SimpleNamespace) -> Store:
    """A store with something of every kind in it."""
    store.keep_calibration(calibration(make))
    first = store.begin(make.head()).run_id
    for seed in range(3):
        store.keep_sweep(first, make.sweep(seed=seed))
    store.keep_doubt(first, 0, "TX and RX look exchanged")
    store.finish(first, [make.reading("größe", None, "keine")], make.passed(), make.finished)
    store.break_off(store.begin(make.head("SKV-0102")).run_id, RunState.STOPPED, "", make.finished)
    store.keep_certificate(
        CertificateEntry(first, "SKV-0101-1", CertificateKind.CERTIFICATE, make.finished, "ab" * 32, "x.pdf")
    )
    store.keep_matings("final test 1", {"cable 1": 3}, make.started)
    store.keep_service("final test 1", "cable 1", Service(make.finished, "Signe", "gauged"))
    store.enter_standard(make.order("STANDARD", ("SKC-001",)))
    store.keep_reset("SKC-001", StandardReset(make.finished + timedelta(days=1), "Signe", "new certificate"))
    return store


def rows(url: str) -> Rows:
    """Everything that is in a database, by the schema's own types."""
    engine = opening.make_engine(database_url(url), wait_s=5, writable=True)
    try:
        with engine.begin() as connection:
            return {
                table.name: [
                    dict(row)
                    for row in connection.execute(
                        sa.select(table).order_by(*table.primary_key.columns)
                    ).mappings()
                ]
                for table in metadata.sorted_tables
            }
    finally:
        engine.dispose()


@pytest.fixture
def copied(full: Store, tmp_path: Path) -> Path:
    """A copy of the full store."""
    full.copy_to(tmp_path / "copy.sqlite")
    return tmp_path / "copy.sqlite"


def test_a_copy_of_either_engine_holds_every_row_as_it_was(url, copied):
    found = rows(copying.url_of(copied))
    assert found == rows(url)
    filled = {name for name, some in found.items() if some}
    assert filled >= {
        "work_order", "unit", "document", "run", "instrument", "load", "sweep", "reading", "decision", "certificate",
        "calibration", "error_terms", "residual", "noise", "standard_sweep", "cable_event", "standard_reset",
    }  # fmt: skip


def test_a_copy_is_one_sound_file_that_any_program_reads(copied):
    assert copied.parent.joinpath("copy.sqlite-wal").exists() is False
    assert copying.unsound(copied) == ""
    with contextlib.closing(sqlite3.connect(f"file:{copied}?mode=ro&immutable=1", uri=True)) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_pages_that_were_damaged_are_found(copied):
    data = bytearray(copied.read_bytes())
    data[4096:8192] = bytes(4096)
    copied.write_bytes(data)
    assert copying.unsound(copied) != ""


@pytest.fixture(params=["sqlite", "postgresql"])
def target(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[str]:
    """Another empty database of each kind."""
    if request.param == "sqlite":
        yield f"sqlite:///{tmp_path}/other.sqlite"
        return
    server = request.getfixturevalue("server")
    name = f"other_{uuid.uuid4().hex}"
    server.do(f"CREATE DATABASE {name}")
    yield server.url(name)
    server.do(f"DROP DATABASE {name} WITH (FORCE)")


def test_a_copy_fills_an_empty_database_of_either_engine_and_work_goes_on_there(target, copied, make):
    with Store.open(target, create=True) as there, Store.open(copying.url_of(copied)) as here:
        there.fill_from(here)
    assert rows(target) == rows(copying.url_of(copied))
    with Store.open(target) as there:
        there.add_orders([make.order("SW-2025-040", ("SKV-0900",))])
        assert there.begin(make.head("SKV-0900")).run_number == 1
        there.keep_matings("final test 1", {"cable 1": 1}, make.started)


def test_records_are_never_filled_into_a_database_that_has_some(url, copied, full):
    before = rows(url)
    with (
        Store.open(copying.url_of(copied)) as here,
        pytest.raises(UserMistake, match=r"holds records already \(in its table .*name an empty one"),
    ):
        full.fill_from(here)
    assert rows(url) == before


def test_a_copy_is_of_one_moment_while_another_program_writes(url, store, start, tmp_path):
    child = start(WRITE, url)
    assert child.stdout.readline() == "ready\n"
    seen = 0
    for n in range(40):
        store.copy_to(tmp_path / f"{n}.sqlite")
        counts = rows(copying.url_of(tmp_path / f"{n}.sqlite"))
        orders = len(counts["work_order"])
        # The fixture's own order has two units, each of the other program's three.
        assert len(counts["unit"]) == 3 * orders - 1
        seen += orders > 1
        if seen == 5:
            break
    assert child.poll() is None
    assert seen == 5


def test_a_file_that_is_there_is_not_written_over(store, tmp_path):
    (tmp_path / "copy.sqlite").write_bytes(b"mine")
    with pytest.raises(StoreFault, match=r"copy\.sqlite"):
        store.copy_to(tmp_path / "copy.sqlite")
    assert (tmp_path / "copy.sqlite").read_bytes() == b"mine"
