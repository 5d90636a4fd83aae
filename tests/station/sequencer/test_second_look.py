"""From wishes to one order: only the points that count, on the grid of the first sweep, as far as the time goes."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import pytest

from limits.quantity import Channels
from station.instruments.analyzer import Segment, SweepOrder
from station.measurements.catalog import MEASURES
from station.measurements.characteristic import Characteristic
from station.measurements.measure import Place
from station.measurements.sweep import HOOKUPS, SweepSettings
from station.sequencer.care import Why, Wish
from station.sequencer.plan import Zone, merge
from station.sequencer.second_look import BRIDGED, second_look

CAREFUL = SweepSettings(bandwidth_hz=100.0, averages=2, power_dbm=0.0)
COARSE, FINE = Segment(150e6, 151e6, 11), Segment(151.05e6, 151.1e6, 6)
WHOLE = SweepOrder(HOOKUPS[0], (COARSE, FINE), CAREFUL)
PASSES = 2
POINT_S = PASSES * 2 / 100.0
"""Two averages at 100 Hz, once from each port."""


def wish(places: Iterable[int], distance: float = 1.0) -> Wish:
    loss = next(measure for measure in MEASURES if measure.name == "loss")
    item = Characteristic("x", "X", loss, HOOKUPS[0], "ANT", "TX", Place(at_hz=150e6), 1e3)
    return Wish(item, Why.NEAR_LIMIT, 0.1, distance, np.array(list(places)))


def swept_again(*wishes: Wish) -> list[float]:
    order = second_look(WHOLE, wishes, 1e3, PASSES).order
    return [] if order is None else order.freq_hz.tolist()


def test_without_a_wish_nothing_is_swept_again() -> None:
    look = second_look(WHOLE, (), 10.0, PASSES)
    assert (look.order, look.again, look.left, look.takes_s) == (None, (), (), 0.0)


def test_the_order_has_the_careful_settings_and_the_very_points() -> None:
    look = second_look(WHOLE, [wish([2, 3]), wish([8])], 10.0, PASSES)
    assert look.order is not None
    assert look.order.settings == CAREFUL
    assert look.order.freq_hz.tolist() == WHOLE.freq_hz[[2, 3, 8]].tolist()
    assert [segment.points for segment in look.order.segments] == [2, 1]
    assert look.takes_s == pytest.approx(3 * POINT_S)


def test_points_that_several_want_are_swept_once() -> None:
    assert swept_again(wish([2, 3, 4]), wish([3, 4, 5])) == WHOLE.freq_hz[2:6].tolist()


def test_a_narrow_gap_is_swept_along_and_a_wide_one_is_not() -> None:
    assert swept_again(wish([1, 2 + BRIDGED])) == WHOLE.freq_hz[1 : 3 + BRIDGED].tolist()
    assert swept_again(wish([1, 3 + BRIDGED])) == WHOLE.freq_hz[[1, 3 + BRIDGED]].tolist()


def test_a_stretch_over_two_steps_keeps_both() -> None:
    assert swept_again(wish(range(9, 14))) == WHOLE.freq_hz[9:14].tolist()


def test_the_grid_of_a_plan_is_met_everywhere() -> None:
    """Whichever points are wished for, each is swept and none that the plan has not."""
    segments = merge(
        [Zone(154e6, 160e6, 25e3), Zone(156.5e6, 156.7e6, 2.5e3), Zone(157.3e6, 157.5e6, 5e3)],
        Channels(tx_hz=156.6e6, rx_hz=157.4e6),
    )
    whole = SweepOrder(HOOKUPS[0], segments, CAREFUL)
    rng = np.random.default_rng(4)
    for _ in range(50):
        places = np.unique(rng.integers(0, len(whole.freq_hz), 20))
        order = second_look(whole, [wish(places)], 1e6, PASSES).order
        assert order is not None
        off_hz = abs(order.freq_hz[:, None] - whole.freq_hz[None])
        assert off_hz.min(axis=1).max() < 1e-6
        assert off_hz.min(axis=0)[places].max() < 1e-6


def test_what_there_is_no_time_for_is_left_and_a_smaller_wish_behind_it_is_not() -> None:
    near, wide, small = wish([2], 0.1), wish(range(3, 11), 0.5), wish([14], 1.5)
    look = second_look(WHOLE, [near, wide, small], 2.5 * POINT_S, PASSES)
    assert (look.again, look.left) == ((near, small), (wide,))
    assert look.order is not None
    assert look.order.freq_hz.tolist() == WHOLE.freq_hz[[2, 14]].tolist()


def test_without_time_all_is_left() -> None:
    look = second_look(WHOLE, [wish([2])], 0.5 * POINT_S, PASSES)
    assert look.order is None
    assert len(look.left) == 1
