"""The uncertainty of a reading from the sweeps it was read from and what the bench is worth.

Two ways lead from a source of error to its share of a reading, and both are the same sum for small errors:

* A level at one point moves by 8.686 times the part of the error along the wave: closed form.
* Whatever looks at a span (a worst level, a ripple, a width, a frequency) is read again by its own measure from its
  own few points, with the error put on them: a vector of unknown phase in two directions at right angles and their
  opposites, a gain up and down, noise in a few draws that are always the same. The share is the rms of what the
  reading moves.

An error vector stays nearly the same over a unit's channels; over wider spans it turns by what the cables are long
(`CABLE_DELAY_S`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from limits.reading import Claim, Curve, FloatArray, Reading
from station.measurements.characteristic import Characteristic
from station.measurements.error_source import ErrorSource, Excerpt, Sweeps, Worth
from station.measurements.uncertainty import (
    DB_PER_NEPER,
    DIVISORS,
    SIZES_DIFFER,
    Budget,
    Contribution,
    Distribution,
    Kind,
    coverage_factors,
)
from station.measurements.view import View

CABLE_DELAY_S = 10e-9
"""There and back through a metre of test cable: by so much error vectors turn over frequency."""

DRAWS = 32
"""Of noise. They are orthogonal from point to point, so that where a reading is a sum over fewer points than this
they give its variance exactly, and else nearly."""

DRAWS_FOR_PLACES = 128
"""Where noise may place a notch here or there, of which 32 tell too little."""

PICKED = 1 + math.sqrt(2)
"""By how much the mean of what noise moves a reading by, put on a trace that has it already, falls short of what it
moved the reading by the first time. A worst, deepest or widest value is picked for its noise: among equal points it
is off by some multiple of the noise's standard deviation, which grows by sqrt(2) - 1 when as much comes to it again.
What is off counts as uncertainty (JCGM 100, F.2.4.5), as nobody takes it out of the reading."""

ELSEWHERE = 2.2
"""By so many U a reading moves for a trace that moves by its U at all points, and is then read at another place. Two
edges that move by U each, against each other, make it 2 at most."""

MOST_POINTS = 2048
"""For which draws are ready; longer excerpts use them again."""


def _draws(number: int) -> FloatArray:
    # Always the same, so that a stored run gives the same U again.
    rng = np.random.default_rng(20)
    blocks = [np.linalg.qr(rng.standard_normal((number, number)))[0] for _ in range(MOST_POINTS // number)]
    return np.concatenate(blocks, axis=1) * math.sqrt(number)


_DRAWN, _DRAWN_FOR_PLACES = _draws(DRAWS), _draws(DRAWS_FOR_PLACES)
ACROSS = MOST_POINTS // 2
"""So many points on are the draws of noise at right angles to the wave."""


def with_uncertainty(
    item: Characteristic, reading: Reading | Curve, sweeps: Sweeps, worth: Worth | None
) -> Reading | Curve:
    """The reading with its U where that can be evaluated; else as it was."""
    if worth is None:
        return reading
    if isinstance(reading, Curve):
        return replace(reading, u=_along(item, reading, sweeps, worth))
    budget = budget_of(item, reading, sweeps, worth)
    return reading if budget is None else replace(reading, u=budget.stated)


def budget_of(item: Characteristic, reading: Reading, sweeps: Sweeps, worth: Worth) -> Budget | None:
    """The budget of a reading; None where there is no value."""
    if reading.value is None or reading.at_hz is None:
        return None
    near_floor = item.measure.on_trace and reading.claim is Claim.AT_LEAST
    if item.measure.values is None:
        excerpt = _excerpt(item, sweeps, np.array([reading.at_hz]))
        lines = [_at_a_point(source) for source in _sources(worth, excerpt, near_floor)]
    else:
        view = item.looks_at(sweeps, worth)
        sources = _sources(worth, _excerpt(item, sweeps, view.freq_hz), near_floor)
        by_db = [_on_trace(item, source, view.freq_hz) for source in sources]
        moved = _moved(item, view, reading.value, by_db)
        for place, source in enumerate(sources):
            if source.each_point and item.measure.unpicked is not None:
                moved[place] = _noise_moved(item, view, reading.value, by_db[place])
        lines = [_again(item, source, by) for source, by in zip(sources, moved, strict=True)]
        # Draws of noise find another place by themselves, and where they drown the trace they are no band about it.
        bands = [by for source, by in zip(sources, by_db, strict=True) if source.beside is None]
        lines += _elsewhere(item, view, reading.value, lines, bands)
    return Budget(item.unit, tuple(lines))


def _sources(worth: Worth, excerpt: Excerpt, near_floor: bool) -> tuple[ErrorSource, ...]:
    return tuple(source for source in worth.sources(excerpt) if not (near_floor and source.background))


def _along(item: Characteristic, curve: Curve, sweeps: Sweeps, worth: Worth) -> FloatArray:
    """U of each value of a curve, as of a level at that point."""
    sources = tuple(worth.sources(_excerpt(item, sweeps, curve.freq_hz)))
    shares = np.empty((len(sources), len(curve.freq_hz)))
    for row, source in zip(shares, sources, strict=True):
        share = source.level_db() / DIVISORS[source.distribution]
        if source.background and curve.at_least is not None:
            share = np.where(curve.at_least, 0.0, share)
        row[:] = share
    k = coverage_factors(shares, [source.distribution for source in sources], SIZES_DIFFER)
    return np.asarray(k * np.sqrt(np.sum(shares**2, axis=0)), dtype=np.float64)


def _excerpt(item: Characteristic, sweeps: Sweeps, freq_hz: FloatArray) -> Excerpt:
    return Excerpt(sweeps, item.hookup, item.to, item.source, freq_hz)


def _at_a_point(source: ErrorSource) -> Contribution:
    return Contribution(
        source.name, source.kind, source.distribution, float(source.level_db()[0]), source.shown
    )


def _on_trace(item: Characteristic, source: ErrorSource, freq_hz: FloatArray) -> FloatArray:
    """By how many dB the source moves the trace, tried in several ways; shape (m, n)."""
    if source.each_point:
        draws = _DRAWN if item.measure.unpicked is None else _DRAWN_FOR_PLACES
        drawn, across = (draws[:, (np.arange(len(freq_hz)) + first) % MOST_POINTS] for first in (0, ACROSS))
        if source.beside is not None:
            return np.asarray(-20 * np.log10(np.abs(1 + source.beside * (drawn + 1j * across))))
        return np.asarray(DB_PER_NEPER * np.real(source.effect) * drawn, dtype=np.float64)
    effect = source.effect[None]
    if source.any_phase:
        turn = np.exp(2j * np.pi * CABLE_DELAY_S * (freq_hz - freq_hz.mean()))
        # Turning either way, each time in two directions that are at right angles at every point.
        effect = np.stack([effect[0] * each for each in (turn, 1j * turn, 1 / turn, 1j / turn)])
    return np.asarray(-20 * np.log10(np.abs(1 + np.concatenate([effect, -effect]))), dtype=np.float64)


def _moved(item: Characteristic, view: View, value: float, by_db: Sequence[FloatArray]) -> list[FloatArray]:
    """How far the reading moves with each; where nothing is found any more, as far as the span is wide."""
    assert item.measure.values is not None
    read = item.measure.values(view.freq_hz, view.db + np.concatenate(by_db), item.place)
    low, high = item.span_hz
    moved = np.where(np.isnan(read), high - low, read - value)
    return np.split(moved, np.cumsum([len(each) for each in by_db])[:-1])


def _noise_moved(item: Characteristic, view: View, value: float, by_db: FloatArray) -> FloatArray:
    """How far the reading moves with noise, from a trace that was not picked for its noise."""
    unpicked = item.measure.unpicked
    assert unpicked is not None
    (moved,) = _moved(item, replace(view, db=unpicked(view.freq_hz, view.db)), value, [by_db])
    # The reading is one of these itself, so that they scatter about the truth as it does, not about the reading.
    return np.asarray(moved - moved.mean(), dtype=np.float64)


def _again(item: Characteristic, source: ErrorSource, moved: FloatArray) -> Contribution:
    """The line of a source that moves the reading by so much, each way in which it was tried.

    Of an error and its opposite the one counts that moves a level further. A worst level moves one way as far as the
    trace does and the other way only until another place is worse, and decibels fall further than they rise; U is
    the same on both sides, so that it reaches as far as the further one.
    """
    square = float(np.mean(moved**2))
    if source.each_point:
        square += (PICKED**2 - 1) * float(np.mean(moved)) ** 2
    elif item.measure.on_trace:
        square = float(np.mean(np.max(np.abs(moved.reshape(2, -1)), axis=0) ** 2))
    # Of a vector two parts at right angles were tried, of which each has its whole length.
    value = math.sqrt(2 * square) if source.any_phase else math.sqrt(square)
    return Contribution(source.name, source.kind, source.distribution, value, source.shown)


def _elsewhere(
    item: Characteristic,
    view: View,
    value: float,
    lines: Sequence[Contribution],
    by_db: Sequence[FloatArray],
) -> Iterator[Contribution]:
    """A line more where the trace, moved by its own U, is read at quite another place.

    So a stretch of good match that a dip nearly parts: no single error parts it, all together may.
    """
    squares = [np.mean(each**2, axis=0) for each in by_db]
    trace_db = 2 * np.sqrt(sum(squares, np.zeros(len(view.freq_hz))))
    (moved,) = _moved(item, view, value, [np.stack([trace_db, -trace_db])])
    most = float(np.abs(moved).max())
    if most > ELSEWHERE * Budget(item.unit, tuple(lines)).expanded():
        shown = "within the U of the trace it would be read elsewhere"
        # As if it were normal: it is read here or there and nowhere between, so that k = 2 is needed to reach there.
        yield Contribution("another place", Kind.B, Distribution.NORMAL, most, shown, divisor=math.sqrt(3))
