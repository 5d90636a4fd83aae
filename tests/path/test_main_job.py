"""A serial number goes in, a bench answers over VISA, a verdict is stored, a signed PDF comes out."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime

import numpy as np
import pytest
import skrf

from fixtures_sim.server import Bench, running_bench
from fixtures_sim.specimen import combline_pair
from fixtures_sim.units import Unit, build_unit, defect_from
from limits.reading import Reading
from limits.verdict import Level, Outcome
from station.desk import open_desk
from station.issuing import verify_file
from station.keyring import open_key, own_certificates
from station.measurements.sweep import HOOKUPS
from station.sequencer.events import HookupAsked, ReadingMade, RunStarted, SweepStored, VerdictReached
from station.settings import Works

FLOAT32_STEP = 2.0**-22
FLOAT32_DB = 2e-5
"""`list-all` fetches REAL,32: an S-parameter keeps 24 bits, worth 1e-6 dB where |S| is near 1, and a notch frequency
placed by a parabola moves with it."""

NOISE_DB = 0.03
"""Trace noise of the simulated analyzer is 0.002 dB; a worst value over a band collects a few sigma of it."""


def test_a_sound_unit_gets_a_certificate_that_verifies(works: Works, hands) -> None:
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        judged = session.test("SKV-0001", temperature_c=23.0)
        assert judged.verdict.outcome is Outcome.PASS
        key = open_key(works, "salt-water-9", desk.clock())
        issued = desk.certify("SKV-0001", None, lambda: key)
        history = desk.history("skv-0001")
    assert issued.path.name == "SKV-0001-1.pdf"
    assert hashlib.sha256(issued.path.read_bytes()).hexdigest() == history.certificates[0].sha256
    found = verify_file(issued.path, own_certificates(works), datetime.now(UTC))
    assert found.status == "valid"
    assert found.signer == "Skerry Works final test"


def test_the_events_tell_the_run_from_start_to_verdict(works: Works, hands) -> None:
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        session.test("SKV-0001")
    kinds = [type(event) for event in hands.events]
    assert kinds[0] is RunStarted
    assert kinds[1:7] == [HookupAsked, SweepStored] * 3
    assert [event.hookup for event in hands.events if isinstance(event, HookupAsked)] == list(HOOKUPS)
    assert kinds[7:-1] == [ReadingMade] * 19
    assert kinds[-1] is VerdictReached


@pytest.mark.parametrize(
    ("defects", "worst"),
    [
        ([{"kind": "pass off", "cavity": 1, "khz": 100}], "tx_return_loss"),
        ([{"kind": "wrong jumper", "side": "TX", "mm": -250}], "isolation_window"),
    ],
    ids=["untuned cavity", "wrong jumper"],
)
def test_a_unit_built_wrong_fails_and_gets_a_failure_sheet(
    works: Works, hands, simulated: Bench, defects: list[dict[str, object]], worst: str
) -> None:
    careful = {"kind": "tolerance", "percent": 30}
    made = tuple(defect_from(defect) for defect in [careful, *defects])
    simulated.place(build_unit("SK-V4", "SKV-0002", 156.6e6, 157.4e6, 1, made))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        judged = session.test("SKV-0002")
        issued = desk.certify("SKV-0002", None, lambda: pytest.fail("a failure sheet asks for no key"))
    assert judged.verdict.outcome is Outcome.FAIL
    assert not judged.verdict.meets_specification
    assert worst in {decision.reading.name for decision in judged.verdict.failed()}
    assert issued.path.name == "SKV-0002-1 failure sheet.pdf"
    assert verify_file(issued.path, own_certificates(works), datetime.now(UTC)).status == "not signed"


def test_a_marginal_unit_fails_the_works_limit_and_meets_the_specification(
    works: Works, hands, simulated: Bench
) -> None:
    made = tuple(
        defect_from(defect)
        for defect in (
            {"kind": "tolerance", "percent": 5},
            {"kind": "pass off", "cavity": 2, "khz": 36},
        )
    )
    simulated.place(build_unit("SK-V4", "SKV-0003", 156.6e6, 157.4e6, 1, made))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        verdict = session.test("SKV-0003").verdict
    assert verdict.outcome is Outcome.FAIL
    assert verdict.meets_specification
    assert {decision.level for decision in verdict.failed()} == {Level.WORKS}


def test_every_reading_of_measured_filters_is_what_scikit_rf_reads_from_them(
    works: Works, hands, simulated: Bench
) -> None:
    """Two openly licensed measured filters joined at a tee lie on the fixture; scikit-rf reads the same network."""
    specimen = combline_pair()
    simulated.place(specimen)
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        verdict = session.test("SKL-0001").verdict
    readings = {event.reading.name: event.reading for event in hands.events if isinstance(event, ReadingMade)}
    assert verdict.outcome is Outcome.PASS

    def network(centre_hz: float, half_hz: float, step_hz: float) -> skrf.Network:
        count = round(2 * half_hz / step_hz) + 1
        freq_hz = centre_hz + np.linspace(-half_hz, half_hz, count)
        return skrf.Network(f=freq_hz, f_unit="hz", s=specimen.s(freq_hz, 23.0))

    tx, ant, rx = 0, 1, 2
    # The recipe's 250 kHz fit the 47 MHz between the channels, so both sides look at the same frequencies.
    at_tx, at_rx = network(1575e6, 5e6, 250e3), network(1622e6, 5e6, 250e3)
    near_tx, near_rx = network(1575e6, 1e6, 250e3), network(1622e6, 1e6, 250e3)
    mid = 20
    expected_db = {
        "tx_loss": -at_tx.s_db[mid, ant, tx],
        "tx_loss_band": (-at_tx.s_db[:, ant, tx]).max(),
        "tx_ripple": np.ptp(at_tx.s_db[:, ant, tx]),
        "rx_loss": -at_rx.s_db[mid, rx, ant],
        "rx_loss_band": (-at_rx.s_db[:, rx, ant]).max(),
        "rx_ripple": np.ptp(at_rx.s_db[:, rx, ant]),
        "isolation_at_tx": -at_tx.s_db[mid, rx, tx],
        "isolation_at_rx": -at_rx.s_db[mid, rx, tx],
        "tx_rejection": (-at_rx.s_db[:, ant, tx]).min(),
        "rx_rejection": (-at_tx.s_db[:, rx, ant]).min(),
        "tx_return_loss": (-near_tx.s_db[:, tx, tx]).min(),
        "ant_return_loss_tx": (-near_tx.s_db[:, ant, ant]).min(),
        "rx_return_loss": (-near_rx.s_db[:, rx, rx]).min(),
        "ant_return_loss_rx": (-near_rx.s_db[:, ant, ant]).min(),
    }
    for name, value in expected_db.items():
        reading = readings[name]
        assert isinstance(reading, Reading)
        assert reading.value == pytest.approx(value, abs=NOISE_DB), name
    for name, band in (("isolation_tx_band", at_tx), ("isolation_rx_band", at_rx)):
        curve = readings[name]
        assert np.abs(curve.value - -band.s_db[:, rx, tx]).max() < NOISE_DB, name


def careful_unit() -> Unit:
    return build_unit(
        "SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, (defect_from({"kind": "tolerance", "percent": 30}),)
    )


@pytest.mark.parametrize(
    ("dialect", "port"), [("linear-single", "hislip"), ("list-all", "socket"), ("list-all", "hislip")]
)
def test_both_dialects_over_both_links_give_the_same_readings(
    works: Works, hands, point_bench, dialect: str, port: str
) -> None:
    """Each with a bench of its own, whose noise starts anew; the reference is linear-single over the socket."""

    def values(chosen: str, link: str) -> dict[str, float | None]:
        with running_bench(seed=1, device=careful_unit()) as bench:
            address = bench.socket_address if link == "socket" else bench.hislip_address
            point_bench(works, address, chosen)
            hands.bench = bench
            hands.events.clear()
            with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
                session.test("SKV-0001")
        return {
            event.reading.name: event.reading.value
            for event in hands.events
            if isinstance(event, ReadingMade)
        }

    reference, other = values("linear-single", "socket"), values(dialect, port)
    assert len(other) == 19
    for name, value in other.items():
        assert value == pytest.approx(reference[name], rel=FLOAT32_STEP, abs=FLOAT32_DB), name
