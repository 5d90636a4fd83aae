"""The plan covers what the recipe wishes, with as few points as that takes."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limits.quantity import Channels
from station.sequencer.plan import Zone, merge

CHANNELS = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
ROUNDING_HZ = 1e-3


def frequencies(*zones: Zone) -> np.ndarray:
    return np.concatenate([segment.freq_hz for segment in merge(zones, CHANNELS)])


def test_one_zone_is_one_segment_with_both_channels_on_the_grid() -> None:
    (segment,) = merge([Zone(154e6, 160e6, 25e3)], CHANNELS)
    assert (segment.start_hz, segment.stop_hz) == (154e6, 160e6)
    assert np.diff(segment.freq_hz) == pytest.approx(25e3)
    for channel_hz in (CHANNELS.tx_hz, CHANNELS.rx_hz):
        assert abs(segment.freq_hz - channel_hz).min() < ROUNDING_HZ


def test_a_step_that_does_not_fit_the_spacing_is_made_finer_never_coarser() -> None:
    (segment,) = merge([Zone(156e6, 158e6, 30e3)], CHANNELS)
    assert np.diff(segment.freq_hz)[0] == pytest.approx(0.8e6 / 27)


def test_a_fine_stretch_replaces_the_coarse_one_where_it_lies() -> None:
    freq_hz = frequencies(Zone(155e6, 159e6, 100e3), Zone(157.3e6, 157.5e6, 5e3))
    inside = freq_hz[(freq_hz >= 157.3e6 - 1) & (freq_hz <= 157.5e6 + 1)]
    assert len(inside) == 41
    assert len(freq_hz) == 41 + 23 + 15


def test_a_fine_stretch_narrower_than_a_coarse_step_takes_nothing_from_the_rest() -> None:
    freq_hz = frequencies(Zone(155e6, 159e6, 100e3), Zone(156.603e6, 156.608e6, 1e3))
    assert freq_hz[0] == pytest.approx(155e6)
    assert freq_hz[-1] == pytest.approx(159e6)
    assert np.diff(freq_hz).max() == pytest.approx(100e3)


def test_a_single_frequency_is_one_point() -> None:
    assert frequencies(Zone(156.6e6, 156.6e6, 25e3)) == pytest.approx([156.6e6])


def offsets_hz(low: int, high: int) -> st.SearchStrategy[int]:
    return st.integers(low, high).map(lambda khz: khz * 1000)


@st.composite
def zones(draw: st.DrawFn) -> Zone:
    low_hz = 154e6 + draw(offsets_hz(0, 5000))
    width_hz = draw(offsets_hz(0, 2000))
    return Zone(low_hz, low_hz + width_hz, float(draw(st.sampled_from([2500, 5000, 20000, 25000, 70000]))))


@given(st.lists(zones(), min_size=1, max_size=6))
def test_every_wish_is_covered_finely_enough_and_nothing_overlaps(wishes: list[Zone]) -> None:
    freq_hz = frequencies(*wishes)
    assert (np.diff(freq_hz) > 0).all()
    for wish in wishes:
        assert freq_hz[0] <= wish.low_hz + ROUNDING_HZ
        assert freq_hz[-1] >= wish.high_hz - ROUNDING_HZ
        if wish.low_hz == wish.high_hz:
            continue
        after_low = max(int(np.searchsorted(freq_hz, wish.low_hz + ROUNDING_HZ, side="right")) - 1, 0)
        before_high = int(np.searchsorted(freq_hz, wish.high_hz - ROUNDING_HZ, side="left"))
        steps_hz = np.diff(freq_hz[after_low : before_high + 1])
        assert steps_hz.size == 0 or steps_hz.max() <= wish.step_hz + ROUNDING_HZ
