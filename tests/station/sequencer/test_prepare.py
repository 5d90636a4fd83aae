"""What a unit is tested by is refused, with its place, before the bench is touched."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest

import limits
import station
from limits import table as tables
from limits.errors import BadInput
from limits.quantity import Channels
from limits.yamlfile import parse
from station.bench.form import BenchForm
from station.database.entries import (
    CalibrationHead,
    CalibrationId,
    DocumentKind,
    StoredCalibration,
    StoredText,
    UnitEntry,
)
from station.errors import UserMistake
from station.instruments.analyzer import Ability
from station.measurements.standards import Findings
from station.measurements.sweep import HOOKUPS, SINGLES, WHOLE
from station.orders import Serial, WorkOrder
from station.sequencer import recipe as recipes
from station.sequencer.plan import Plan, make_plan
from station.sequencer.prepare import known_figures, plan_for, prepare

BENCH = """\
bench: final test 1
analyzer:
  kind: vector
  address: TCPIP::127.0.0.1::5025::SOCKET
  dialect: linear-single
  identity: any
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
uncertainty:
  noise_floor: -115 dBm at 1 kHz
  trace_noise: 0.002 dB
  connector_repeatability: 0.02 dB
  drift: 0.02 dB
  drift_per_day: 0.01 dB
  directivity: 44 dB
  port_match: 40 dB
  load_match: 44 dB
"""
WIDE = Ability(300e3, 3e9, 1601)
PAIR = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
RECIPE = (Path(station.__file__).parent / "recipes" / "SK-V4.yaml").read_text(encoding="utf-8")
TABLE = Path(limits.__file__).parent / "tables" / "SK-V4.yaml"
Refused = Callable[[str, Channels, Ability], list[str]]


@pytest.fixture
def refused(tmp_path: Path) -> Refused:
    """Why the plan for a text, a pair of channels and an analyzer is refused; empty when it is not."""

    def reasons(text: str, channels: Channels, ability: Ability) -> list[str]:
        path = tmp_path / "SK-V4.yaml"
        path.write_text(text, encoding="utf-8")
        try:
            plan_for(recipes.load(path), tables.load(TABLE), channels, ability)
        except BadInput as error:
            return [str(mistake).removeprefix(f"{tmp_path}/") for mistake in error.mistakes]
        return []

    return reasons


def test_the_shipped_recipe_is_planned_as_it_is(refused: Refused) -> None:
    assert refused(RECIPE, PAIR, WIDE) == []


def test_what_lies_beyond_the_analyzer_is_told_once_at_what_reaches_furthest(refused: Refused) -> None:
    (told,) = refused(RECIPE, PAIR, Ability(156e6, 3e9, 1601))
    assert told.startswith(
        "SK-V4.yaml:8:18: with TX 156.6 and RX 157.4 MHz the sweep reaches from 154.1 to 159.9 MHz"
    )
    assert "beyond the 156 to 3000 MHz that bench.yaml gives the analyzer" in told


def test_a_grid_that_reaches_outward_past_the_analyzer_is_refused_too(refused: Refused) -> None:
    """The wish ends at the analyzer's edge; the next point of the grid lies beyond it."""
    text = RECIPE.replace("step: 25 kHz}", "step: 30 kHz}", 1)
    assert refused(text, PAIR, Ability(154.1e6, 159.9e6, 1601)) != []
    assert refused(RECIPE, PAIR, Ability(154.1e6, 159.9e6, 1601)) == []


def test_more_points_than_anybody_means_are_refused(refused: Refused) -> None:
    (told,) = refused(RECIPE.replace("step: 25 kHz}", "step: 10 Hz}", 1), PAIR, WIDE)
    assert "would be swept at 580001 points, more than 20000" in told


def test_what_cannot_be_bound_to_the_channels_is_told_before_how_far_it_reaches(refused: Refused) -> None:
    text = RECIPE.replace(
        "over: low - 2.5 MHz to high + 2.5 MHz\n", "over: low + 600 kHz to high - 600 kHz\n"
    )
    assert text != RECIPE
    (told,) = refused(text, PAIR, Ability(1e9, 2e9, 1601))
    assert "does not rise for TX 156.6 MHz and RX 157.4 MHz" in told


