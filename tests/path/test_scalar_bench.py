"""A scalar bench: reference sweeps, a unit tested on it, what it cannot measure, and cabling mistakes."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from fixtures_sim.cabling import Slip
from fixtures_sim.connections import Connectors
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.loads import Load
from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.server import Bench, running_bench
from limits.reading import Claim
from limits.verdict import Outcome
from station.desk import Desk, open_desk
from station.errors import StationFault
from station.settings import Works

BENCH = """\
bench: final test 2
analyzer:
  kind: scalar
  address: {address}
  dialect: power-single
  identity: Simulated spectrum analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
uncertainty:
  noise_floor: -95 dBm at 1 kHz
  trace_noise: 0.01 dB
  log_linearity: 0.2 dB
  connector_repeatability: 0.02 dB
  drift: 0.02 dB
  source_match: 20 dB
  receiver_match: 20 dB
  directivity: 35 dB
  port_match: 25 dB
  bridge_loss: 12.5 dB
  load_match: 40 dB
calibration:
  by: station
  kit: works-n
  valid_for: 12 h
"""
KIT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""
SMALL = """\
recipe: SK-V4 losses
revision: A
model: SK-V4
limit_table: SK-V4 losses
analyzer: {bandwidth: 1 kHz, averages: 1, power: 0 dBm}
overview: {over: low - 2.5 MHz to high + 2.5 MHz, step: 25 kHz}
characteristics:
  tx_loss:          {measure: loss, path: TX to ANT, at: tx}
  rx_loss:          {measure: loss, path: ANT to RX, at: rx}
  tx_return_loss:   {measure: worst return loss, port: TX, hookup: TX-ANT, over: tx ± 12.5 kHz, step: 2.5 kHz}
  rx_return_loss:   {measure: worst return loss, port: RX, hookup: ANT-RX, over: rx ± 12.5 kHz, step: 2.5 kHz}
  isolation_window: {measure: worst isolation, path: TX to RX, over: low - 2.5 MHz to high + 2.5 MHz}
"""
SMALL_LIMITS = """\
limit_table: SK-V4 losses
revision: A
model: SK-V4
decision_rule: simple acceptance
limits:
  tx_loss:          {specification: {at_most: 1.80 dB}}
  rx_loss:          {specification: {at_most: 1.80 dB}}
  tx_return_loss:   {specification: {at_least: 18 dB}}
  rx_return_loss:   {specification: {at_least: 18 dB}}
  isolation_window: {specification: {at_least: 36 dB}}
"""


@pytest.fixture
def simulated() -> Iterator[Bench]:
    """A plain scalar bench: loads of 40 dB, connectors that are never quite the same."""
    imperfect = Imperfections(connectors=Connectors(), loads=dict.fromkeys(("TX", "ANT", "RX"), Load(40.0)))
    with running_bench(seed=1, imperfections=imperfect, scalar=ScalarErrors()) as bench:
        yield bench


@pytest.fixture
def scalar(works: Works, simulated: Bench) -> Works:
    """A works with that bench, and a small recipe beside the model's own."""
    works.bench.write_text(BENCH.format(address=simulated.socket_address))
    (works.folder / "kits" / "works-n.yaml").write_text(KIT)
    (works.recipes / "small.yaml").write_text(SMALL)
    (works.limits / "SK-V4 losses.yaml").write_text(SMALL_LIMITS)
    return works


@pytest.fixture
def desk(scalar: Works) -> Iterator[Desk]:
    with open_desk(scalar.folder) as opened:
        yield opened


def truth(bench: Bench, freq_hz: float) -> Any:
    """The unit's own S in dB down, by the names of its ports."""
    device = bench.fixture.cabling.device
    assert device is not None
    s = -20 * np.log10(np.abs(device.s(np.array([freq_hz]), bench.fixture.temperature_c)[0]))
    ports = ("TX", "ANT", "RX")
    return {(to, source): s[i, j] for i, to in enumerate(ports) for j, source in enumerate(ports)}


def test_a_unit_is_tested_from_references_to_certificate(
    scalar: Works, desk: Desk, hands: Any, station: Callable[..., Any]
) -> None:
    """Every level of the small recipe within its U of the unit as it was built, which the station never sees."""
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate(temperature_c=23.0)
        judged = bench.test("SKV-0001", temperature_c=23.0, recipe=scalar.recipes / "small.yaml")

    assert judged.verdict.outcome is Outcome.PASS
    stored = desk.stored_run("SKV-0001")
    assert [sweep.hookup.name for sweep in stored.sweeps] == ["TX-ANT", "ANT-RX", "TX-RX", "TX", "RX"]
    where = {"tx_loss": ("ANT", "TX"), "rx_loss": ("RX", "ANT"), "isolation_window": ("RX", "TX")}
    where |= {"tx_return_loss": ("TX", "TX"), "rx_return_loss": ("RX", "RX")}
    for reading in stored.readings:
        true = truth(hands.bench, reading.at_hz)[where[reading.name]]
        assert reading.u is not None
        assert reading.value == pytest.approx(true, abs=reading.u), reading.name
    shown = station("show", "SKV-0001", "--budget", "tx_loss", "--works", scalar.folder)
    assert shown.code == 0
    assert "source match" in shown.out
    assert station("certify", "SKV-0001", "--works", scalar.folder).code == 0


