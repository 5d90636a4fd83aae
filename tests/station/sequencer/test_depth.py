"""What a bench cannot measure to the depth of a limit, characteristic by characteristic."""

from __future__ import annotations

import pytest

from limits import table as tables
from limits.quantity import Channels
from station.instruments.analyzer import Ability
from station.instruments.catalog import kind_named
from station.measurements.figures import NoiseFloor
from station.measurements.scalar_figures import ScalarFigures
from station.measurements.sweep import SweepSettings
from station.sequencer import recipe as recipes
from station.sequencer.depth import out_of_depth
from station.sequencer.plan import make_plan

CHANNELS = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
ABILITY = Ability(300e3, 3e9, 1601, hookups=kind_named("scalar").hookups, phase=False)
FIGURES = ScalarFigures(
    noise_floor=NoiseFloor.parse("-95 dBm at 1 kHz"),
    trace_noise=0.01,
    log_linearity=0.2,
    connector_repeatability=0.02,
    drift=0.05,
    source_match=20.0,
    receiver_match=20.0,
    directivity=35.0,
    port_match=25.0,
    bridge_loss=13.0,
    load_match=40.0,
)
RECIPE = """\
recipe: sample
revision: A
model: M
limit_table: T
analyzer: {{bandwidth: 1 kHz, averages: 1, power: 0 dBm}}
overview: {{over: low - 2 MHz to high + 2 MHz, step: 25 kHz}}
characteristics:
  it: {{{measure}}}
"""
TABLE = """\
limit_table: T
revision: A
model: M
decision_rule: {rule}
limits:
  it:
    specification: {{{limit}}}
"""
ISOLATION = "measure: isolation, path: TX to RX, at: tx"
NOTCH = "measure: notch depth, path: TX to ANT, over: rx ± 200 kHz, step: 5 kHz"
CURVE = "measure: isolation curve, path: TX to RX, over: tx ± 25 kHz, step: 5 kHz"
MATCH = "measure: worst return loss, port: TX, hookup: TX-ANT, over: tx ± 12.5 kHz, step: 2.5 kHz"
LOSS = "measure: loss, path: TX to ANT, at: tx"
SIMPLE, GUARDED = "simple acceptance", "guarded acceptance with w = U"


@pytest.fixture
def refused(tmp_path):
    """The reasons against one characteristic with one limit."""

    def asked(measure, limit, rule=SIMPLE, settings=None, figures=FIGURES, ability=ABILITY, also=""):
        (tmp_path / "it.yaml").write_text(RECIPE.format(measure=measure) + also)
        (tmp_path / "T.yaml").write_text(TABLE.format(rule=rule, limit=limit))
        recipe, table = recipes.load(tmp_path / "it.yaml"), tables.load(tmp_path / "T.yaml")
        plan = make_plan(recipe.bind(CHANNELS), recipe.overview(CHANNELS), CHANNELS, recipe.settings, ability)
        return tuple(out_of_depth(plan, table, CHANNELS, figures, settings or recipe.settings))

    return asked


WITHIN = [
    (ISOLATION, "at_least: 75 dB", SIMPLE),  # 20 dB above the floor at 95 dB
    (ISOLATION, "at_least: 88 dB", SIMPLE),  # a bound reaches 95 - 20 log10(1 + 1.645 / 1.414) = 88.3 dB
    (ISOLATION, "at_least: 86 dB", GUARDED),
    (MATCH, "at_least: 25 dB", SIMPLE),  # 10 dB above the directivity
    (LOSS, "at_most: 1.8 dB", SIMPLE),
    (CURVE, "mask: [{over: tx ± 25 kHz, at_least: 70 dB}]", SIMPLE),
]


@pytest.mark.parametrize(("measure", "limit", "rule"), WITHIN)
def test_what_a_number_or_a_bound_can_decide_is_measured(refused, measure, limit, rule):
    assert refused(measure, limit, rule) == ()


BEYOND = [
    (ISOLATION, "at_least: 89 dB", SIMPLE),
    (ISOLATION, "at_least: 87 dB", GUARDED),
    (NOTCH, "at_least: 86 dB", SIMPLE),  # of many points the luckiest would be picked, so the bound is lower
    (MATCH, "at_least: 26 dB", SIMPLE),
    (CURVE, "mask: [{over: tx ± 25 kHz, at_least: 90 dB}]", SIMPLE),
]


@pytest.mark.parametrize(("measure", "limit", "rule"), BEYOND)
def test_what_neither_can_decide_is_refused_by_name_with_a_way_out(refused, measure, limit, rule):
    (reason,) = refused(measure, limit, rule)
    assert reason.what.startswith("it cannot be judged on this bench (specification at least")
    assert "bench" in reason.way_out


def test_a_floor_that_is_raised_by_bandwidth_takes_its_depth_away(refused):
    assert refused(ISOLATION, "at_least: 80 dB") == ()
    (reason,) = refused(ISOLATION, "at_least: 80 dB", settings=SweepSettings(10e3, 1, 0.0))
    assert "the noise floor lies at 85 dB at 10000 Hz and 0 dBm" in reason.what
    assert "a limit is judged by a number down to 65 dB" in reason.what


def test_averages_of_power_lower_no_floor_but_bring_the_bound_nearer(refused):
    assert refused(ISOLATION, "at_least: 89 dB") != ()
    assert refused(ISOLATION, "at_least: 89 dB", settings=SweepSettings(1e3, 100, 0.0)) == ()
    assert refused(ISOLATION, "at_least: 95 dB", settings=SweepSettings(1e3, 100, 0.0)) != ()


def test_the_points_of_a_notch_are_those_of_the_hook_up_it_is_read_from(refused):
    """81 of them, where the sweep of TX-ANT has 17 there: a bound reaches 84.7 dB, and not 85.6 dB."""
    vector = Ability(300e3, 3e9, 1601)
    notch = "measure: notch depth, path: ANT to RX, over: rx ± 200 kHz, step: 5 kHz"
    also = f"  loss: {{{LOSS}}}\n"
    assert refused(notch, "at_least: 84.5 dB", ability=vector, also=also) == ()
    assert len(refused(notch, "at_least: 85 dB", ability=vector, also=also)) == 1


def test_without_figures_nothing_is_known(refused):
    assert refused(ISOLATION, "at_least: 120 dB", figures=None) == ()
