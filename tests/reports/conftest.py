"""A unit of the invented Skerry Works as its record would be: passing, failing, undecided, and with long names.

The sweeps are synthetic: shunt branches after the closed form for a pass-reject cavity, plus a little noise.
"""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

from limits.reading import FloatArray, Reading
from limits.verdict import Decision, Level, LimitLine, Outcome, Verdict
from reports.certificate import certificate
from reports.record import Document, Instrument, Order, Panel, SweepNote, Trace, UnitRecord, Works
from reports.signing import SigningKey, make_key, sign

TX_HZ = 156.8e6
RX_HZ = 161.4e6
ISSUED = datetime(2026, 11, 25, 15, 20, tzinfo=UTC)

AT_MOST, AT_LEAST = 1, -1

# name, title, trace, at, half width of its window, value, sense, specification, works limit
ROWS: tuple[tuple[str, str, str | None, float, float, float, int, float, float], ...] = (
    (
        "tx_loss",
        "TX to ANT insertion loss at the TX frequency",
        "tx_ant",
        TX_HZ,
        0.0,
        1.314,
        AT_MOST,
        1.6,
        1.5,
    ),
    (
        "tx_loss_band",
        "TX to ANT insertion loss, worst over the TX channel",
        "tx_ant",
        TX_HZ,
        12.5e3,
        1.342,
        AT_MOST,
        1.6,
        1.5,
    ),
    ("tx_ripple", "TX to ANT ripple over the TX channel", None, TX_HZ, 12.5e3, 0.031, AT_MOST, 0.2, 0.15),
    (
        "rx_loss",
        "ANT to RX insertion loss at the RX frequency",
        "ant_rx",
        RX_HZ,
        0.0,
        1.287,
        AT_MOST,
        1.6,
        1.5,
    ),
    (
        "rx_loss_band",
        "ANT to RX insertion loss, worst over the RX channel",
        "ant_rx",
        RX_HZ,
        12.5e3,
        1.309,
        AT_MOST,
        1.6,
        1.5,
    ),
    ("rx_ripple", "ANT to RX ripple over the RX channel", None, RX_HZ, 12.5e3, 0.027, AT_MOST, 0.2, 0.15),
    (
        "isolation_at_tx",
        "TX to RX isolation at the TX frequency",
        "tx_rx",
        TX_HZ,
        0.0,
        81.46,
        AT_LEAST,
        74.0,
        75.0,
    ),
    (
        "isolation_at_rx",
        "TX to RX isolation at the RX frequency",
        "tx_rx",
        RX_HZ,
        0.0,
        79.13,
        AT_LEAST,
        74.0,
        75.0,
    ),
    (
        "tx_return_loss",
        "Return loss at TX, worst over the TX channel",
        "rl_tx",
        TX_HZ,
        12.5e3,
        27.38,
        AT_LEAST,
        18.0,
        20.0,
    ),
    (
        "ant_return_loss_tx",
        "Return loss at ANT, worst over the TX channel",
        "rl_ant",
        TX_HZ,
        12.5e3,
        26.17,
        AT_LEAST,
        18.0,
        20.0,
    ),
    (
        "rx_return_loss",
        "Return loss at RX, worst over the RX channel",
        "rl_rx",
        RX_HZ,
        12.5e3,
        29.64,
        AT_LEAST,
        18.0,
        20.0,
    ),
    (
        "ant_return_loss_rx",
        "Return loss at ANT, worst over the RX channel",
        "rl_ant",
        RX_HZ,
        12.5e3,
        24.93,
        AT_LEAST,
        18.0,
        20.0,
    ),
)


def _notch_db(freq_hz: FloatArray, pass_hz: float, notch_hz: float, depth_db: float) -> FloatArray:
    """Two equal shunt branches a quarter wave apart, told by their pass, their notch and its depth."""
    q, r = 3400.0, 320.0
    tank = r / (1 + 1j * q * (freq_hz / pass_hz - pass_hz / freq_hz))
    at_notch = r / (1 + 1j * q * (notch_hz / pass_hz - pass_hz / notch_hz))
    branch = tank - 1j * at_notch.imag
    shunt = 50.0 / (branch + 50.0 / 10 ** (depth_db / 40.0))
    return np.asarray(20 * np.log10(np.abs((shunt**2 + 2 * shunt + 2) / 2)))


def _match_db(freq_hz: FloatArray, centre_hz: float, best_db: float, seed: int) -> FloatArray:
    away = np.abs(freq_hz - centre_hz) / 0.35e6
    return np.asarray(
        best_db / (1 + away**1.4) + 0.5 + 0.03 * np.random.default_rng(seed).standard_normal(len(freq_hz))
    )


