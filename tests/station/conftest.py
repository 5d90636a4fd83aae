"""A small works with records, made without a bench."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import count
from pathlib import Path

import numpy as np
import pytest

from limits.reading import Reading
from limits.verdict import Decision, Level, Outcome, Verdict
from reports.record import Instrument
from station import settings
from station.database.entries import (
    Calibration,
    CalibrationHead,
    CertificateEntry,
    CertificateKind,
    DocumentKind,
    RunHead,
    RunId,
    RunState,
    StandardReset,
    StoredText,
)
from station.database.matings import Service
from station.database.store import Store
from station.desk import make_works
from station.files import write_whole
from station.keyring import make_key
from station.measurements.calibration import ErrorTerms
from station.measurements.load import Load
from station.measurements.noise import MeasuredNoise
from station.measurements.standards import Findings, Residual, Step, Use
from station.measurements.sweep import HOOKUPS, Sweep, SweepSettings
from station.orders import Serial, WorkOrder
from station.settings import Works

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
PASSPHRASE = "salt-water-9"
BENCH = """\
bench: final test 1
analyzer: {kind: vector, address: "TCPIP::192.0.2.10::5025::SOCKET", dialect: linear-single, identity: any,
  from: 300 kHz, to: 3 GHz, most_points: 1601}
