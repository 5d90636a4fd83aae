"""Warm-up and temperature, from the recipe to the record: who waits, what is refused, and what a run tells."""

from __future__ import annotations

import json
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import pytest

from fixtures_sim.scpi.box import Box, Command, Session
from fixtures_sim.tcp import Listener
from limits.verdict import Outcome
from station.database.entries import RunState
from station.desk import open_desk
from station.errors import Garbled, StationFault, UserMistake
from station.sequencer.events import HookupAsked
from station.settings import Works

SERIAL = "SKV-0001"
SETTLE = "{settle: 20 min}"
WINDOW = "{temperature: 18 to 28 °C, most_change: 2 K}"


@dataclass
class Clock:
    """Stands still but for what the hands wait."""

    now: datetime

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def ask(works: Works) -> Callable[[str], None]:
    """Writes conditions into the recipe of SK-V4."""

    def write(conditions: str) -> None:
        file = works.recipes / "SK-V4.yaml"
        text = file.read_text(encoding="utf-8")
        file.write_text(
            text.replace("overview:", f"conditions: {conditions}\noverview:", 1), encoding="utf-8"
        )

    return write


@dataclass
class Probe:
    """A thermometer on loopback."""

    address: str
    readings: list[str]
    """What it answers, the last one again and again."""


@pytest.fixture
def probe(works: Works) -> Iterator[Probe]:
    """A SCPI thermometer, and a bench file that names it."""
    box = Box("Skerry Works,Thermometer of a test,0,1.0")
    served = Probe("", ["23.0"])

    def answer(*_: object) -> bytes:
        value = served.readings.pop(0) if len(served.readings) > 1 else served.readings[0]
        return value.encode()

    box.teach((Command("MEASure[:SCALar]:TEMPerature?", answer),))

    def serve(line: socket.socket) -> None:
        with line.makefile("rb") as messages:
            for message in messages:
                line.sendall(box.converse(message.rstrip(), Session()))

    listener = Listener("thermometer", serve, 0)
    served.address = f"TCPIP::127.0.0.1::{listener.start()}::SOCKET"
    with works.bench.open("a", encoding="utf-8") as file:
        file.write(f"thermometer: {{address: '{served.address}', identity: Thermometer of a test}}\n")
    try:
        yield served
    finally:
        listener.stop()


def run(works: Works, hands, clock=None, **said):
    """One test of the unit, with the run as it is kept."""
    desk_of = open_desk(works.folder) if clock is None else open_desk(works.folder, clock)
    with desk_of as desk, desk.bench(hands, hands.events.append) as bench:
        judged = bench.test(SERIAL, **said)
        return judged, desk.store.run(judged.key.run_id)


def refused(works: Works, hands, kind: type[Exception], clock=None, **said) -> str:
    """What was said to a test that was refused before the first hook-up and left no run."""
    desk_of = open_desk(works.folder) if clock is None else open_desk(works.folder, clock)
    with desk_of as desk:
        with desk.bench(hands, hands.events.append) as bench, pytest.raises(kind) as caught:
            bench.test(SERIAL, **said)
        assert desk.history(SERIAL).runs == ()
    assert not any(isinstance(event, HookupAsked) for event in hands.events)
    return str(caught.value)


def broken(works: Works, hands, kind: type[Exception]) -> str:
    """What a run that was broken off keeps as its reason; its sweeps stay."""
    with open_desk(works.folder) as desk:
        with desk.bench(hands, hands.events.append) as bench, pytest.raises(kind):
            bench.test(SERIAL)
        (line,) = desk.history(SERIAL).runs
        kept = desk.store.run(line.run_id)
    assert (line.state, line.outcome, len(kept.sweeps)) == (RunState.STATION_FAULT, None, 3)
    return line.why


def test_a_unit_that_has_settled_is_tested_at_once(works: Works, hands, ask) -> None:
    ask(SETTLE)
    judged, kept = run(works, hands)
    assert (judged.verdict.outcome, hands.waited_s) == (Outcome.PASS, [])
    assert (kept.head.started - kept.head.settled_since).total_seconds() == pytest.approx(3600.0, abs=60.0)


