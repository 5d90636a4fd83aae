"""The check standard at a simulated bench: measured like a unit, and units wait for it."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from fixtures_sim.checkstandard import CheckStandard
from fixtures_sim.device import Device
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.port_errors import Terms
from fixtures_sim.server import Bench, running_bench
from fixtures_sim.specimen import Specimen
from fixtures_sim.units import build_unit, defect_from
from limits.verdict import Level, Outcome
from station.desk import open_desk
from station.errors import StationFault, UserMistake
from station.settings import Works

FIGURES = """\
uncertainty:
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.02 dB
  drift: 0.02 dB
  directivity: 44 dB
  port_match: 40 dB
  load_match: 44 dB
"""
SECTION = "check_standard: {serial: SKC-001, every: 12 h, limits_from: 5}\n"
MORNING = datetime(2026, 11, 2, 6, 0, tzinfo=UTC)


def known_text() -> str:
    """What a calibration laboratory found: the truth, with an uncertainty."""
    lines = []
    for mhz in (160, 455, 1600):
        down_db = -20 * np.log10(np.abs(CheckStandard().s(np.array([mhz * 1e6]))[0]))
        for name, to, source in (("tx_loss", 1, 0), ("rx_loss", 2, 1), ("isolation", 2, 0)):
            lines.append(f"  {name}_{mhz}: {down_db[to, source]:.3f} dB ± 0.03 dB")
        for port, name in enumerate(("tx", "ant", "rx")):
            lines.append(f"  {name}_return_loss_{mhz}: {down_db[port, port]:.2f} dB ± 0.5 dB")
    return "standard: SKC-001\ncertificate: Holm Calibration 2026-117\nknown:\n" + "\n".join(lines) + "\n"


@dataclass
class Shop:
    """A works with a check standard, and a clock that the test turns."""

    works: Works
    hands: Any
    simulated: Bench
    now: datetime = MORNING
    events: list[object] = field(default_factory=list)

    def desk(self) -> Any:
        return open_desk(self.works.folder, lambda: self.now)

    def check(self, device: Device | None = None) -> Outcome:
        self.simulated.place(device or CheckStandard())
        with self.desk() as desk, desk.bench(self.hands, self.events.append) as bench:
            return bench.check(temperature_c=23.0).verdict.outcome

    def test(self) -> Outcome:
        careful = (defect_from({"kind": "tolerance", "percent": 30}),)
        self.simulated.place(build_unit("SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, careful))
        with self.desk() as desk, desk.bench(self.hands, self.events.append) as bench:
            return bench.test("SKV-0001", temperature_c=23.0).verdict.outcome

    def refusal(self) -> str:
        with pytest.raises(StationFault, match="not ready to test") as refused:
            self.test()
        return str(refused.value)


@pytest.fixture
def shop(works: Works, hands: Any, simulated: Bench) -> Shop:
    works.bench.write_text(works.bench.read_text() + FIGURES + SECTION)
    (works.standards / "SKC-001.yaml").write_text(known_text())
    return Shop(works, hands, simulated)


@dataclass
class Ports:
    """Test ports that are perfect until something happens to them."""

    lost_db: float = 0.0
    match: float = 0.0
    directivity: float = 0.0

    def terms(self, freq_hz: np.ndarray, count: int, hours: float) -> Terms:
        def of_port(size: float) -> np.ndarray:
            return np.full((len(freq_hz), count), size, dtype=complex)

        lost = 10 ** (-self.lost_db / 20)
        return Terms(
            of_port(self.directivity), of_port(self.match), of_port(self.match), of_port(lost),
            np.full((len(freq_hz), count, count), lost, dtype=complex),
            np.zeros((len(freq_hz), count, count), dtype=complex),
        )  # fmt: skip


@pytest.fixture
def ports() -> Ports:
    return Ports()


@pytest.fixture
def simulated(ports: Ports) -> Iterator[Bench]:
    """A bench whose test ports the test can spoil."""
    with running_bench(seed=1, imperfections=Imperfections(ports=ports)) as bench:
        yield bench


def test_a_unit_is_tested_once_the_standard_was_found_in_control(shop: Shop) -> None:
    assert "check standard SKC-001: no check yet; measure it: station standard" in shop.refusal()
    assert shop.check() is Outcome.PASS
    assert shop.test() is Outcome.PASS


def test_a_check_lasts_as_long_as_the_bench_file_says(shop: Shop) -> None:
    shop.check()
    shop.now += timedelta(hours=12)
    assert shop.test() is Outcome.PASS
    shop.now += timedelta(minutes=30)
    assert "the last check is 12.5 h old, more than 12 h; measure it: station standard" in shop.refusal()


def test_until_the_history_is_long_enough_only_the_known_values_count(shop: Shop) -> None:
    rules = []
    for _ in range(6):
        assert shop.check() is Outcome.PASS
        with shop.desk() as desk:
            rules.append(len(desk.stored_run("SKC-001").verdict.at(Level.WORKS)))
        shop.now += timedelta(hours=8)
    assert rules == [0, 0, 0, 0, 0, 18]


@pytest.mark.parametrize(
    "spoil",
    [{"lost_db": 0.15}, {"lost_db": 0.06, "match": -0.05}, {"directivity": 0.032, "match": 0.032}],
    ids=["tracking drifted by 0.15 dB", "a worn cable", "calibration of another setup"],
)
def test_a_real_fault_is_caught_and_production_refused(
    shop: Shop, ports: Ports, spoil: dict[str, float]
) -> None:
    for _ in range(5):
        assert shop.check() is Outcome.PASS
        shop.now += timedelta(hours=8)
    for name, size in spoil.items():
        setattr(ports, name, size)
    began = shop.now
    assert shop.check() is Outcome.FAIL
    shop.now += timedelta(hours=1)
    assert shop.check() is Outcome.FAIL
    why = shop.refusal()
    assert f"SKC-001 is out of control since {began.day} November 2026, {began:%H:%M} UTC: " in why
    assert "tighten and clean every connector and measure again" in why


def test_what_the_known_values_allow_but_the_own_history_does_not_is_told_with_its_limits(
    shop: Shop, ports: Ports
) -> None:
    """0.045 dB are less than sqrt(0.05^2 + 0.03^2) = 0.058 dB, and more than the least width of 0.025 dB."""
    for _ in range(5):
        shop.check()
        shop.now += timedelta(hours=8)
    ports.lost_db = 0.045
    assert shop.check() is Outcome.FAIL
    why = shop.refusal()
    assert "own limits " in why
    assert "(from 5 checks, at their least width)" in why


def test_a_check_that_passes_again_resolves_it_and_both_are_kept(shop: Shop, ports: Ports) -> None:
    shop.check()
    ports.lost_db = 0.3
    assert shop.check() is Outcome.FAIL
    ports.lost_db = 0.0
    assert shop.check() is Outcome.PASS
    assert shop.test() is Outcome.PASS
    with shop.desk() as desk:
        assert [line.outcome for line in desk.checks().runs] == [Outcome.PASS, Outcome.FAIL, Outcome.PASS]
        assert all(desk.stored_run("SKC-001", number).sweeps for number in (1, 2, 3))


def test_a_failed_check_does_not_count_in_the_limits(shop: Shop, ports: Ports) -> None:
    for lost_db in (0.0, 0.0, 0.3, 0.0, 0.0, 0.0):
        ports.lost_db = lost_db
        shop.check()
    with shop.desk() as desk:
        trend = next(trend for trend in desk.checks().trends if trend.reading.name == "tx_loss_160")
    assert len(trend.checked) == 6
    assert trend.limits is not None
    assert trend.limits.count == 5
    assert trend.limits.centre == pytest.approx(6.431, abs=0.01)


def test_a_check_that_broke_off_must_be_repeated_and_one_that_was_stopped_says_nothing(shop: Shop) -> None:
    shop.check()
    shop.hands.stop_at = "ANT-RX"
    with pytest.raises(KeyboardInterrupt):
        shop.check()
    shop.hands.stop_at = ""
    assert shop.test() is Outcome.PASS
    open_cable = Specimen(
        "nothing", np.array([1e6, 2e9]), np.broadcast_to(np.eye(3, dtype=complex), (2, 3, 3))
    )
    with pytest.raises(StationFault, match="nothing is taken in"):
        shop.check(open_cable)
    assert "check 3 broke off: hook-up TX-ANT" in shop.refusal()


def test_a_person_accepts_another_standard_and_its_history_begins_anew(
    shop: Shop, ports: Ports, station: Callable[..., Any]
) -> None:
    for _ in range(5):
        shop.check()
    ports.lost_db = 0.05
    assert shop.check() is Outcome.FAIL
    shop.now = datetime.now(UTC)
    words = ("standard", "--accept", "--works", shop.works.folder)
    assert station(*words, "--by", "Ida").code == 2
    assert station(*words, "--by", "Ida", "--why", "new connectors, certified anew").code == 0
    shop.now = datetime.now(UTC)
    assert "no check yet since its history began anew on" in shop.refusal()
    assert shop.check() is Outcome.PASS
    with shop.desk() as desk:
        found = desk.checks()
    assert [(reset.person, reset.why) for reset in found.resets] == [
        ("Ida", "new connectors, certified anew")
    ]
    assert len(found.runs) == 7
    assert {trend.limits for trend in found.trends} == {None}


def test_acceptance_moves_no_known_value(shop: Shop, ports: Ports) -> None:
    shop.check()
    ports.lost_db = 0.2
    shop.check()
    with shop.desk() as desk:
        desk.accept_standard("Ida", "I believe it")
    shop.now += timedelta(minutes=1)
    assert shop.check() is Outcome.FAIL
    assert re.search(
        r": \S+ dB ± \S+ dB, known as [0-9.]+ dB ± 0\.03 dB", shop.refusal().replace("\u202f", " ")
    )


def test_the_standard_is_no_product(shop: Shop, station: Callable[..., Any]) -> None:
    shop.check()
    with shop.desk() as desk:
        assert all("SKC-001" not in progress.order.serials for progress in desk.orders())
        with desk.bench(shop.hands, shop.events.append) as bench, pytest.raises(UserMistake) as refused:
            bench.test("SKC-001")
    assert "is the check standard; measure it with `station standard`" in str(refused.value)
    for verb, words in (("certify", "it is no product"), ("show", "`station standard --history` shows it")):
        said = station(verb, "SKC-001", "--works", shop.works.folder)
        assert (said.code, words in said.err) == (2, True)
    assert list(shop.works.certificates.iterdir()) == []


def test_a_reading_of_the_standard_shows_its_budget_like_any(shop: Shop, station: Callable[..., Any]) -> None:
    shop.check()
    said = station("show", "SKC-001", "--budget", "tx_loss_160", "--works", shop.works.folder)
    assert said.code == 0
    assert "connectors" in said.out


def test_a_bench_without_a_standard_tests_as_ever_and_says_that_nothing_is_checked(
    works: Works, hands: Any, simulated: Bench, station: Callable[..., Any]
) -> None:
    shop = Shop(works, hands, simulated)
    assert shop.test() is Outcome.PASS
    assert "names no check standard" in station("ready", "--works", works.folder).out
    said = station("standard", "--works", works.folder, "--operator", "Signe")
    assert (said.code, "names no check standard, so nothing is checked" in said.err) == (2, True)


@pytest.mark.parametrize(
    ("file", "old", "new", "words"),
    [
        ("bench.yaml", "serial: SKC-001", "serial: SKC-002", "there is no"),
        ("bench.yaml", "every: 12 h", "every: 12 h, recipe: OTHER", "there is no"),
        ("bench.yaml", "limits_from: 5", "limits_from: 4", "5"),
        ("standards/SKC-001.yaml", "tx_loss_160", "tx_los_160", "did you mean 'tx_loss_160'?"),
        ("standards/SKC-001.yaml", "± 0.03 dB", "", "expected a known value"),
        ("recipes/CHECK.yaml", "at: 160 MHz", "at: tx", "is tuned to no channels"),
    ],
)
def test_a_mistake_in_its_files_is_told_where_it_stands(
    shop: Shop, station: Callable[..., Any], file: str, old: str, new: str, words: str
) -> None:
    assert station("check", "--works", shop.works.folder).code == 0
    path = shop.works.folder / file
    path.write_text(path.read_text().replace(old, new, 1))
    said = station("check", "--works", shop.works.folder)
    told = [line for line in said.out.splitlines() if line.startswith(f"{path}:")]
    assert said.code == 2
    assert any(words in line for line in told), said.out


def at_the_terminal(shop: Shop, *words: str) -> tuple[int, str]:
    """A person at the terminal: cables what is asked for, then presses Enter."""
    shop.simulated.place(CheckStandard())
    program = str(Path(sys.executable).with_name("station"))
    command = [program, "standard", "--works", str(shop.works.folder), "--operator", "Signe", *words]
    streams = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    wide = {**os.environ, "COLUMNS": "200"}
    with subprocess.Popen(command, text=True, env=wide, **streams) as running:
        asking = running.stderr if "--json" in words else running.stdout
        for pair in (("TX", "ANT"), ("ANT", "RX"), ("TX", "RX")):
            heard = ""
            while not heard.endswith("Ctrl-C to stop. "):
                letter = asking.read(1)
                assert letter, heard
                heard += letter
            shop.simulated.hook_up(*pair)
            running.stdin.write("\n")
            running.stdin.flush()
        rest = running.stdout.read()
        return running.wait(timeout=60), rest


def test_a_person_measures_it_and_is_told_what_was_found(
    shop: Shop, ports: Ports, station: Callable[..., Any]
) -> None:
    code, told = at_the_terminal(shop)
    assert code == 0
    assert "Own limits apply from 5 accepted checks on; until then only the known values." in told
    assert "SKC-001 is in control: units may be tested." in told
    ports.lost_db = 0.3
    code, told = at_the_terminal(shop)
    assert code == 5
    assert "No unit may be tested: check standard SKC-001 is out of control since" in told
    code, told = at_the_terminal(shop, "--json")
    facts = json.loads(told)
    assert (code, facts["in_control"], len(facts["readings"])) == (5, False, 18)
    first = facts["readings"][0]
    assert first["e_n"] == pytest.approx((first["value"] - 6.431) / np.hypot(first["u"], 0.03), abs=1e-9)
    ready = station("ready", "--works", shop.works.folder)
    assert ready.code == 5
    assert "out of control" in ready.out


def test_the_history_shows_every_check_with_its_limits_and_the_drift(
    shop: Shop, ports: Ports, station: Callable[..., Any]
) -> None:
    """Drifting by 0.004 dB a day, which is 0.12 dB in 30 days."""
    for day in range(7):
        ports.lost_db = 0.004 * day
        shop.check()
        shop.now += timedelta(days=1)
    told = station("standard", "--history", "--json", "--works", shop.works.folder)
    facts = json.loads(told.out)
    assert [each["check"] for each in facts["checks"]] == list(range(1, 8))
    loss = next(each for each in facts["characteristics"] if each["name"] == "tx_loss_160")
    assert loss["drift_per_30_days"] == pytest.approx(0.12, abs=loss["drift_half_interval"])
    assert loss["drift_half_interval"] < 0.06
    assert [each["low"] is None for each in loss["values"]] == [True] * 5 + [False] * 2
    shown = station("standard", "--history", "--works", shop.works.folder)
    assert shown.code == 0
    for word in ("in control", "Drift in 30 d", "█"):
        assert word in shown.out


@pytest.mark.parametrize(("earlier", "refused"), [(0, False), (1, True)])
def test_a_check_of_a_day_before_the_analyzer_was_calibrated_says_nothing_of_it(
    shop: Shop, earlier: int, refused: bool
) -> None:
    shop.now = datetime.combine(MORNING.date(), time(20)).astimezone()
    shop.check()
    shop.now += timedelta(hours=10)
    made = shop.now.date() - timedelta(days=1 - earlier)
    section = f"calibration: {{by: analyzer, made: {made}, valid_for: 30 d}}\n"
    shop.works.bench.write_text(shop.works.bench.read_text() + section)
    with shop.desk() as desk, desk.bench(shop.hands, shop.events.append) as bench:
        found = [reason.what for reason in bench.readiness(23.0).reasons]
    assert found == ["check standard SKC-001: the bench was calibrated since the last check"] * refused
