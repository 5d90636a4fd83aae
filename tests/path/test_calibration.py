"""A bench with everything a real one adds: calibrated by its hands, then tested on; and what refuses to test."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest

from fixtures_sim.connections import Connectors
from fixtures_sim.drift import Drift
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.port_errors import DrawnPorts
from fixtures_sim.server import Bench, running_bench
from station.desk import Desk, open_desk
from station.errors import DoubtfulMeasurement, StationFault, UserMistake
from station.measurements.evaluation import BenchData, evaluate
from station.measurements.standards import Use
from station.records import evaluated
from station.sequencer.events import StandardAsked, StandardDoubted
from station.settings import Works

KIT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""
SECTION = """\
calibration:
  by: station
  kit: works-n
  cables: N 1.5 m, pair 3
  valid_for: 12 h
  temperature_change: 3 K
"""


LEAKAGE_DB = 132.0
"""From port to port inside the analyzer."""


@pytest.fixture
def simulated(request: pytest.FixtureRequest) -> Iterator[Bench]:
    """A bench with test-port errors, drift, and connectors that are never quite the same."""
    ports = DrawnPorts(1, leakage_db=getattr(request, "param", LEAKAGE_DB), drift=Drift())
    imperfect = Imperfections(ports=ports, connectors=Connectors())
    with running_bench(seed=1, imperfections=imperfect) as bench:
        yield bench


@pytest.fixture
def calibrating(works: Works) -> Works:
    """A works whose bench file says that the station calibrates."""
    (works.folder / "kits" / "works-n.yaml").write_text(KIT)
    works.bench.write_text(works.bench.read_text() + SECTION)
    return works


@pytest.fixture
def now() -> list[datetime]:
    """The hands of the clock."""
    return [datetime(2026, 3, 2, 7, 0, tzinfo=UTC)]


@pytest.fixture
def desk(calibrating: Works, now: list[datetime]) -> Iterator[Desk]:
    with open_desk(calibrating.folder, clock=lambda: now[0]) as opened:
        yield opened


def test_readings_through_a_calibration_are_those_of_the_unit(desk: Desk, hands: Any) -> None:
    """The unit's own S, as it was built, is known here and nowhere in the station."""
    with desk.bench(hands, hands.events.append) as bench:
        made = bench.calibrate(temperature_c=23.0)
        judged = bench.test("SKV-0001", temperature_c=23.0, bench_c=23.0)

    stored = desk.stored_run("SKV-0001", judged.key.run_number)
    device = hands.bench.fixture.cabling.device
    worst_raw, worst = 0.0, 0.0
    for hookup, sweep in evaluated(stored).items():
        used = [("TX", "ANT", "RX").index(port) for port in hookup.ports]
        true = device.s(sweep.freq_hz, hands.bench.fixture.temperature_c)[:, used][:, :, used]
        raw = evaluate(stored.sweeps, BenchData()).sweeps[hookup].s
        worst = max(worst, np.abs(sweep.s - true).max())
        worst_raw = max(worst_raw, np.abs(np.abs(raw) - np.abs(true)).max())
    # A load of 46 dB, 0.005, counts twice or thrice where a port reflects nearly all, connectors of 55 dB as often.
    assert worst < 0.02
    assert worst_raw > 3 * worst
    assert stored.calibration is not None
    assert stored.calibration.head.made == made.head.made
    assert min(each.value_db for each in made.findings.residuals) > 35
    told = {each.role: each.identity for each in stored.head.instruments}
    assert told["calibration"] == (
        "by the station, 2026-03-02 07:00 UTC, kit works kit 2, cables N 1.5 m, pair 3, Signe"
    )


def test_a_bench_that_was_never_calibrated_is_not_ready(desk: Desk, hands: Any) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        (reason,) = bench.readiness().reasons
        with pytest.raises(StationFault, match="never calibrated; calibrate with `station calibrate`"):
            bench.test("SKV-0001")
    assert reason.what == "the bench was never calibrated"