"""


def run_of(serial: str, store: Store, works: Works, hour: int) -> None:
    """A run that passed, with three sweeps and a document beside it."""
    began = NOW + timedelta(hours=hour)
    recipe, limits = ((folder / "SK-V4.yaml").read_bytes() for folder in (works.recipes, works.limits))
    head = RunHead(
        Serial(serial),
        "M. Tangen",
        "final test 1",
        began,
        StoredText.of(DocumentKind.RECIPE, "SK-V4", "A", recipe),
        StoredText.of(DocumentKind.LIMIT_TABLE, "SK-V4", "A", limits),
        StoredText.of(DocumentKind.BENCH, "final test 1", "", BENCH.encode()),
        22.5,
        (Instrument("analyzer", "Any,Two-port analyzer,0,1.0"),),
    )
    key = store.begin(head)
    rng = np.random.default_rng(hour)
    for hookup in HOOKUPS:
        s = 0.1 * (rng.standard_normal((21, 2, 2)) + 1j * rng.standard_normal((21, 2, 2)))
        freq_hz = np.linspace(155.3e6, 162.9e6, 21)
        store.keep_sweep(key.run_id, Sweep(hookup, freq_hz, s, SweepSettings(1e3, 4, -10.0), began, 0.25))
    loss = Reading("tx_loss", "TX loss", "dB", 1.234567890123456 + hour, u=0.1 + 0.2, at_hz=156.6e6 + 1 / 3)
    decision = Decision(loss, Level.SPECIFICATION, "at most 1.6 dB", "simple acceptance", Outcome.PASS, 0.365)
    store.finish(key.run_id, [], Verdict((decision,)), began + timedelta(minutes=1))
    number = f"{serial}-{key.run_number}"
    pdf = f"%PDF of {number}".encode()
    path = works.certificates / f"{number}.pdf"
    write_whole(path, pdf)
    file = path.relative_to(works.folder).as_posix()
    digest = hashlib.sha256(pdf).hexdigest()
    store.keep_certificate(
        CertificateEntry(key.run_id, number, CertificateKind.CERTIFICATE, began, digest, file)
    )


@pytest.fixture
def fill() -> Callable[[Works], None]:
    """Puts two orders, three runs and their documents into a works."""

    def put(works: Works) -> None:
        with Store.open(works.database) as store:
            for number, serials in (("SKO-1", ("SKV-0101", "SKV-0102")), ("SKO-2", ("SKV-0201",))):
                units = tuple(map(Serial, serials))
                due = date(2026, 12, 18)
                store.add_orders(
                    [WorkOrder(number, "Outer Isles Rescue", "SK-V4", 156.6e6, 157.4e6, units, due)]
                )
            for hour, serial in enumerate(("SKV-0101", "SKV-0102", "SKV-0201")):
                run_of(serial, store, works, hour)

    return put


@pytest.fixture
def one_more() -> Callable[[Works, Store], None]:
    """Tests and certifies a unit once more."""
    hours = count(10)
    return lambda works, store: run_of("SKV-0102", store, works, next(hours))


@pytest.fixture
def small_works(tmp_path: Path, fill: Callable[[Works], None]) -> Works:
    """A works with a signing key whose passphrase lies in a file, and with records."""
    made = make_works(tmp_path / "works", "Skerry Works", ("Holmsund",), BENCH)
    file = made.folder / settings.FILE
    file.write_text(file.read_text().replace("passphrase: prompt", "passphrase: {file: keys/passphrase}"))
    write_whole(made.keys / "passphrase", PASSPHRASE.encode(), private=True)
    made = settings.load(made.folder)
    make_key(made, lambda: PASSPHRASE, NOW, years=2)
    (made.standards / "SKC-001.yaml").write_text("standard: SKC-001\n")
    (made.folder / "tx.s1p").write_text("# Hz S RI R 50\n1 0.1 0\n")
    fill(made)
    return made


def calibration_of(swept: Sweep) -> Calibration:
    kit = StoredText.of(DocumentKind.KIT, "works kit 2", "", b"kit: works kit 2\n")
    plane = np.full((3, 2, 2), 0.1 - 0.2j)
    terms = ErrorTerms(np.linspace(150e6, 170e6, 3), plane, plane / 3, 1 - plane, largest_step_hz=1e7)
    load = Load("of ANT", np.linspace(1e8, 2e8, 3), np.array([0.01j, 0, 0.02]), (0, 0))
    findings = Findings(
        dict.fromkeys(HOOKUPS, terms),
        (Residual("directivity", 1, 57.25, 151e6),),
        (MeasuredNoise(1e3, -114.2, 0.1 + 0.2),),
        {"ANT": load},
    )
    head = CalibrationHead("final test 1", "Signe", NOW, 43_200.0, "Any", None, "N", kit)
    return Calibration(head, findings, {Step("short", (1,), Use.CALIBRATE, HOOKUPS[0]): [swept]})


@pytest.fixture
def rich_works(small_works: Works) -> Works:
    """A works with records of every kind, and with texts that are hard to write down."""
    hard = WorkOrder(
        "=1+1",
        '\'Ørsta "Kyst", @linja\nvest',
        "SK-V4",
        156.6e6,
        157.4e6,
        (Serial("SKV-0301"),),
        date(2027, 1, 2),
    )
    with Store.open(small_works.database) as store:
        store.add_orders([hard])
        store.keep_calibration(calibration_of(store.run(RunId(1)).sweeps[0]))
        begun = store.begin(replace(store.run(RunId(1)).head, serial=Serial("SKV-0301")))
        magnitudes = replace(store.run(RunId(1)).sweeps[0], phase=False)
        magnitudes.s[:] = np.abs(magnitudes.s)
        magnitudes.s[3, 0, 0] = np.nan
        store.keep_sweep(begun.run_id, magnitudes)
        store.keep_doubt(begun.run_id, 0, "-17 dB is no return loss")
        store.break_off(begun.run_id, RunState.STATION_FAULT, "+the analyzer went silent", NOW)
        store.keep_matings("final test 1", {"cable 1": 3}, NOW)
        store.keep_service("final test 1", "cable 1", Service(NOW, "Signe", "gauged"))
        standard = WorkOrder("STANDARD", "", "CHECK", 160e6, 170e6, (Serial("SKC-001"),), date(2027, 1, 2))
        store.enter_standard(standard)
        store.keep_reset("SKC-001", StandardReset(NOW, "Signe", "new certificate"))
    return small_works
