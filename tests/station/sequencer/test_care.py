"""What deserves a second look: near to where its decision changes, or near the floor."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from limits.quantity import Channels
from limits.rules import Rule
from limits.table import LimitTable
from limits.table import load as load_table
from limits.yamlfile import parse
from station.measurements.catalog import MEASURES
from station.measurements.characteristic import Characteristic
from station.measurements.figures import Figures
from station.measurements.load import read_load
from station.measurements.measure import Place
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Port, Sweep, SweepSettings
from station.sequencer.care import Care, Why, Wish, distance, provisional
from station.sequencer.effort import Effort

CHANNELS = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
FAST, CAREFUL = SweepSettings(10e3, 1, 0.0), SweepSettings(100.0, 1, 0.0)
FREQ_HZ = np.linspace(156e6, 158e6, 81)
FIGURES = parse(
    """\
noise_floor: -115 dBm at 1 kHz
trace_noise: 0.002 dB
connector_repeatability: 0.02 dB
drift: 0.02 dB
directivity: 44 dB
port_match: 40 dB
load_match: 44 dB
""",
    Figures,
    "bench.yaml",
).value
ROWS = """\
  isolation: {specification: {at_least: 75 dB}, works: {at_least: 76 dB}}
  return_loss: {specification: {at_least: 18 dB}}
  notch: {specification: {between: tx ± 500 kHz}}