@pytest.mark.parametrize(
    ("hours", "temperature_c", "kit", "expected"),
    [
        (11.9, 25.0, KIT, ""),
        (12.1, 23.0, KIT, "held until 2026-03-02 19:00 UTC"),
        (1.0, 27.0, KIT, "made at 23 °C, it is 27 °C now; bench.yaml allows 3 K"),
        (1.0, 23.0, KIT.replace("46 dB", "40 dB"), "other words on its kit"),
    ],
)
def test_a_calibration_holds_as_long_as_the_bench_file_says(
    desk: Desk, hands: Any, now: list[datetime], hours: float, temperature_c: float, kit: str, expected: str
) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(temperature_c=23.0)
    (desk.works.folder / "kits" / "works-n.yaml").write_text(kit)
    now[0] += timedelta(hours=hours)

    with desk.bench(hands, hands.events.append) as bench:
        reasons = bench.readiness(temperature_c).reasons

    assert [expected in reason.what for reason in reasons] == [True] * bool(expected)
    assert all(reason.way_out == "calibrate with `station calibrate`" for reason in reasons)


def test_a_slip_is_put_right_and_the_calibration_goes_on(desk: Desk, hands: Any) -> None:
    hands.slips[("load", (2,))] = [("load", (1,))]

    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(temperature_c=23.0)

    assert hands.asked_again == [("load", (2,), "the load seems to sit on port 1, not on port 2")]
    assert sum(isinstance(event, StandardDoubted) for event in hands.events) == 1


def test_what_stays_wrong_is_refused_and_nothing_is_kept(desk: Desk, hands: Any) -> None:
    hands.slips[("open", (1,))] = [("short", (1,))] * 3

    with desk.bench(hands, hands.events.append) as bench:
        with pytest.raises(
            DoubtfulMeasurement, match="not accepted after 2 more tries, and nothing of it is kept: short"
        ):
            bench.calibrate(temperature_c=23.0)
        assert not bench.readiness().is_ready
    assert desk.store.latest_calibration("final test 1") is None
    assert [tries for _, tries in hands.offered] == [2]


def test_one_who_tries_on_keeps_everything_else(desk: Desk, hands: Any) -> None:
    """The last step of all goes wrong thrice, and is right when its load was exchanged."""
    hands.slips[("terminated", (1, 2))] = [("load", (1,))] * 3
    hands.persists = 1

    with desk.bench(hands, hands.events.append) as bench:
        made = bench.calibrate(temperature_c=23.0)
        assert bench.readiness(23.0).is_ready

    doubted = "what is on port 2 reflects too much for a termination; is it one, and tight?"
    assert hands.offered == [(doubted, 2)]
    asked = [event.step.standard for event in hands.events if isinstance(event, StandardAsked)]
    assert asked.count("terminated") == 4
    assert len(asked) == 16, "the other twelve were connected once"
    assert min(each.value_db for each in made.findings.residuals) > 35


def test_stopping_in_the_middle_keeps_nothing(desk: Desk, hands: Any) -> None:
    hands.stop_at = "through"

    with desk.bench(hands, hands.events.append) as bench, pytest.raises(KeyboardInterrupt):
        bench.calibrate(temperature_c=23.0)

    assert desk.store.latest_calibration("final test 1") is None


def test_a_unit_outside_what_was_calibrated_is_refused_before_the_bench_is_touched(
    desk: Desk, hands: Any
) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(((450e6, 466e6),), temperature_c=23.0)
        with pytest.raises(
            UserMistake, match=r"calibrated from 44\d.* MHz to .* MHz, wanted are .*; calibrate"
        ):
            bench.test("SKV-0001", bench_c=23.0)
    assert desk.store.runs("SKV-0001") == ()


def test_a_calibration_from_the_future_is_none_and_hides_no_later_one(
    desk: Desk, hands: Any, now: list[datetime]
) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(temperature_c=23.0)
        now[0] -= timedelta(seconds=2)
        assert bench.readiness(23.0).is_ready
        now[0] -= timedelta(hours=1)
        (reason,) = bench.readiness(23.0).reasons
        bench.calibrate(temperature_c=23.0)
        assert bench.readiness(23.0).is_ready
    assert str(reason) == (
        "the calibration of 2026-03-02 07:00 UTC is still to come; set this machine's clock; if it was wrong then, "
        "calibrate with `station calibrate`"
    )


