"""What is read from a path through the unit: loss where it passes, isolation and notches where it stops."""

from __future__ import annotations

import numpy as np

from limits.reading import FloatArray
from station.measurements.measure import Found, Look, Measure, Place
from station.measurements.view import View


def value_at(view: View, place: Place) -> Found:
    """The value at one frequency, in dB."""
    return Found(view.at(place.freq_hz), place.freq_hz)


def highest(view: View, place: Place) -> Found:
    """The highest value in the span and where: the worst loss, or the depth of a notch."""
    part = view.over(*place.span)
    index = int(np.argmax(part.db))
    return Found(float(part.db[index]), float(part.freq_hz[index]))


def lowest(view: View, place: Place) -> Found:
    """The lowest value in the span and where: the worst isolation, or the worst return loss."""
    part = view.over(*place.span)
    index = int(np.argmin(part.db))
    return Found(float(part.db[index]), float(part.freq_hz[index]))


def highests(freq_hz: FloatArray, db: FloatArray, place: Place) -> FloatArray:
    """The highest value of each trace."""
    return np.asarray(db.max(axis=1), dtype=np.float64)


def lowests(freq_hz: FloatArray, db: FloatArray, place: Place) -> FloatArray:
    """The lowest value of each trace."""
    return np.asarray(db.min(axis=1), dtype=np.float64)


def ripple(view: View, place: Place) -> Found:
    """Highest less lowest value in the span, found at the highest."""
    part = view.over(*place.span)
    (value,) = ripples(part.freq_hz, part.db[None], place)
    return Found(float(value), float(part.freq_hz[np.argmax(part.db)]))


def ripples(freq_hz: FloatArray, db: FloatArray, place: Place) -> FloatArray:
    """Highest less lowest value of each trace."""
    return np.asarray(np.ptp(db, axis=1), dtype=np.float64)


def notch_frequency(view: View, place: Place) -> Found:
    """Where the attenuation in the span is deepest, in Hz."""
    part = view.over(*place.span)
    (found_hz,) = notch_frequencies(part.freq_hz, part.db[None], place)
    if np.isnan(found_hz):
        return Found(None, None, "the attenuation is deepest at the edge of the span: no notch lies inside")
    return Found(float(found_hz), float(found_hz))


def notch_frequencies(freq_hz: FloatArray, db: FloatArray, place: Place) -> FloatArray:
    """Where each trace is deepest, in Hz; NaN where that is at an edge.

    Close to a notch of finite Q the transmitted power |S|^2 is a parabola over frequency, so the vertex of the
    parabola through the deepest point and its two neighbours places the notch between the points of the sweep.
    """
    deepest = np.argmax(db, axis=1)
    inside = (deepest > 0) & (deepest < len(freq_hz) - 1)
    around = np.clip(deepest, 1, max(len(freq_hz) - 2, 1))[:, None] + np.arange(-1, 2)
    if len(freq_hz) < 3 or not inside.any():
        return np.full(len(db), np.nan)
    below_hz, middle_hz, above_hz = freq_hz[around].T
    before, middle, after = 10 ** (-np.take_along_axis(db, around, axis=1).T / 10)
    falling = (middle - before) / (middle_hz - below_hz)
    rising = (after - middle) / (above_hz - middle_hz)
    # Between two points a parabola has the slope of their chord half way; where it is zero lies the vertex.
    with np.errstate(divide="ignore", invalid="ignore"):
        vertex_hz = (below_hz + middle_hz) / 2 - falling * (above_hz - below_hz) / 2 / (rising - falling)
    found_hz = np.where(rising > falling, np.clip(vertex_hz, below_hz, above_hz), middle_hz)
    return np.where(inside, found_hz, np.nan)


def without_luck(freq_hz: FloatArray, db: FloatArray) -> FloatArray:
    """The trace with the deepest point as its neighbours tell it, two on either side: the power of a parabola there.

    Of a notch in noise the deepest point is the one that noise made deepest, and may be far deeper than its place.
    Noise that is tried on it would never find the notch anywhere else.
    """
    deepest = int(np.argmax(db))
    near = np.array([deepest - 2, deepest - 1, deepest + 1, deepest + 2])
    if near[0] < 0 or near[-1] >= len(db):
        return db
    apart = (freq_hz[near] - freq_hz[deepest]) / (freq_hz[near[-1]] - freq_hz[near[0]])
    power = np.polynomial.polynomial.polyfit(apart, 10 ** (-db[near] / 10), 2)[0]
    found = db.copy()
    found[deepest] = -10 * np.log10(max(power, 10 ** (-db[deepest] / 10)))
    return found


MEASURES: tuple[Measure, ...] = (
    Measure("loss", Look.TRANSMISSION, frozenset({"at"}), "dB", "{subject} insertion loss at {at}", value_at),
    Measure(
        "worst loss", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} insertion loss, worst over {over}", highest, highests,
    ),
    Measure(
        "ripple", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} ripple over {over}", ripple, ripples, on_trace=False,
    ),
    Measure("isolation", Look.TRANSMISSION, frozenset({"at"}), "dB", "{subject} isolation at {at}", value_at),
    Measure(
        "worst isolation", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} isolation, worst over {over}", lowest, lowests,
    ),
    Measure(
        "isolation curve", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} isolation over {over}", None,
    ),
    Measure(
        "notch frequency", Look.TRANSMISSION, frozenset({"over"}), "Hz",
        "{subject} notch frequency", notch_frequency, notch_frequencies, without_luck, on_trace=False,
    ),
    Measure(
        "notch depth", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} notch depth", highest, highests,
    ),
)  # fmt: skip