def _panels(points: int = 801) -> tuple[Panel, ...]:
    window = (TX_HZ - 2.5e6, RX_HZ + 2.5e6)
    f = np.linspace(*window, points)
    noise = np.random.default_rng(7).standard_normal((2, points))
    tx_ant, ant_rx = _notch_db(f, TX_HZ, RX_HZ, 82.0), _notch_db(f, RX_HZ, TX_HZ, 84.0)
    tx_rx = np.minimum(tx_ant + ant_rx + 0.2 * noise[0], 97 + 3 * np.abs(noise[1]))
    traces = {
        "tx_ant": Trace("tx_ant", "TX to ANT", f, tx_ant),
        "ant_rx": Trace("ant_rx", "ANT to RX", f, ant_rx),
        "tx_rx": Trace("tx_rx", "TX to RX", f, tx_rx),
        "rl_tx": Trace("rl_tx", "TX port", f, _match_db(f, TX_HZ, 29.0, 1)),
        "rl_rx": Trace("rl_rx", "RX port", f, _match_db(f, RX_HZ, 31.0, 2)),
        "rl_ant": Trace(
            "rl_ant", "ANT port", f, np.maximum(_match_db(f, TX_HZ, 27.0, 3), _match_db(f, RX_HZ, 26.0, 4))
        ),
    }
    paths = (traces["tx_ant"], traces["ant_rx"])
    near = (TX_HZ - 2.3e6, RX_HZ + 2.3e6)
    return (
        Panel("Isolation and rejection", "dB", (*paths, traces["tx_rx"]), window, (0.0, 110.0)),
        Panel("Pass bands", "dB", paths, near, (0.0, 5.0)),
        Panel("Return loss", "dB", (traces["rl_tx"], traces["rl_rx"], traces["rl_ant"]), near, (0.0, 40.0)),
    )


def _decision(reading: Reading, level: Level, sense: int, limit: float) -> Decision:
    assert reading.value is not None and reading.span_hz is not None
    margin = sense * (limit - reading.value)
    limit_text = f"{'at most' if sense == AT_MOST else 'at least'} {limit:g} dB"
    return Decision(
        reading=reading,
        level=level,
        limit_text=limit_text,
        rule="simple acceptance",
        outcome=Outcome.PASS if margin >= 0 else Outcome.FAIL,
        margin=margin,
        lines=(LimitLine(reading.span_hz, (limit, limit), limit_text),) if reading.trace else (),
    )


def _decisions(values: dict[str, float]) -> tuple[Decision, ...]:
    decisions = []
    for name, title, trace, at_hz, half_hz, value, sense, specification, works in ROWS:
        reading = Reading(
            name=name,
            title=title,
            unit="dB",
            value=values.get(name, value),
            at_hz=at_hz + 0.8 * half_hz,
            span_hz=(at_hz - half_hz, at_hz + half_hz),
            trace=trace,
        )
        decisions.append(_decision(reading, Level.SPECIFICATION, sense, specification))
        decisions.append(_decision(reading, Level.WORKS, sense, works))
    return tuple(decisions)


INFORMATION = (
    Reading("tx_notch_frequency", "TX to ANT notch frequency", "Hz", 161.40312e6, span_hz=(161.2e6, 161.6e6)),
    Reading(
        "tx_notch_depth", "TX to ANT notch depth", "dB", 82.31, at_hz=161.40312e6, span_hz=(161.2e6, 161.6e6)
    ),
    Reading("tx_match_bandwidth", "Match bandwidth at TX, 20 dB", "Hz", 412.7e3, at_hz=TX_HZ),
    Reading("rx_notch_depth", "ANT to RX notch depth", "dB", None, note="the notch lies outside the window"),
)


@pytest.fixture
def make_record() -> Callable[..., UnitRecord]:
    """A record whose readings differ from the passing ones where `values` says so."""

    def make(values: dict[str, float] | None = None, **changes: object) -> UnitRecord:
        record = UnitRecord(
            serial="SKV-0107",
            run_number=1,
            works=Works("Skerry Works", ("Quay Road 4", "Northhaven"), "final test 1"),
            order=Order(
                "W-2026-031", "Coastal Rescue Relay Service", "SK-V4", TX_HZ, RX_HZ, date(2026, 12, 1)
            ),
            recipe=Document("SK-V4 final test", "A", "3f9a02bc77d1e405" * 4),
            limits=Document("SK-V4", "C", "b81d99e0a2c45f17" * 4),
            operator="M. Tangen",
            started=datetime(2026, 11, 25, 14, 5, 12, tzinfo=UTC),
            finished=datetime(2026, 11, 25, 14, 9, 40, tzinfo=UTC),
            temperature_c=22.64,
            instruments=(
                Instrument("analyzer", "SIMULATED BENCH,VECTOR-2P,0001,1.0"),
                Instrument("thermometer", "SIMULATED BENCH,THERMO,0002,1.0"),
            ),
            sweeps=(
                SweepNote("TX-ANT, load on RX", 801, 1e3, 1, 0.0),
                SweepNote("ANT-RX, load on TX", 801, 1e3, 1, 0.0),
                SweepNote("TX-RX, load on ANT", 801, 100.0, 4, 0.0),
            ),
            verdict=Verdict(_decisions(values or {})),
            information=INFORMATION,
            panels=_panels(),
        )
        return replace(record, **changes)  # type: ignore[arg-type]

    return make