def test_a_recipe_too_deep_for_the_bench_is_refused_by_name_before_the_first_hook_up(
    scalar: Works, desk: Desk, hands: Any
) -> None:
    """At -10 dBm the floor lies 85 dB down: 75 dB of notch are neither clear of it nor to be told by a bound."""
    recipe = scalar.recipes / "SK-V4.yaml"
    assert "power: 0 dBm" in recipe.read_text()
    recipe.write_text(recipe.read_text().replace("power: 0 dBm", "power: -10 dBm"))
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate()
        hands.events.clear()
        with pytest.raises(StationFault) as caught:
            bench.test("SKV-0001")

    told = str(caught.value)
    assert "tx_notch_depth cannot be judged on this bench" in told
    assert "sweep with a narrower bandwidth or more power" in told
    assert "tx_loss" not in told
    assert "return_loss" not in told
    assert desk.store.runs("SKV-0001") == ()
    assert hands.events == []


def test_the_same_recipe_as_on_any_bench_runs_and_an_isolation_near_the_floor_passes_as_a_bound(
    desk: Desk, hands: Any
) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate()
        bench.test("SKV-0001")

    readings = {reading.name: reading for reading in desk.stored_run("SKV-0001").readings}
    for name, channel_hz in (("isolation_at_tx", 156.6e6), ("isolation_at_rx", 157.4e6)):
        reading, true = readings[name], truth(hands.bench, channel_hz)["RX", "TX"]
        if reading.claim is Claim.AT_LEAST:
            assert true >= reading.value - reading.u
        else:
            assert reading.value == pytest.approx(true, abs=reading.u)
    assert all(reading.u is not None for reading in readings.values() if reading.value is not None)


def test_nothing_is_tested_before_the_reference_sweeps(desk: Desk, hands: Any) -> None:
    with (
        desk.bench(hands, hands.events.append) as bench,
        pytest.raises(StationFault, match="never calibrated; calibrate with `station calibrate`"),
    ):
        bench.test("SKV-0001")


@pytest.mark.parametrize(
    ("slip", "words"),
    [
        (Slip("swapped", "TX", "RX"), "passes the RX channel"),
        (Slip("left bare", "ANT"), "passes neither channel"),
    ],
)
def test_a_cabling_mistake_is_looked_at_again_and_the_unit_still_passes(
    scalar: Works, desk: Desk, hands: Any, slip: Slip, words: str
) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate()
        hands.bench.slip(slip)
        judged = bench.test("SKV-0001", recipe=scalar.recipes / "small.yaml")

    assert judged.verdict.outcome is Outcome.PASS
    ((hookup, reason),) = hands.asked_again
    assert hookup.name == "TX-ANT"
    assert words in reason


def test_the_operator_is_told_of_the_bridge(
    scalar: Works, desk: Desk, hands: Any, station: Callable[..., Any]
) -> None:
    """Nobody moves the cables here, so that the run ends when the second look has found nothing."""
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate()
    hands.bench.hook_up("TX", "RX")
    for folder, text in ((scalar.recipes, SMALL), (scalar.limits, SMALL_LIMITS)):
        kept = [line for line in text.splitlines() if not line.startswith("  ") or "tx_return_loss" in line]
        (folder / "matched.yaml").write_text("\n".join(kept).replace("SK-V4 losses", "matched") + "\n")

    recipe = scalar.recipes / "matched.yaml"
    asked = ("--works", scalar.folder, "--recipe", recipe, "--operator", "Signe")
    ran = station("test", "SKV-0001", *asked, stdin="\n" * 4)

    assert ran.code == 5
    assert "bridge, test port to unit port TX" in ran.out
    assert "TX seems to reflect next to nothing" in ran.err


def test_every_verb_that_reads_a_run_reads_one_without_phases(
    scalar: Works, desk: Desk, hands: Any, station: Callable[..., Any]
) -> None:
    with desk.bench(hands, hands.events.append) as bench:
        bench.calibrate()
        bench.test("SKV-0001", recipe=scalar.recipes / "small.yaml")

    shown = json.loads(station("show", "SKV-0001", "--works", scalar.folder, "--json").out)
    assert shown
    refused = station("touchstone", "SKV-0001", "--works", scalar.folder, "--out", scalar.folder / "sweeps")
    assert refused.code == 2
    assert "measured without phases" in refused.err