def test_other_cables_end_a_calibration(desk: Desk, hands: Any) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(temperature_c=23.0)
    file = desk.works.bench
    file.write_text(file.read_text().replace("N 1.5 m, pair 3", "N 1.5 m, pair 4"))

    with desk.bench(hands, hands.events.append) as bench:
        (reason,) = bench.readiness(23.0).reasons

    assert "made with other cables, 'N 1.5 m, pair 3'; bench.yaml names 'N 1.5 m, pair 4'" in reason.what


def test_where_a_temperature_counts_it_must_be_known_then_and_now(desk: Desk, hands: Any) -> None:
    file, limit = desk.works.bench, "  temperature_change: 3 K\n"
    text = file.read_text()
    with desk.bench(hands, hands.events.append) as bench:
        with pytest.raises(
            UserMistake, match="the temperature at the bench must be known; give --temperature"
        ):
            bench.calibrate()
        bench.calibrate(temperature_c=23.0)
        (unknown_now,) = bench.readiness().reasons
    file.write_text(text.replace(limit, ""))
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate()
        assert bench.readiness().is_ready
    file.write_text(text)
    with desk.bench(hands, hands.events.append) as bench:
        (unknown_then,) = bench.readiness(23.0).reasons

    assert "holds within 3 K, and the temperature at the bench is not known; give --temp" in str(unknown_now)
    assert "was made at an unknown temperature; bench.yaml allows 3 K; calibrate" in str(unknown_then)


def test_past_calibrations_are_listed_with_the_one_in_force(
    desk: Desk, hands: Any, now: list[datetime], station: Callable[..., Any]
) -> None:
    assert "no calibration yet" in station("calibrations", "--works", desk.works.folder).out
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(temperature_c=23.0)
        now[0] += timedelta(hours=2)
        bench.calibrate(temperature_c=23.0)

    newer, older = desk.calibrations(5)
    assert (newer.in_force, newer.until) == (True, now[0] + timedelta(hours=12))
    assert older.why_not == ("a later one took its place",)
    assert len(desk.calibrations(1)) == 1
    now[0] += timedelta(hours=13)
    (newer, _) = desk.calibrations(5)
    assert newer.why_not == ("held until 2026-03-02 21:00 UTC",)

    told = json.loads(station("calibrations", "--json", "--works", desk.works.folder).out)
    assert [each["in_force"] for each in told] == [False, False], "that was long ago"
    assert {each["kit"] for each in told} == {"works kit 2"}
    shown = station("calibrations", "--works", desk.works.folder).out
    assert "Signe" in shown
    assert "a later one took its place" in shown
    file = desk.works.bench
    file.write_text(file.read_text().replace(SECTION, ""))
    assert all(
        each.why_not == ("bench.yaml does not say that the station calibrates",)
        for each in desk.calibrations(5)
    )


def test_a_cold_unit_says_nothing_of_the_bench(desk: Desk, hands: Any, now: list[datetime]) -> None:
    """Only one that settled there does."""
    recipe = desk.works.recipes / "SK-V4.yaml"
    text = recipe.read_text()
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(temperature_c=23.0)
        with pytest.raises(StationFault) as unsettled:
            bench.test("SKV-0001", temperature_c=12.0)
        recipe.write_text(f"{text}\nconditions: {{settle: 20 min, temperature: 10 to 28 °C}}\n")
        long_since = now[0] - timedelta(hours=1)
        with pytest.raises(StationFault) as settled:
            bench.test("SKV-0001", temperature_c=12.0, settled_since=long_since)
        recipe.write_text(f"{text}\nconditions: {{settle: 20 min, temperature: 18 to 28 °C}}\n")
        with pytest.raises(StationFault) as too_cold:
            bench.test("SKV-0001", temperature_c=12.0, settled_since=long_since)

    assert "the temperature at the bench is not known; give --bench-temperature" in str(unsettled.value)
    assert "was made at 23 °C, it is 12 °C now" in str(settled.value)
    assert "SKV-0001 is at 12.0 °C, and its recipe asks for 18 to 28 °C" in str(too_cold.value)
    assert "the calibration" not in str(too_cold.value)


