"""A station that fails says nothing of the unit, keeps what it measured, and can test the unit again at once."""

from __future__ import annotations

import resource
import shutil

import pytest

from fixtures_sim.faults import Fault
from fixtures_sim.server import Bench
from limits.verdict import Outcome
from station import errors
from station.database.entries import RunState
from station.desk import open_desk
from station.measurements.sweep import Hookup
from station.sequencer.events import RunBroken
from station.settings import Works

FAULTS = [
    (Fault("queued error"), errors.Refused, "System error"),
    (Fault("hangs up", seconds=0.0), errors.Gone, "INIT"),
    (Fault("not a number"), errors.Garbled, "DATA?"),
    (Fault("truncated block"), errors.InstrumentFault, "DATA?"),
    (Fault("garbage", when="*OPC?"), errors.Garbled, "*OPC?"),
]


@pytest.mark.parametrize(("fault", "kind", "named"), FAULTS, ids=[fault.kind for fault, _, _ in FAULTS])
def test_a_fault_in_mid_run_gives_no_verdict_and_the_unit_can_be_tested_at_once(
    works: Works, hands, simulated: Bench, fault: Fault, kind: type[Exception], named: str
) -> None:
    def spoil(hookup: Hookup) -> None:
        if hookup.name == "ANT-RX":
            simulated.fault(fault)

    hands.before = spoil
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        with pytest.raises(kind, match="analyzer") as caught:
            session.test("SKV-0001")
        assert named in str(caught.value)
        simulated.faults.clear()
        hands.before = lambda hookup: None
        again = session.test("SKV-0001")
        first, second = desk.history("SKV-0001").runs
        kept = desk.store.run(first.run_id)
    assert (first.state, first.outcome) == (RunState.STATION_FAULT, None)
    assert named in first.why
    assert [sweep.hookup.name for sweep in kept.sweeps] == ["TX-ANT"]
    assert any(isinstance(event, RunBroken) for event in hands.events)
    assert (second.run_number, again.verdict.outcome) == (2, Outcome.PASS)


def test_the_wrong_instrument_is_refused_before_the_first_hook_up(
    works: Works, hands, simulated: Bench
) -> None:
    simulated.fault(Fault("wrong identity"))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        with pytest.raises(errors.StationFault, match="Something else"):
            session.test("SKV-0001")
        assert hands.events == []
        assert desk.history("SKV-0001").runs == ()


def test_an_operator_who_stops_leaves_a_stopped_run_with_its_sweeps(works: Works, hands) -> None:
    hands.stop_at = "TX-RX"
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        with pytest.raises(KeyboardInterrupt):
            session.test("SKV-0001")
        hands.stop_at = ""
        again = session.test("SKV-0001")
        first, _ = desk.history("SKV-0001").runs
        kept = desk.store.run(first.run_id)
    assert first.state is RunState.STOPPED
    assert len(kept.sweeps) == 2
    assert again.verdict.outcome is Outcome.PASS


def test_a_database_that_goes_in_mid_run_is_a_station_fault_and_loses_nothing(works: Works, hands) -> None:
    database = works.folder / "records.sqlite"
    aside = works.folder / "taken-away"

    def take_away(hookup: Hookup) -> None:
        if hookup.name == "ANT-RX":
            shutil.move(database, aside)

    hands.before = take_away
    with (
        open_desk(works.folder) as desk,
        desk.bench(hands, hands.events.append) as session,
        pytest.raises(errors.StoreFault, match="moved, deleted or replaced"),
    ):
        session.test("SKV-0001")
    shutil.move(aside, database)
    hands.before = lambda hookup: None
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        assert session.test("SKV-0001").verdict.outcome is Outcome.PASS
        first, second = desk.history("SKV-0001").runs
        assert (first.state, second.state) == (RunState.RUNNING, RunState.JUDGED)
        assert [sweep.hookup.name for sweep in desk.store.run(first.run_id).sweeps] == ["TX-ANT"]


def test_a_full_disk_in_mid_run_is_a_station_fault_and_keeps_what_was_swept(works: Works, hands) -> None:
    """No file of this process may grow any more, which is how a full disk looks to SQLite."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)

    def fill(hookup: Hookup) -> None:
        if hookup.name == "ANT-RX":
            log = works.folder / "records.sqlite-wal"
            resource.setrlimit(resource.RLIMIT_FSIZE, (log.stat().st_size, hard))

    hands.before = fill
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        try:
            with pytest.raises(errors.StoreFault, match="full"):
                session.test("SKV-0001")
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        hands.before = lambda hookup: None
        again = session.test("SKV-0001")
        first, _ = desk.history("SKV-0001").runs
        assert [sweep.hookup.name for sweep in desk.store.run(first.run_id).sweeps] == ["TX-ANT"]
    assert first.outcome is None
    assert again.verdict.outcome is Outcome.PASS


def test_gain_from_a_passive_unit_is_a_doubtful_measurement_not_a_failed_unit(
    works: Works, hands, simulated: Bench
) -> None:
    """The device on the fixture amplifies, as a unit does when the analyzer's calibration is off."""
    passive = simulated.fixture.cabling.device
    assert passive is not None

    class Louder:
        label = "louder"

        def s(self, freq_hz, temperature_c):
            return 1.4 * passive.s(freq_hz, temperature_c)

    simulated.place(Louder())
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        with pytest.raises(errors.DoubtfulMeasurement, match="more than it gets"):
            session.test("SKV-0001")
        (line,) = desk.history("SKV-0001").runs
    assert line.state is RunState.STATION_FAULT
