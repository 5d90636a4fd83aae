"""A station that fails says nothing of the unit, keeps what it measured, and can test the unit again at once."""

from __future__ import annotations

import resource
import shutil
import subprocess
import sys

import numpy as np
import pytest

from fixtures_sim.faults import Fault
from fixtures_sim.server import Bench
from limits.verdict import Outcome
from station import errors
from station.database.entries import RunState
from station.desk import open_desk
from station.measurements.sweep import Hookup
from station.sequencer.events import RunBroken, SweepStored
from station.settings import Works

FAULTS = [
    (Fault("queued error"), errors.Refused, "System error"),
    (Fault("hangs up", seconds=0.0), errors.Gone, "the connection ended"),
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
        assert (first.state, second.state) == (RunState.STATION_FAULT, RunState.JUDGED)
        assert first.why == "the program ended in mid-run"
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


def test_an_empty_fixture_is_a_doubtful_hook_up_not_a_failed_unit(
    works: Works, hands, simulated: Bench
) -> None:
    simulated.place(Nothing())
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        with pytest.raises(errors.DoubtfulMeasurement, match="as if no unit were connected"):
            bench.test("SKV-0001")
        (line,) = desk.history("SKV-0001").runs
    assert line.state is RunState.STATION_FAULT


class Nothing:
    """Three open cable ends."""

    label = "nothing"

    def s(self, freq_hz, temperature_c):
        return np.broadcast_to(np.eye(3, dtype=complex), (len(freq_hz), 3, 3)).copy()


def test_a_fault_of_the_program_itself_also_closes_the_run(works: Works, hands) -> None:
    def listen(event: object) -> None:
        if isinstance(event, SweepStored):
            raise ZeroDivisionError("a listener that fails")

    with open_desk(works.folder) as desk, desk.bench(hands, listen) as bench:
        with pytest.raises(ZeroDivisionError):
            bench.test("SKV-0001")
        (line,) = desk.history("SKV-0001").runs
    assert line.state is RunState.STATION_FAULT
    assert "ZeroDivisionError: a listener that fails" in line.why


def test_a_bench_is_used_by_one_program_at_a_time(works: Works, hands) -> None:
    with (
        open_desk(works.folder) as desk,
        desk.bench(hands, hands.events.append),
        pytest.raises(errors.StationFault, match="in use by another program"),
        desk.bench(hands, hands.events.append),
    ):
        pass
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        assert bench.test("SKV-0001").verdict.outcome is Outcome.PASS


def test_a_run_whose_program_was_killed_is_closed_when_the_bench_is_next_opened(works: Works, hands) -> None:
    script = (
        "import os, sys; from pathlib import Path; from station.desk import open_desk\n"
        "class Dying:\n"
        "    name, answers = 'Signe', False\n"
        "    def hook_up(self, serial, hookup): os.kill(os.getpid(), 9)\n"
        f"with open_desk(Path({str(works.folder)!r})) as desk, desk.bench(Dying(), lambda event: None) as bench:\n"
        "    bench.test('SKV-0001')\n"
    )
    assert subprocess.run([sys.executable, "-c", script], check=False).returncode == -9
    with open_desk(works.folder) as desk:
        assert [line.state for line in desk.history("SKV-0001").runs] == [RunState.RUNNING]
        with desk.bench(hands, hands.events.append) as bench:
            bench.test("SKV-0001")
        assert [line.state for line in desk.history("SKV-0001").runs] == [
            RunState.STATION_FAULT,
            RunState.JUDGED,
        ]