def test_the_command_guides_and_tells_what_came_of_it(
    calibrating: Works, hands: Any, station: Callable[..., Any]
) -> None:
    """Nobody moves the cables here, so the first standard is not what it should be."""
    hands.bench.connect("load", 1)

    ran = station(
        "calibrate",
        "--works",
        calibrating.folder,
        "--operator",
        "Signe",
        "--temperature",
        "23 °C",
        stdin="\n" * 3,
    )

    assert ran.code == 5
    assert "Caution: Nothing is keyed" in ran.out
    assert "Connect the short on port 1, every other port left open." in ran.out
    assert "port 1 reflects too little for a short" in ran.err


def test_a_calibration_by_the_analyzer_is_believed_until_its_day(
    works: Works, hands: Any, station: Callable[..., Any]
) -> None:
    today = datetime.now(UTC).date()
    text = works.bench.read_text()
    section = "calibration:\n  by: analyzer\n  made: {}\n  valid_for: 30 d\n"

    works.bench.write_text(text + section.format(today - timedelta(days=3)))
    fresh = station("ready", "--works", works.folder, "--json")
    works.bench.write_text(text + section.format(today - timedelta(days=31)))
    old = station("ready", "--works", works.folder)
    works.bench.write_text(text + section.format(today + timedelta(days=2)))
    future = station("ready", "--works", works.folder)

    assert fresh.code == 0
    assert json.loads(fresh.out)["calibration"] == (
        f"by the analyzer's own means, {today - timedelta(days=3)}, as the bench file says"
    )
    assert old.code == 5
    assert f"the analyzer was calibrated on {today - timedelta(days=31)}, which held until" in old.out
    assert future.code == 5
    assert f"the analyzer was calibrated on {today + timedelta(days=2)}, which is still to come" in future.out


def test_a_bench_file_that_does_not_say_leaves_it_unknown(works: Works, station: Callable[..., Any]) -> None:
    ran = station("ready", "--works", works.folder)
    assert ran.code == 0
    assert "Calibration of the test ports: nothing is known of it." in ran.out
    refused = station("calibrate", "--works", works.folder, "--operator", "Signe")
    assert refused.code == 2
    assert "does not say that the station calibrates" in refused.err


@pytest.mark.parametrize(
    ("section", "expected"),
    [
        ("  by: station\n  valid_for: 12 h\n", "with 'by: station' give 'kit'"),
        ("  by: analyzer\n  valid_for: 12 h\n", "with 'by: analyzer' give 'made'"),
        ("  by: station\n  kit: lost\n  valid_for: 12 h\n", "there is no .*kits/lost.yaml"),
        ("  by: analyzer\n  made: 2026-11-20\n  kit: n\n  valid_for: 12 h\n", "there is no 'kit'"),
    ],
)
def test_a_mistake_in_the_section_is_told(
    works: Works, station: Callable[..., Any], section: str, expected: str
) -> None:
    works.bench.write_text(works.bench.read_text() + "calibration:\n" + section)
    ran = station("check", works.bench, "--works", works.folder)
    assert ran.code == 2
    assert re.search(rf"bench\.yaml:\d+.*{expected}", ran.out), ran.out