def test_a_recipe_of_another_model_is_refused_with_serial_and_order() -> None:
    order = WorkOrder("SKO-1", "Somebody", "SK-U4", 455e6, 460.5e6, (Serial("SKU-0001"),), date(2026, 12, 18))
    recipe = recipes.load(Path(station.__file__).parent / "recipes" / "SK-V4.yaml")
    with pytest.raises(UserMistake, match=r"SKU-0001 is a SK-U4 \(order SKO-1\)"):
        prepare(UnitEntry(Serial("SKU-0001"), order), recipe, tables.load(TABLE), WIDE)


def test_hook_ups_share_one_grid_only_where_the_loads_are_to_be_taken_out() -> None:
    """A common grid is what recovering three ports needs, and costs a quarter more points."""
    folder = Path(station.__file__).parent / "recipes"
    recipe = recipes.load(folder / "SK-V4.yaml")
    bound = (recipe.bind(PAIR), recipe.overview(PAIR), PAIR, recipe.settings, WIDE)
    own, common = (make_plan(*bound, common_grid=each) for each in (False, True))
    assert len({order.segments for order in common.orders}) == 1
    assert len({order.segments for order in own.orders}) == 3
    assert sum(len(order.freq_hz) for order in own.orders) < sum(
        len(order.freq_hz) for order in common.orders
    )


def planned(ability: Ability) -> Plan:
    recipe = recipes.load(Path(station.__file__).parent / "recipes" / "SK-V4.yaml")
    return plan_for(recipe, tables.load(TABLE), PAIR, ability)


def test_an_analyzer_with_three_ports_needs_one_hook_up_and_one_sweep() -> None:
    plan = planned(replace(WIDE, hookups=(WHOLE,)))
    assert [order.hookup for order in plan.orders] == [WHOLE]
    assert plan.cablings == (WHOLE,)


def test_behind_a_switch_three_pairs_are_swept_in_one_hook_up() -> None:
    plan = planned(replace(WIDE, cabled=WHOLE))
    assert [order.hookup for order in plan.orders] == list(HOOKUPS)
    assert plan.cablings == (WHOLE,)


def test_a_bench_without_phases_sweeps_paths_and_ports_by_themselves_on_one_grid() -> None:
    plan = planned(replace(WIDE, hookups=(*HOOKUPS, *SINGLES), phase=False))
    assert [order.hookup.name for order in plan.orders] == ["TX-ANT", "ANT-RX", "TX-RX", "TX", "ANT", "RX"]
    assert len({order.segments for order in plan.orders}) == 1


def test_drift_grows_with_the_days_since_the_calibration() -> None:
    text = BENCH + "calibration: {by: analyzer, made: 2026-11-20, valid_for: 30 d}\n"
    form = parse(text, BenchForm, "bench.yaml").value
    found = known_figures(form, None, datetime(2026, 11, 30, tzinfo=UTC))
    assert found is not None
    assert found.drift == pytest.approx(0.02 + 10 * 0.01)


def test_the_kit_of_a_calibration_tells_how_its_load_is_turned() -> None:
    """By the kit as it was then, whatever the works' file says of it since."""
    kit = "kit: two\nopen: {file: o.s1p}\nshort: {delay: 20 ps}\n"
    kit += "load: {return_loss: 46 dB}\nthrough: {delay: 41 ps}\n"
    # 3.6 degrees back at 100 MHz, there and back: 50 ps one way
    measured = "# MHz S RI R 50\n0.1 1 0\n100.1 0.998026728 -0.062790520\n"
    made = datetime(2026, 11, 30, tzinfo=UTC)

    def kept(name: str, text: str) -> StoredText:
        return StoredText.of(DocumentKind.KIT, name, "", text.encode())

    head = CalibrationHead(
        "final test 1",
        "Signe",
        made,
        43_200.0,
        "any",
        None,
        "N",
        kept("two", kit),
        (kept("o.s1p", measured),),
    )
    calibration = StoredCalibration(CalibrationId(1), head, Findings({}, (), ()))
    text = BENCH + "  load_standard: 46 dB\n"
    found = known_figures(parse(text, BenchForm, "bench.yaml").value, calibration, made)
    assert found is not None
    assert found.reflect_delay == pytest.approx((50e-12 + 20e-12) / 2, rel=1e-3)
    assert found.through_delay == 41e-12
