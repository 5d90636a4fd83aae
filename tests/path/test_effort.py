"""Effort where it matters, from recipe to record: a fast sweep of everything, a careful one of what counts."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pytest

from limits.verdict import Outcome
from station.cli.care_view import again_lines
from station.database.entries import StoredRun
from station.desk import open_desk
from station.sequencer.events import SweptAgain
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
RECIPE = "effort: {first: {bandwidth: 10 kHz, averages: 1}, within: 2 U, at_most: 4 s}"


@dataclass(frozen=True)
class OneRun:
    """A run and what it told on its way."""

    outcome: Outcome
    stored: StoredRun
    told: tuple[SweptAgain, ...]

    @property
    def bandwidths(self) -> list[float]:
        return [sweep.settings.bandwidth_hz for sweep in self.stored.sweeps]


RunWith = Callable[[str], OneRun]


@pytest.fixture
def run_with(works: Works, hands: Any) -> RunWith:
    """Tests the unit on a bench that states its figures, by the shipped recipe with another effort."""
    works.bench.write_text(works.bench.read_text() + FIGURES)

    def run(effort: str) -> OneRun:
        file = works.recipes / "SK-V4.yaml"
        text = file.read_text()
        assert text.count(RECIPE) == 1
        file.write_text(text.replace(RECIPE, effort))
        with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
            outcome = session.test("SKV-0001", because="sampling").verdict.outcome
            stored = desk.stored_run("SKV-0001")
        file.write_text(text)
        return OneRun(outcome, stored, tuple(each for each in hands.events if isinstance(each, SweptAgain)))

    return run


def test_only_what_counts_is_swept_again_on_the_points_of_the_first_sweep(run_with: RunWith) -> None:
    tested = run_with(RECIPE)
    assert tested.outcome is Outcome.PASS
    assert sorted(set(tested.bandwidths)) == [1e3, 10e3]
    first = {sweep.hookup: sweep for sweep in tested.stored.sweeps if sweep.settings.bandwidth_hz == 10e3}
    assert len(first) == 3
    for sweep in tested.stored.sweeps:
        off_hz = abs(sweep.freq_hz[:, None] - first[sweep.hookup].freq_hz[None]).min(axis=1)
        assert off_hz.max() < 1e-3
    again = [sweep for sweep in tested.stored.sweeps if sweep.settings.bandwidth_hz == 1e3]
    assert 0 < sum(len(sweep.freq_hz) for sweep in again) < 100
    assert [event.hookup for event in tested.told] == [sweep.hookup for sweep in again]


def test_every_hook_up_is_still_cabled_once(run_with: RunWith, hands: Any) -> None:
    asked = []
    hands.before = lambda hookup: asked.append(hookup.name)
    run_with(RECIPE)
    assert asked == ["TX-ANT", "ANT-RX", "TX-RX"]


def test_what_is_swept_again_becomes_as_certain_as_with_care_from_the_start(run_with: RunWith) -> None:
    """Noise differs from sweep to sweep, so the U of an isolation near the floor does by some per cent."""
    fast = "effort: {first: {bandwidth: 10 kHz, averages: 1}, within: 2 U, at_most: 1 ms}"
    u = {
        name: {reading.name: reading.u for reading in run_with(effort).stored.readings}["isolation_at_rx"]
        for name, effort in (("effort", RECIPE), ("careful", ""), ("fast", fast))
    }
    assert u["effort"] == pytest.approx(u["careful"], rel=0.2)
    assert u["fast"] > 2 * u["careful"]


def test_without_an_effort_everything_is_swept_once(run_with: RunWith) -> None:
    tested = run_with("")
    assert tested.bandwidths == [1e3, 1e3, 1e3]
    assert tested.told == ()


def test_what_there_is_no_time_for_is_told_and_keeps_its_first_sweep(run_with: RunWith) -> None:
    tested = run_with(RECIPE.replace("4 s", "1 ms"))
    assert tested.bandwidths == [10e3, 10e3, 10e3]
    assert all(event.look.order is None for event in tested.told)
    lines = [line for event in tested.told for line in again_lines(event)]
    assert any(
        line.startswith("  No time left to sweep again: TX to RX isolation at RX: near the noise floor")
        for line in lines
    ), lines


def test_a_bench_without_figures_sweeps_everything_with_care(works: Works, hands: Any) -> None:
    """Nobody knows there what is close."""
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        assert session.test("SKV-0001").verdict.outcome is Outcome.PASS
        stored = desk.stored_run("SKV-0001")
    assert [sweep.settings.bandwidth_hz for sweep in stored.sweeps] == [1e3, 1e3, 1e3]


def test_each_reading_tells_what_it_cost(
    run_with: RunWith, works: Works, station: Callable[..., Any]
) -> None:
    stored = run_with(RECIPE).stored
    said = station("show", "SKV-0001", "--works", works.folder)
    assert "again with more care:" in said.out
    facts = json.loads(station("show", "SKV-0001", "--json", "--works", works.folder).out)["readings_of"]
    cost = {each["name"]: each for each in facts["decisions"]}
    assert facts["sweep_s"] == pytest.approx(sum(sweep.took_s for sweep in stored.sweeps))
    near, far = cost["isolation_at_rx"], cost["tx_loss"]
    assert (near["bandwidth_hz"], near["averages"], near["swept_again"]) == (1e3, 1, True)
    assert (far["bandwidth_hz"], far["averages"], far["swept_again"]) == (10e3, 1, False)
    for each in cost.values():
        assert 0 < each["sweep_s"] < facts["sweep_s"]
    first = next(sweep for sweep in stored.sweeps if sweep.hookup.name == "TX-ANT")
    assert far["sweep_s"] == pytest.approx(first.took_s / len(first.freq_hz))
    assert np.isfinite(cost["isolation_window"]["sweep_s"])