"""
SIMPLE = "simple acceptance"


def item(name: str, measure: str, hookup: Hookup, to: Port, source: Port) -> Characteristic:
    found = next(each for each in MEASURES if each.name == measure)
    return Characteristic(name, name, found, hookup, to, source, Place(at_hz=CHANNELS.tx_hz), 25e3)


ISOLATION = item("isolation", "isolation", HOOKUPS[2], "RX", "TX")
NOTCH = replace(
    item("notch", "notch frequency", HOOKUPS[2], "RX", "TX"), place=Place(span_hz=(156.5e6, 157.5e6))
)
RETURN_LOSS = item("return_loss", "return loss", HOOKUPS[0], "TX", "TX")
EVERY_U = 1e3
"""So many U that every reading lies within."""


@pytest.fixture
def table(tmp_path: Path) -> Callable[[str], LimitTable]:
    """The limits of two characteristics under a rule."""

    def of(rule: str) -> LimitTable:
        path = tmp_path / "T.yaml"
        path.write_text(f"limit_table: T\nrevision: A\nmodel: M\ndecision_rule: {rule}\nlimits:\n{ROWS}")
        return load_table(path)

    return of


def sweeps(isolation_db: float, return_loss_db: float = 30.0) -> Mapping[Hookup, Sweep]:
    """Fast sweeps of a unit that is the same at every frequency."""
    level = {
        HOOKUPS[0]: [[return_loss_db, 1.0], [1.0, 30.0]],
        HOOKUPS[1]: [[30.0, 90.0], [90.0, 30.0]],
        HOOKUPS[2]: [[return_loss_db, isolation_db], [isolation_db, 30.0]],
    }
    return {
        hookup: Sweep(
            hookup,
            FREQ_HZ,
            np.broadcast_to(10 ** (-np.array(db) / 20), (len(FREQ_HZ), 2, 2)).astype(complex),
            FAST,
            datetime(2026, 3, 2, tzinfo=UTC),
            0.1,
        )
        for hookup, db in level.items()
    }


WishesOf = Callable[..., tuple[Wish, ...]]


@pytest.fixture
def wishes(table: Callable[[str], LimitTable]) -> WishesOf:
    def of(
        seen: Mapping[Hookup, Sweep],
        *items: Characteristic,
        rule: str = SIMPLE,
        within: float = 2.0,
        careful: SweepSettings = CAREFUL,
    ) -> tuple[Wish, ...]:
        effort = Effort(FAST, careful, within, at_most_s=4.0)
        return Care(effort, table(rule), CHANNELS, FIGURES).wishes(items, seen)

    return of


@pytest.mark.parametrize(("isolation_db", "margin"), [(75.05, 0.05), (74.9, -0.1), (76.2, 0.2), (75.9, -0.1)])
def test_near_a_limit_on_either_side_it_is_swept_again(
    wishes: WishesOf, isolation_db: float, margin: float
) -> None:
    """75 dB at -105 dBm of noise: u is 0.19 dB by noise alone."""
    (wish,) = wishes(sweeps(isolation_db), ISOLATION)
    assert (wish.item, wish.why) == (ISOLATION, Why.NEAR_LIMIT)
    assert wish.margin == pytest.approx(margin, abs=1e-6)
    assert wish.places.tolist() == [24]


@pytest.mark.parametrize("isolation_db", [65.0, 79.0])
def test_far_from_every_limit_it_is_not(wishes: WishesOf, isolation_db: float) -> None:
    assert wishes(sweeps(isolation_db), ISOLATION) == ()


def test_near_the_floor_it_is_however_far_from_its_limit(wishes: WishesOf) -> None:
    """95 dB with the floor at 105 dB: ten dB above it, and 19 dB inside the limit."""
    (wish,) = wishes(sweeps(95.0), ISOLATION)
    assert wish.why is Why.NEAR_FLOOR
    assert wish.distance > 2.0


def test_near_a_limit_it_is_however_little_care_helps(wishes: WishesOf) -> None:
    """What makes a return loss uncertain is the directivity that calibration left; its one point takes no time."""
    (wish,) = wishes(sweeps(90.0, return_loss_db=18.1), RETURN_LOSS)
    assert (wish.why, wish.places.tolist()) == (Why.NEAR_LIMIT, [24])


def test_a_notch_that_noise_shows_twice_is_swept_again(wishes: WishesOf) -> None:
    """Two equal bottoms 75 kHz apart: with less noise on this very trace it would be no surer which is the notch."""
    seen = dict(sweeps(80.0))
    s = seen[HOOKUPS[2]].s.copy()
    s[[39, 42]] *= 10 ** (-2 / 20)
    seen[HOOKUPS[2]] = replace(seen[HOOKUPS[2]], s=s)
    (wish,) = wishes(seen, NOTCH)
    assert wish.why is Why.NEAR_LIMIT
    assert {39, 42} <= set(wish.places.tolist())


def test_before_every_path_was_swept_it_is_swept_again_as_later(wishes: WishesOf) -> None:
    """Until the third pair is swept, much may pass to the load on its port and come back."""
    seen = sweeps(75.1)
    alone = {HOOKUPS[2]: seen[HOOKUPS[2]]}
    (wish,), (later,) = wishes(alone, ISOLATION), wishes(seen, ISOLATION)
    assert wish.distance < later.distance
    assert wish.places.tolist() == later.places.tolist()


def test_what_has_no_limit_is_never_swept_again(wishes: WishesOf) -> None:
    assert wishes(sweeps(95.0), replace(ISOLATION, name="another")) == ()


def test_the_nearest_in_units_of_u_comes_first(wishes: WishesOf) -> None:
    other = replace(ISOLATION, name="return_loss")
    found = wishes(sweeps(76.3), other, ISOLATION, within=EVERY_U)
    assert [wish.item.name for wish in found] == ["isolation", "return_loss"]


def test_a_guarded_rule_moves_where_the_decision_changes(wishes: WishesOf) -> None:
    """A guard band of 4 U reaches from the limit inwards; what lies near its end is swept again too."""
    (wish,) = wishes(sweeps(75.5), ISOLATION, within=EVERY_U)
    u = 0.5 / wish.distance
    far_inside = 76.0 + 3.5 * u
    assert wishes(sweeps(far_inside), ISOLATION) == ()
    (wish,) = wishes(sweeps(far_inside), ISOLATION, rule="guarded acceptance with w = 4 U")
    assert wish.distance < 1.0


@pytest.mark.parametrize(
    ("rule", "margin", "expected"),
    [
        (SIMPLE, 0.3, 3.0),
        (SIMPLE, -0.3, 3.0),
        ("guarded acceptance with w = U", 0.1, 0.0),
        ("guarded acceptance with w = U", 0.3, 2.0),
        ("guarded acceptance with w = U", -0.1, 1.0),
        ("guarded rejection with w = 2 U", -0.3, 1.0),
        ("guarded rejection with w = 2 U", 0.1, 1.0),
    ],
)
def test_the_distance_is_that_to_the_nearer_end_of_the_guard_band(
    rule: str, margin: float, expected: float
) -> None:
    assert distance(margin, Rule.parse(rule), 0.1) == pytest.approx(expected)


def test_without_u_nothing_is_near() -> None:
    assert distance(0.0, Rule.parse(SIMPLE), None) == math.inf


def test_before_the_loads_are_out_their_whole_reflection_counts() -> None:
    load = read_load("# MHz S RI R 50\n150 0.1 0\n170 0.0 0.05\n", "load.s1p")
    widened = provisional(FIGURES, dict.fromkeys(PORTS, load))
    assert isinstance(widened, Figures)
    assert widened.load_match == pytest.approx(20.0)
    assert provisional(FIGURES, None) is FIGURES
