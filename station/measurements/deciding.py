"""Which points of a sweep a value hangs on: those that must be measured better for the value to become better.

Found by trying: a point decides when moving it by what noise may do to it moves the value. So a value at one
frequency hangs on one point, the worst of a span on those that are nearly as bad, a width on the points beside its
edges; and no measure needs to say so itself.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limits.reading import FloatArray
from station.measurements.characteristic import Characteristic
from station.measurements.error_source import Excerpt, Sweeps, Worth
from station.measurements.sweep import SAME_POINT_HZ
from station.measurements.uncertainty import DB_PER_NEPER, Distribution

Places = NDArray[np.intp]

REACH = 6.0
"""How far noise is believed to move a point, in standard deviations: three by which it may have been moved already,
and three by which it is moved once more where U is worked out. So what stays as it was swept first cannot become the
deepest or the worst of its span beside points that were swept with more care, nor count in their U."""

COUNTS = 0.01
"""A point that moves the value by less than this share of what the weightiest one does is none that decides."""


def deciding_points(item: Characteristic, sweeps: Sweeps, worth: Worth) -> Places:
    """Places among the frequencies of the characteristic's own sweep, rising. A curve hangs on all its points."""
    sweep = sweeps[item.hookup]
    around = points_of(item, sweep.freq_hz)
    if item.measure.values is None:
        return around
    part = item.looks_at(sweeps, worth)
    excerpt = Excerpt(sweeps, item.hookup, item.to, item.source, part.freq_hz)
    moved_db = np.diag(REACH * noise_db(excerpt, worth))
    tried = np.concatenate([[part.db], part.db + moved_db, part.db - moved_db])
    values = np.nan_to_num(item.measure.values(part.freq_hz, tried, item.place), nan=np.inf)
    with np.errstate(invalid="ignore"):
        effects = np.abs(values[1:] - values[0]).reshape(2, -1).max(axis=0)
    weightiest = effects[np.isfinite(effects)].max(initial=0.0)
    decides_hz = part.freq_hz[~(effects <= COUNTS * weightiest)]
    # The ends of the span may lie between two points, and then hang on both.
    places = [neighbours(sweep.freq_hz, freq_hz, freq_hz) for freq_hz in decides_hz]
    return np.unique(np.concatenate(places)) if places else around


def noise_db(excerpt: Excerpt, worth: Worth) -> FloatArray:
    """Standard deviation of each point by noise, in dB, shape (n,)."""
    anew = (source for source in worth.sources(excerpt) if source.each_point)
    effects = [np.real(source.effect) for source in anew if source.distribution is Distribution.NORMAL]
    return np.asarray(DB_PER_NEPER * np.sqrt(np.sum(np.square(effects), axis=0)), dtype=np.float64)


def points_of(item: Characteristic, freq_hz: FloatArray) -> Places:
    """The points that a characteristic looks at, with those that the ends of its span are interpolated from."""
    return neighbours(freq_hz, *item.span_hz)


def neighbours(freq_hz: FloatArray, low_hz: float, high_hz: float) -> Places:
    """The points from one frequency to another, and beside them where these lie between two points."""
    first = int(np.searchsorted(freq_hz, low_hz + SAME_POINT_HZ, side="right")) - 1
    last = int(np.searchsorted(freq_hz, high_hz - SAME_POINT_HZ, side="left"))
    return np.arange(max(first, 0), min(last, len(freq_hz) - 1) + 1)