@pytest.fixture
def passing(make_record: Callable[..., UnitRecord]) -> UnitRecord:
    return make_record()


@pytest.fixture
def failing(make_record: Callable[..., UnitRecord]) -> UnitRecord:
    """One characteristic misses both limits by little, one misses the works limit only."""
    return make_record({"tx_loss": 1.604, "rx_return_loss": 19.62})


@pytest.fixture
def undecided(passing: UnitRecord) -> UnitRecord:
    """The receiver's isolation could not be read."""
    lost = replace(
        passing.verdict.decisions[14].reading,
        value=None,
        at_hz=None,
        note="cannot be told from the noise floor",
    )
    decisions = tuple(
        replace(decision, reading=lost, outcome=Outcome.UNDECIDED, margin=None)
        if decision.reading.name == lost.name
        else decision
        for decision in passing.verdict.decisions
    )
    return replace(passing, verdict=Verdict(decisions))


@pytest.fixture
def crowded(passing: UnitRecord) -> UnitRecord:
    """Long names, many characteristics, letters that a typeface may lack, U on every reading."""
    decisions = tuple(
        replace(
            decision,
            reading=replace(
                decision.reading,
                name=f"{decision.reading.name}_{copy}",
                title=f"{decision.reading.title}, at the lowest temperature of the soak, pass {copy + 1}",
                u=0.043,
            ),
        )
        for copy in range(2)
        for decision in passing.verdict.decisions
    )
    order = replace(
        passing.order,
        customer="Ørsterbygd og Håøya Redningsselskap for Kyst- og Fjordsamband, Υπηρεσία Διάσωσης 海岸",
        number="W-2026-000000000000000000000000000000000000000000000031-B",
    )
    long = Instrument("analyzer", "A VERY LONG MAKER NAME," + "0123456789ABCDEF" * 9 + ",firmware\t1.0\x07")
    return replace(
        passing,
        serial="SKV-0107-WITH-A-VERY-LONG-SERIAL-NUMBER",
        order=order,
        operator="Þórhildur Ægisdóttir-Łukasiewicz van den Überwald",
        instruments=(long, *passing.instruments),
        verdict=Verdict(decisions),
    )


@pytest.fixture
def issued() -> datetime:
    return ISSUED


@pytest.fixture
def text_of(need: Callable[[str], str], tmp_path: Path) -> Callable[..., str]:
    """What an outside reader finds in a PDF, with plain spaces and minus signs: as laid out, or in reading order."""

    def read(pdf: bytes, mode: str = "-layout") -> str:
        path = tmp_path / "read.pdf"
        path.write_bytes(pdf)
        done = subprocess.run([need("pdftotext"), mode, path, "-"], check=True, capture_output=True)
        return done.stdout.decode().replace("\u202f", " ").replace("\u2212", "-")

    return read


@pytest.fixture
def fonts_of(need: Callable[[str], str], tmp_path: Path) -> Callable[[bytes], list[tuple[str, bool]]]:
    """Each font an outside reader finds in a PDF, and whether it is embedded."""

    def read(pdf: bytes) -> list[tuple[str, bool]]:
        path = tmp_path / "fonts.pdf"
        path.write_bytes(pdf)
        done = subprocess.run([need("pdffonts"), path], check=True, capture_output=True, text=True)
        rows = [line.split() for line in done.stdout.splitlines()[2:]]
        return [(row[0], row[-5] == "yes") for row in rows]

    return read


PASSPHRASE = b"a long way to the skerry"


@pytest.fixture(scope="session")
def key_file() -> bytes:
    return make_key(
        "Skerry Works final test", "Skerry Works", PASSPHRASE, datetime(2026, 1, 1, tzinfo=UTC), 5
    )


@pytest.fixture(scope="session")
def key(key_file: bytes) -> SigningKey:
    return SigningKey.load(key_file, PASSPHRASE, ISSUED)


@pytest.fixture
def signed(passing: UnitRecord, key: SigningKey) -> bytes:
    """A signed certificate."""
    return sign(
        certificate(passing, ISSUED),
        key,
        reason="Final test of SKV-0107",
        location="Northhaven",
        signed_at=ISSUED,
    )
