"""A store in a folder of its own, and everything a run of a unit puts into it."""

from __future__ import annotations

import ctypes
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pytest

from limits.reading import Claim, Reading
from limits.verdict import Decision, Level, LimitLine, Outcome, Verdict
from reports.record import Instrument
from reports.resolution import Resolution, Ruling
from station.database.approvals import Approval
from station.database.disposition import Fate
from station.database.entries import (
    Because,
    Calibration,
    CalibrationHead,
    CertificateEntry,
    CertificateKind,
    DocumentKind,
    LoadText,
    RunHead,
    RunState,
    StandardReset,
    StoredText,
)
from station.database.matings import Service
from station.database.person import ActEntry, Answer, Change, PersonEvent
from station.database.store import Store
from station.measurements.calibration import ErrorTerms
from station.measurements.load import Load
from station.measurements.noise import MeasuredNoise
from station.measurements.standards import Findings, Residual, Step, Use
from station.measurements.sweep import HOOKUPS, Hookup, Sweep, SweepSettings
from station.orders import Serial, WorkOrder
from station.rights import Act, Role

CHILD = f"""
import importlib.util, sys
spec = importlib.util.spec_from_file_location("makers", {__file__!r})
make = importlib.util.module_from_spec(spec)
spec.loader.exec_module(make)
from station.database.store import Store
from station.errors import StoreFault
url = sys.argv[1]
"""
"""How every program of a test begins."""

STARTED = datetime(2025, 3, 3, 8, 30, 0, 123456, tzinfo=UTC)


def order(number: str = "SW-2025-031", serials: tuple[str, ...] = ("SKV-0101", "SKV-0102")) -> WorkOrder:
    units = tuple(Serial(serial) for serial in serials)
    return WorkOrder(number, "Outer Isles Rescue", "SK-V4", 156.8e6, 161.4e6, units, date(2025, 4, 1))


def head(serial: str = "SKV-0101") -> RunHead:
    return RunHead(
        serial=Serial(serial),
        operator="M. Hale",
        station="final test 1",
        started=STARTED,
        recipe=StoredText.of(DocumentKind.RECIPE, "SK-V4", "3", b"model: SK-V4\r\nrevision: 3\r\n"),
        limits=StoredText.of(DocumentKind.LIMIT_TABLE, "SK-V4", "2", "limits: {} # ± 12.5 kHz\n".encode()),
        bench=StoredText.of(DocumentKind.BENCH, "bench", "1", b"instruments: []\n"),
        temperature_c=23.4,
        instruments=(
            Instrument("analyzer", "Any,Two-port analyzer,0,1.0"),
            Instrument("thermometer", "Any,T,0,1"),
        ),
        loads=tuple(
            LoadText(port, StoredText.of(DocumentKind.LOAD, name, "", f"! {name}\r\n0.15 0.01 0\n".encode()))
            for port, name in (("TX", "load-1.s1p"), ("ANT", "load-2.s1p"), ("RX", "load-1.s1p"))
        ),
    )


def sweep(hookup: Hookup = HOOKUPS[0], points: int = 51, seed: int = 1) -> Sweep:
    rng = np.random.default_rng(seed)
    s = rng.standard_normal((points, 2, 2)) + 1j * rng.standard_normal((points, 2, 2))
    return Sweep(
        hookup=hookup,
        freq_hz=np.linspace(155.3e6, 162.9e6, points),
        s=0.1 * s,
        settings=SweepSettings(bandwidth_hz=1e3, averages=4, power_dbm=-10.0),
        started=STARTED + timedelta(seconds=seed),
        took_s=0.25,
    )


def reading(name: str = "tx_loss", value: float | None = 1.234567890123456, note: str = "") -> Reading:
    return Reading(
        name=name,
        title=f"{name} in words",
        unit="dB",
        value=value,
        u=0.1 + 0.2,
        at_hz=156.8e6 + 1 / 3,
        span_hz=(156.7875e6, 156.8125e6),
        trace="TX-ANT",
        note=note,
        claim=Claim.AT_LEAST,
    )


def decision(about: Reading, outcome: Outcome = Outcome.PASS, level: Level = Level.WORKS) -> Decision:
    line = LimitLine((156.7875e6, 156.8125e6), (1.5, 1.5), "at most 1.5 dB")
    margin = None if about.value is None else 1.5 - about.value
    return Decision(about, level, "at most 1.5 dB", "simple acceptance", outcome, margin, (line,))


def passed() -> Verdict:
    about = reading()
    return Verdict((decision(about, level=Level.SPECIFICATION), decision(about)))


def failed() -> Verdict:
    good, bad, hole = (
        reading(),
        reading("rx_return_loss", 11.0),
        reading("notch_depth", None, "no notch found"),
    )
    return Verdict(
        (
            decision(good),
            decision(bad, Outcome.FAIL, Level.SPECIFICATION),
            decision(bad, Outcome.FAIL),
            decision(hole, Outcome.UNDECIDED),
        )
    )


def undecided() -> Verdict:
    return Verdict((decision(reading(), Outcome.UNDECIDED),))


