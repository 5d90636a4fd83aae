"""The mask: a curve is judged at every point, and where it says nothing, nothing passes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from limits.kinds.bound import Amount, Bound
from limits.kinds.mask import Mask, MaskRow
from limits.quantity import Channels, Span
from limits.reading import Curve, Reading
from limits.verdict import LimitLine

MakeBound = Callable[[str], Bound]
TWO = "{mask: [{over: tx ± 100 kHz, at_least: 70 dB}, {over: rx - 1 MHz to rx + 1 MHz, at_least: 40 dB}]}"


def curve(
    low_hz: float = 155e6, high_hz: float = 159e6, step_hz: float = 12.5e3, level: float = 80.0
) -> Curve:
    freq = np.arange(low_hz, high_hz + step_hz / 2, step_hz)
    return Curve("isolation", "Isolation", "dB", freq, np.full(freq.shape, level), step_hz, "TX-RX")


def changed(before: Curve, at_hz: float, value: float) -> Curve:
    values = before.value.copy()
    values[int(np.argmin(np.abs(before.freq_hz - at_hz)))] = value
    return Curve(before.name, before.title, before.unit, before.freq_hz, values, before.step_hz, before.trace)


def test_the_decision_is_shown_by_the_point_of_worst_margin(bound: MakeBound, channels: Channels) -> None:
    """79 dB at TX is nearer to its 70 dB than 60 dB beside RX to its 40 dB."""
    weighed = bound(TWO).weigh(changed(changed(curve(), 156.45e6, 79.0), 157.55e6, 60.0), channels)
    assert weighed.margin == 9.0
    assert weighed.reading == Reading(
        "isolation", "Isolation", "dB", 79.0, at_hz=156.45e6, span_hz=(155e6, 159e6), trace="TX-RX"
    )


def test_a_curve_on_its_mask_is_inside_and_one_point_outside_fails(
    bound: MakeBound, channels: Channels
) -> None:
    assert bound(TWO).weigh(curve(level=70.0), channels).margin == 0.0
    weighed = bound(TWO).weigh(changed(curve(), 157.55e6, 39.0), channels)
    assert (weighed.margin, weighed.reading.at_hz) == (-1.0, 157.55e6)


def test_a_point_outside_every_stretch_is_not_judged(bound: MakeBound, channels: Channels) -> None:
    assert bound(TWO).weigh(changed(curve(), 158.5e6, 0.0), channels).margin == 10.0


def test_a_stretch_may_bound_from_above(bound: MakeBound, channels: Channels) -> None:
    limit = bound("{mask: [{over: tx ± 100 kHz, at_most: 1.6 dB}]}")
    assert limit.weigh(curve(level=1.5), channels).margin == pytest.approx(0.1, abs=1e-12)
    assert limit.weigh(changed(curve(level=1.5), 156.5e6, 1.75), channels).margin == pytest.approx(
        -0.15, abs=1e-12
    )


@pytest.mark.parametrize(
    ("seen", "note"),
    [
        (curve(156.5e6), "not measured from 156.35 to 156.5 MHz"),
        (curve(high_hz=158e6), "not measured from 158 to 158.05 MHz"),
        (curve(150e6, 151e6), "not measured from 156.35 to 156.55 MHz; not measured from 156.05 to 158.05 MHz"),
        (changed(curve(), 156.45e6, np.nan), "no number at 156.45 MHz"),
        (changed(changed(curve(), 157e6, np.nan), 157.5e6, np.inf), "no number at 157 MHz and 1 more"),
        (curve(step_hz=1e6), "not measured from 156.35 to 156.55 MHz"),
        (curve(156.9e6, 155e6), "not measured from 156.35 to 156.55 MHz; not measured from 156.05 to 158.05 MHz"),
    ],
)  # fmt: skip
def test_where_the_curve_says_nothing_there_is_no_margin_but_a_note(
    bound: MakeBound, channels: Channels, seen: Curve, note: str
) -> None:
    weighed = bound(TWO).weigh(seen, channels)
    assert weighed.margin is None
    assert weighed.reading.value is None
    assert note in weighed.reading.note


def test_a_gap_between_two_pieces_of_a_curve_is_found(bound: MakeBound, channels: Channels) -> None:
    low, high = curve(155e6, 156.6e6), curve(157.9e6, 159e6)
    freq = np.concatenate((low.freq_hz, high.freq_hz))
    seen = Curve("isolation", "Isolation", "dB", freq, np.full(freq.shape, 80.0), 12.5e3, "TX-RX")
    weighed = bound(TWO).weigh(seen, channels)
    assert (weighed.margin, weighed.reading.note) == (None, "not measured from 156.6 to 157.9 MHz")


def test_a_curve_swept_more_coarsely_than_was_asked_for_speaks_for_nothing(
    bound: MakeBound, channels: Channels
) -> None:
    """Three points 2.9 MHz apart reach both edges of a wide window, and could straddle anything."""
    limit = bound("{mask: [{over: low - 2.5 MHz to high + 2.7 MHz, at_least: 40 dB}]}")
    freq = np.array([153.95e6, 156.85e6, 159.75e6])
    for asked, margin in ((25e3, None), (2.9e6 - 2, None), (2.9e6, 40.0)):
        seen = Curve("isolation", "Isolation", "dB", freq, np.full(3, 80.0), asked, "TX-RX")
        weighed = limit.weigh(seen, channels)
        assert weighed.margin == margin
        assert ("not measured from 153.95 to 156.85 MHz" in weighed.reading.note) is (margin is None)


def test_a_step_missed_by_less_than_a_hertz_is_no_hole(bound: MakeBound, channels: Channels) -> None:
    """As an analyzer misses it that keeps its frequencies to 1 Hz."""
    limit = bound("{mask: [{over: tx ± 10 kHz, at_least: 70 dB}]}")
    freq = np.rint(channels.tx_hz + np.arange(-31, 32) * 1e3 / 3)
    seen = Curve("isolation", "Isolation", "dB", freq, np.full(63, 80.0), 1e3 / 3, "TX-RX")
    assert np.diff(freq).max() > 1e3 / 3
    assert limit.weigh(seen, channels).margin == 10.0


def test_a_curve_that_does_not_rise_is_not_believed(bound: MakeBound, channels: Channels) -> None:
    before = curve()
    seen = Curve("isolation", "Isolation", "dB", before.freq_hz[::-1].copy(), before.value, 12.5e3, "TX-RX")
    weighed = bound(TWO).weigh(seen, channels)
    assert (weighed.margin, "do not rise" in weighed.reading.note) == (None, True)


def test_a_point_outside_fails_though_something_is_missing_elsewhere(
    bound: MakeBound, channels: Channels
) -> None:
    weighed = bound(TWO).weigh(changed(curve(high_hz=158e6), 156.45e6, 69.0), channels)
    assert (weighed.margin, weighed.reading.value) == (-1.0, 69.0)
    assert weighed.reading.note == "not measured from 158 to 158.05 MHz"


def test_three_points_over_a_narrow_span_are_enough(bound: MakeBound, channels: Channels) -> None:
    """The channel and both its edges, as swept with a step of 12.5 kHz."""
    limit = bound("{mask: [{over: tx ± 12.5 kHz, at_least: 70 dB}]}")
    seen = curve(156.4375e6, 156.4625e6)
    assert seen.freq_hz.size == 3
    assert limit.weigh(seen, channels).margin == 10.0


def test_an_edge_missed_by_less_than_a_hertz_is_covered(bound: MakeBound, channels: Channels) -> None:
    limit = bound("{mask: [{over: tx ± 12.5 kHz, at_least: 70 dB}]}")
    before = curve(156.4375e6, 156.4625e6)
    for shift, margin in ((0.9, 10.0), (1.1, None)):
        freq = before.freq_hz + np.array([shift, 0.0, -shift])
        seen = Curve("isolation", "Isolation", "dB", freq, before.value, 12.5e3, "TX-RX")
        assert limit.weigh(seen, channels).margin == margin


def test_one_number_is_nothing_for_a_mask(bound: MakeBound, channels: Channels) -> None:
    weighed = bound(TWO).weigh(Reading("isolation", "Isolation", "dB", 80.0), channels)
    assert weighed.margin is None
    assert weighed.reading.note == "the limit is for a curve over frequency, which this is not"


def test_an_empty_curve_is_nothing_for_a_mask(bound: MakeBound, channels: Channels) -> None:
    empty = Curve("isolation", "Isolation", "dB", np.array([]), np.array([]), 12.5e3)
    assert bound(TWO).weigh(empty, channels).margin is None


def test_a_mask_says_and_draws_itself_stretch_by_stretch(bound: MakeBound, channels: Channels) -> None:
    mask = bound(TWO)
    assert mask.words(channels) == (
        "at least 70 dB from 156.35 to 156.55 MHz; at least 40 dB from 156.05 to 158.05 MHz"
    )
    weighed = mask.weigh(curve(), channels)
    assert mask.lines(weighed.reading, channels) == (
        LimitLine((156.35e6, 156.55e6), (70.0, 70.0), "at least 70 dB"),
        LimitLine((156.05e6, 158.05e6), (40.0, 40.0), "at least 40 dB"),
    )


def test_a_stretch_that_crosses_for_one_pair_is_told_with_its_place(
    bound: MakeBound, channels: Channels
) -> None:
    mask = bound("{mask: [{over: tx ± 1 kHz, at_least: 70 dB}, {over: 157 MHz to tx, at_least: 70 dB}]}")
    ((loc, what),) = mask.mistakes(channels)
    assert loc == (1, "over")
    assert what.startswith("'157 MHz to tx' does not rise for TX 156.45 MHz")
    assert mask.mistakes(Channels(158e6, 150e6)) == ()


@pytest.mark.parametrize(
    ("mine", "looser"),
    [
        ("{mask: [{over: tx ± 1 kHz, at_least: 69 dB}]}", True),
        ("{mask: [{over: tx ± 1 kHz, at_least: 70 dB}]}", False),
        ("{mask: [{over: tx +- 1 kHz, at_least: 69 dB}]}", True),
        ("{mask: [{over: tx ± 2 kHz, at_least: 69 dB}]}", False),
        ("{mask: [{over: tx ± 1 kHz, at_most: 69 dB}]}", False),
    ],
)
def test_a_mask_knows_when_it_is_surely_looser(bound: MakeBound, mine: str, looser: bool) -> None:
    assert bound(mine).looser_than(bound("{mask: [{over: tx ± 1 kHz, at_least: 70 dB}]}")) is looser


@given(
    values=st.lists(st.one_of(st.floats(0, 100), st.just(float("nan"))), min_size=1, max_size=40),
    first=st.floats(-30e3, 5e3),
    step=st.floats(500.0, 40e3),
    limit=st.integers(0, 100),
    asked=st.floats(500.0, 40e3),
)
def test_a_mask_passes_only_what_is_whole_and_inside(
    values: list[float], first: float, step: float, limit: int, asked: float
) -> None:
    """A margin that is not negative means: both edges reached, no gap too wide, no number missing, none outside."""
    channels = Channels(156.45e6, 157.05e6)
    freq = channels.tx_hz + first + step * np.arange(len(values))
    seen = Curve("x", "X", "dB", freq, np.array(values), asked)
    row = MaskRow(over=Span.parse("tx ± 20 kHz"), at_least=Amount.parse(f"{limit} dB"))
    margin = Mask((row,)).weigh(seen, channels).margin
    judged = np.array(values)[np.abs(freq - channels.tx_hz) <= 20e3 + 1]
    if margin is not None and margin >= 0:
        assert freq[0] <= channels.tx_hz - 20e3 + 1
        assert freq[-1] >= channels.tx_hz + 20e3 - 1
        assert judged.size and np.all(judged >= limit)
        assert judged.size == 1 or step <= asked + 1
    if np.any(judged < limit):
        assert margin is not None and margin < 0