@pytest.mark.parametrize(("simulated", "heard"), [(LEAKAGE_DB, False), (105.0, True)], indirect=["simulated"])
def test_noise_scatter_and_leakage_are_those_of_the_bench(desk: Desk, hands: Any, heard: bool) -> None:
    """As the simulator makes them: noise of -115 dB and 0.002 dB at 1 kHz, its ports' own isolation and tracking."""
    leak_db = 105.0 if heard else LEAKAGE_DB
    with desk.bench(hands, hands.events.append) as bench:
        made = bench.calibrate(((140e6, 175e6), (440e6, 480e6)), temperature_c=23.0)
    (noise,) = made.findings.noise
    wider = noise.bandwidth_hz / 1e3
    terms = next(iter(made.findings.terms.values()))
    ports = DrawnPorts(1, leakage_db=leak_db).terms(terms.freq_hz, 2, 0.0)
    gain = np.abs(ports.transmission_tracking)
    leak_power = np.mean(
        [np.mean((np.abs(ports.isolation) / gain)[:, i, j] ** 2) for i, j in ((0, 1), (1, 0))]
    )
    noise_power = np.mean([np.mean(wider * 10**-11.5 / gain[:, i, j] ** 2) for i, j in ((0, 1), (1, 0))])

    # 4 sweeps of 51 points in two stretches, both ways: the rms is known to 0.15 dB, the scatter to 3 %.
    assert noise.floor_dbm == pytest.approx(10 * np.log10(noise_power + leak_power), abs=0.5)
    assert noise.trace_db == pytest.approx(0.002 * np.sqrt(wider), rel=0.12)
    told_db = -10 * np.log10(leak_power)
    assert noise.leakage_db == (pytest.approx(told_db, abs=0.5) if heard else None)


def test_what_is_only_looked_at_again_is_swept_at_fewer_points(desk: Desk, hands: Any) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        made = bench.calibrate(((400e6, 900e6),), temperature_c=23.0)

    points = {step.use: len(sweep.freq_hz) for step, (sweep, *_) in made.swept.items()}
    assert points[Use.CALIBRATE] == len(next(iter(made.findings.terms.values())).freq_hz) > 240
    assert points[Use.VERIFY] == points[Use.TRACE] == points[Use.FLOOR] == 51


def test_a_budget_takes_the_noise_that_the_calibration_measured(desk: Desk, hands: Any) -> None:
    stated = (
        "uncertainty: {noise_floor: -90 dBm at 1 kHz, trace_noise: 0.5 dB, connector_repeatability: 0.02 dB, "
        "drift: 0.02 dB, directivity: 44 dB, port_match: 40 dB, load_match: 44 dB}\n"
    )
    desk.works.bench.write_text(desk.works.bench.read_text() + stated)
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(((140e6, 175e6),), temperature_c=23.0)
        bench.test("SKV-0001", temperature_c=23.0, bench_c=23.0)

    lines = {line.name: line for line in desk.budget("SKV-0001", None, "tx_loss").budget.contributions}

    assert lines["trace noise"].value < 0.01
    assert desk.budget("SKV-0001", None, "tx_loss").reading.u < 0.3


def test_a_calibration_worse_than_the_bench_file_states_lets_no_unit_be_tested(
    desk: Desk, hands: Any
) -> None:
    """Connectors of 55 dB, four of them, against a directivity that nobody could have at them."""
    stated = (
        "uncertainty: {noise_floor: -115 dBm at 1 kHz, trace_noise: 0.002 dB, connector_repeatability: 0.03 dB, "
        "drift: 0.03 dB, directivity: 44 dB, port_match: 40 dB, load_match: 44 dB}\n"
    )
    text = desk.works.bench.read_text()
    desk.works.bench.write_text(text + stated)
    with desk.bench(hands, hands.events.append) as bench:
        made = bench.calibrate(temperature_c=23.0)
        assert bench.readiness(23.0).is_ready
    best_db = 10 + max(each.value_db for each in made.findings.residuals if each.what == "directivity")
    kit = desk.works.folder / "kits" / "works-n.yaml"
    assert "46 dB" in kit.read_text()
    promised = stated.replace("directivity: 44 dB", f"directivity: {best_db:.0f} dB, load_standard: 46 dB")
    desk.works.bench.write_text(text + promised)

    with desk.bench(hands, hands.events.append) as bench:
        reasons = bench.readiness(23.0).reasons

    assert {reason.what.split(" dB at ")[0][:39] for reason in reasons} == {
        "the calibration found a directivity of "
    }
    assert all("write the worse figure into bench.yaml" in reason.way_out for reason in reasons)