def test_a_unit_that_came_too_late_is_waited_for(works: Works, hands, ask) -> None:
    ask(SETTLE)
    clock = Clock(datetime(2025, 3, 31, 12, 0, tzinfo=UTC))
    hands.been_there_s = 300.0
    hands.on_wait = lambda left_s: setattr(clock, "now", clock.now + timedelta(seconds=left_s))
    judged, kept = run(works, hands, clock)
    assert (judged.verdict.outcome, hands.waited_s) == (Outcome.PASS, [900.0])
    assert kept.head.started - kept.head.settled_since == timedelta(minutes=20)


def test_nobody_waits_for_a_station_that_is_not_ready_for_another_reason(works: Works, hands, ask) -> None:
    ask(SETTLE)
    works.key.unlink()
    hands.been_there_s = 300.0
    assert "the signing key is missing" in refused(works, hands, StationFault)
    assert hands.waited_s == []


def test_a_wait_that_was_not_waited_out_does_not_count(works: Works, hands, ask) -> None:
    ask(SETTLE)
    hands.been_there_s = 300.0
    said = refused(works, hands, StationFault, Clock(datetime(2025, 3, 31, 12, 0, tzinfo=UTC)))
    assert "not ready to test: SKV-0001 has been at the bench for 5 min of the 20 min" in said
    assert said.endswith("wait 15 min more and test again")


def test_what_was_said_beforehand_is_not_asked(works: Works, hands, ask) -> None:
    ask(SETTLE)
    hands.been_there_s = 0.0
    since = datetime.now(UTC) - timedelta(hours=2)
    _, kept = run(works, hands, settled_since=since)
    assert kept.head.settled_since == since


def test_a_unit_out_of_the_window_is_refused_before_the_first_hook_up(works: Works, hands, ask) -> None:
    ask(WINDOW)
    hands.reads_c = [31.0]
    said = refused(works, hands, StationFault)
    assert said == (
        "not ready to test: SKV-0001 is at 31.0 °C, and its recipe asks for 18 to 28 °C; "
        "let it cool down at the bench and test again"
    )


def test_both_temperatures_are_kept(works: Works, hands, ask) -> None:
    ask(WINDOW)
    hands.reads_c = [22.0, 23.5]
    judged, kept = run(works, hands)
    assert judged.verdict.outcome is Outcome.PASS
    assert (kept.head.temperature_c, kept.temperature_end_c) == (22.0, 23.5)


def test_a_unit_that_drifted_out_of_the_window_is_a_fault_of_the_station(works: Works, hands, ask) -> None:
    ask(WINDOW)
    hands.reads_c = [27.0, 28.6]
    assert broken(works, hands, StationFault) == (
        "SKV-0001 was at 27.0 °C when the run began and at 28.6 °C when it ended, and its recipe asks for "
        "18 to 28 °C; let it settle at the bench and test again"
    )


def test_a_unit_that_changed_too_much_is_a_fault_of_the_station(works: Works, hands, ask) -> None:
    ask(WINDOW)
    hands.reads_c = [20.0, 22.5]
    assert "more than the 2 K apart" in broken(works, hands, StationFault)


def test_a_recipe_that_asks_for_nothing_asks_nobody(works: Works, hands) -> None:
    hands.answers = False
    _, kept = run(works, hands)
    assert (kept.head.temperature_c, kept.temperature_end_c, kept.head.settled_since) == (None, None, None)


def test_the_thermometer_of_the_bench_is_read_and_named_in_the_record(works: Works, hands, probe) -> None:
    probe.readings = ["22.5", "22.8"]
    hands.answers = False
    _, kept = run(works, hands)
    assert (kept.head.temperature_c, kept.temperature_end_c) == (22.5, 22.8)
    named = {each.role: each.identity for each in kept.head.instruments}
    assert named["thermometer"] == "Skerry Works,Thermometer of a test,0,1.0"


def test_what_is_typed_goes_before_the_thermometer(works: Works, hands, probe) -> None:
    _, kept = run(works, hands, temperature_c=21.0)
    assert (kept.head.temperature_c, kept.temperature_end_c) == (21.0, None)
    assert "thermometer" not in {each.role for each in kept.head.instruments}


def test_a_thermometer_that_reads_nonsense_stops_the_test_before_the_first_hook_up(
    works: Works, hands, probe
) -> None:
    probe.readings = ["296.1"]
    said = refused(works, hands, Garbled)
    assert "thermometer at TCPIP" in said
    assert "look at the sensor, and whether it reads in °C" in said