def calibration(station: str = "final test 1", hours: float = 0.0) -> Calibration:
    rng = np.random.default_rng(1)
    planes = [rng.normal(size=(5, 2, 2)) + 1j * rng.normal(size=(5, 2, 2)) for _ in range(3)]
    kit = StoredText.of(DocumentKind.KIT, "works N kit 2", "1", b"kit: works N kit 2\n")
    calibration_head = CalibrationHead(
        station, "Signe", STARTED + timedelta(hours=hours), 43_200.0, "Any,Analyzer,1,1.0", 22.5, "N, 1.5 m", kit,
        load_return_loss_db=46.0,
    )  # fmt: skip
    findings = Findings(
        terms=dict.fromkeys(HOOKUPS, ErrorTerms(np.linspace(150e6, 170e6, 5), *planes, largest_step_hz=5e6)),
        residuals=(Residual("directivity", 1, 57.25, 151e6),),
        noise=(MeasuredNoise(1e3, -114.2, 0.0021, -120.5),),
        loads={
            "ANT": Load("of ANT", np.linspace(1e8, 2e8, 3), np.array([0.01j, 0, 0.02]), (0, 0)),
        },
    )
    step = Step("short", (1,), Use.CALIBRATE, HOOKUPS[0])
    return Calibration(calibration_head, findings, {step: [sweep()]})


def resolution(number: int = 1) -> Resolution:
    return Resolution(
        number, Ruling.RELEASE, "Astrid Holm", STARTED + timedelta(days=number), "as agreed", number - 1 or None,
        f'{{"number": {number}}}', b"\x30\x00", "ab" * 32,
    )  # fmt: skip


AGAIN = Because("cabling", "the cabling was doubted", "RX cable loose")


def fill(store: Store) -> None:
    """At least one row of every table that records are kept in; the order is there already."""
    calibrated = store.keep_calibration(calibration())
    run = store.begin(replace(head(), calibration=calibrated, settled_since=STARTED, because=AGAIN)).run_id
    for seed in (1, 2):
        store.keep_sweep(run, sweep(points=3, seed=seed))
    store.keep_doubt(run, 0, "TX and RX cables are exchanged")
    store.keep_end_temperature(run, 23.5)
    store.finish(run, (reading("for information"),), failed(), STARTED)
    sheet = CertificateEntry(
        run, "SKV-0101-1", CertificateKind.FAILURE_SHEET, STARTED, "cd" * 32, "certificates/SKV-0101-1.pdf"
    )
    store.keep_certificate(sheet)
    open_point = store.begin(head("SKV-0102")).run_id
    store.finish(open_point, (), undecided(), STARTED)
    store.keep_resolution(open_point, resolution())
    store.break_off(store.begin(head()).run_id, RunState.STATION_FAULT, "the analyzer fell silent", STARTED)
    standard = replace(order("reference", ("SKC-001",)), customer="", model="CHECK")
    store.enter_standard(standard)
    store.finish(store.begin(head("SKC-001")).run_id, (), passed(), STARTED)
    store.keep_reset("SKC-001", StandardReset(STARTED, "Astrid Holm", "certified anew"))
    store.keep_matings("final test 1", {"cable 1": 2, "cable 2": 1}, STARTED)
    store.keep_service("final test 1", "cable 1", Service(STARTED, "Signe", "new connector"))
    event = PersonEvent("Astrid Holm", Change.ADDED, "", STARTED, (Role.ADMINISTRATOR,), "", "$argon2id$...")
    store.keep_person_event(event)
    store.keep_disposition("SKV-0102", Fate.SCRAP, "Astrid Holm", STARTED, "dropped")
    store.keep_approval(Approval(head().recipe, "Astrid Holm", STARTED, "as agreed"))
    store.keep_act(ActEntry("Astrid Holm", next(iter(Act)), "SKV-0101", STARTED, Answer.ALLOWED))


def like_anybody() -> None:
    """In a child: take from root the right to write where permissions forbid it."""
    drop_from_bounding_set = 24
    for dac_override_or_read_search in (1, 2):
        ctypes.CDLL(None).prctl(drop_from_bounding_set, dac_override_or_read_search, 0, 0, 0)


@pytest.fixture
def start() -> Iterator[Callable[..., subprocess.Popen[str]]]:
    """Start a program of its own on the database at a URL, as anybody, not as root; gone when the test ends."""
    started: list[subprocess.Popen[str]] = []

    def begin(body: str, url: str) -> subprocess.Popen[str]:
        child = subprocess.Popen(
            [sys.executable, "-W", "error", "-c", CHILD + body, url],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            preexec_fn=like_anybody,
        )  # fmt: skip
        started.append(child)
        return child

    yield begin
    for child in started:
        child.kill()
        child.communicate()


@pytest.fixture
def said(start: Callable[..., subprocess.Popen[str]]) -> Callable[[str, str], str]:
    """Run such a program to its end; what it printed, or the traceback it died of."""

    def run(body: str, url: str) -> str:
        out, err = start(body, url).communicate(timeout=60)
        return out or err

    return run


@pytest.fixture
def make() -> SimpleNamespace:
    """Makers of the values a store keeps."""
    return SimpleNamespace(
        order=order, head=head, sweep=sweep, reading=reading, decision=decision, passed=passed, failed=failed,
        undecided=undecided, calibration=calibration, resolution=resolution, fill=fill,
        started=STARTED, finished=STARTED + timedelta(seconds=42),
    )  # fmt: skip


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    """An open store with one work order of two units."""
    with Store.open(url, create=True) as opened:
        opened.add_orders([order()])
        yield opened