def test_a_thermometer_that_fails_at_the_end_takes_the_verdict_with_it(works: Works, hands, probe) -> None:
    probe.readings = ["23.0", "nothing"]
    assert "this is no temperature" in broken(works, hands, Garbled)


def test_without_input_a_settle_time_that_nobody_said_is_asked_for_by_its_option(
    works: Works, hands, ask
) -> None:
    ask(SETTLE)
    hands.answers = False
    said = refused(works, hands, UserMistake)
    assert said == (
        "the recipe of SKV-0001 asks how long it has been at the bench, and nobody may be asked; give "
        "--settled-since 10:20, or leave out --no-input"
    )


def test_without_input_nobody_waits(works: Works, hands, ask) -> None:
    ask(SETTLE)
    hands.answers = False
    now = datetime(2025, 3, 31, 12, 0, tzinfo=UTC)
    said = refused(works, hands, StationFault, Clock(now), settled_since=now - timedelta(minutes=18))
    assert "has been at the bench for 18 min of the 20 min" in said
    assert hands.waited_s == []


def test_without_input_a_typed_temperature_is_refused_since_nobody_could_type_the_second(
    works: Works, hands, ask, probe
) -> None:
    ask(WINDOW)
    hands.answers = False
    said = refused(works, hands, UserMistake, temperature_c=23.0)
    assert "leave out --temperature, or leave out --no-input" in said
    judged, _ = run(works, hands)
    assert judged.verdict.outcome is Outcome.PASS


def test_without_input_and_thermometer_the_way_out_is_a_thermometer(works: Works, hands, ask) -> None:
    ask(WINDOW)
    hands.answers = False
    assert "put a thermometer into bench.yaml" in refused(works, hands, UserMistake, temperature_c=23.0)


def test_ready_tells_what_is_wrong_with_the_thermometer(works: Works, station, probe) -> None:
    probe.readings = ["296.1"]
    ran = station("ready", "--works", works.folder, "--json")
    (reason,) = json.loads(ran.out)["reasons"]
    assert ran.code == 5
    assert "whether it reads in °C" in reason["what"]
    assert reason["way_out"] == (
        "switch it on, put it right in bench.yaml, or take it out there and type temperatures"
    )


def test_the_command_asks_for_what_the_recipe_needs_and_shows_it(
    works: Works, hands, ask, simulated, station
) -> None:
    simulated.hook_up("TX", "ANT")
    ask("{settle: 20 min, temperature: 18 to 28 °C}")
    test = ("test", SERIAL, "--works", works.folder, "--operator", "Signe", "--settled-since")
    asked = station(*test, "00:00 o'clock")
    assert (asked.code, "--settled-since: expected a time like 10:20" in asked.err) == (2, True)
    since = f"{datetime.now().astimezone() - timedelta(hours=3):%Y-%m-%d %H:%M}"
    quiet = station(*test, since, "--temperature", "23 °C", "--no-input")
    assert (quiet.code, "put a thermometer into bench.yaml" in quiet.err) == (2, True)
    cold = station(*test, since, "--temperature", "12 °C")
    assert (cold.code, "let it warm up at the bench" in cold.err) == (5, True)
    nameless = station("test", SERIAL, "--works", works.folder, "--no-input")
    assert (nameless.code, "give the operator's name with --operator" in nameless.err) == (2, True)


def test_both_temperatures_are_shown(works: Works, hands, ask, station) -> None:
    ask("{settle: 20 min, temperature: 18 to 28 °C}")
    hands.reads_c = [22.0, 23.5]
    run(works, hands)
    shown = station("show", SERIAL, "--works", works.folder)
    assert "Temperature of the unit: 22.0\N{NARROW NO-BREAK SPACE}°C at the start" in shown.out
    assert "At the bench since " in shown.out
    facts = json.loads(station("show", SERIAL, "--works", works.folder, "--json").out)["readings_of"]
    assert (facts["temperature_c"], facts["temperature_end_c"]) == (22.0, 23.5)
    assert facts["settled_since"]


def test_a_silent_thermometer_is_told_as_such(works: Works, hands, probe) -> None:
    text = works.bench.read_text(encoding="utf-8")
    works.bench.write_text(text.replace("of a test}", "of a test, ask: 'HUMM?'}"), encoding="utf-8")
    said = refused(works, hands, StationFault)
    assert "thermometer at TCPIP" in said
    assert "HUMM?" in said
