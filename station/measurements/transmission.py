"""What is read from a path through the unit: loss where it passes, isolation and notches where it stops."""

from __future__ import annotations

import numpy as np

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


def ripple(view: View, place: Place) -> Found:
    """Highest less lowest value in the span, found at the highest."""
    part = view.over(*place.span)
    return Found(float(np.ptp(part.db)), float(part.freq_hz[np.argmax(part.db)]))


def notch_frequency(view: View, place: Place) -> Found:
    """Where the attenuation in the span is deepest, in Hz.

    Close to a notch of finite Q the transmitted power |S|^2 is a parabola over frequency, so the vertex of the
    parabola through the deepest point and its two neighbours places the notch between the points of the sweep.
    """
    part = view.over(*place.span)
    index = int(np.argmax(part.db))
    if index in (0, len(part.db) - 1):
        return Found(None, None, "the attenuation is deepest at the edge of the span: no notch lies inside")
    around = slice(index - 1, index + 2)
    offset_hz = part.freq_hz[around] - part.freq_hz[index]
    curvature, slope, _ = np.polyfit(offset_hz, 10 ** (-part.db[around] / 10), 2)
    vertex_hz = -slope / (2 * curvature) if curvature > 0 else 0.0
    found_hz = float(part.freq_hz[index] + np.clip(vertex_hz, offset_hz[0], offset_hz[2]))
    return Found(found_hz, found_hz)


MEASURES: tuple[Measure, ...] = (
    Measure("loss", Look.TRANSMISSION, frozenset({"at"}), "dB", "{subject} insertion loss at {at}", value_at),
    Measure(
        "worst loss", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} insertion loss, worst over {over}", highest,
    ),
    Measure(
        "ripple", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} ripple over {over}", ripple, on_trace=False,
    ),
    Measure("isolation", Look.TRANSMISSION, frozenset({"at"}), "dB", "{subject} isolation at {at}", value_at),
    Measure(
        "worst isolation", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} isolation, worst over {over}", lowest,
    ),
    Measure(
        "isolation curve", Look.TRANSMISSION, frozenset({"over"}), "dB",
        "{subject} isolation over {over}", None,
    ),
    Measure(
        "notch frequency", Look.TRANSMISSION, frozenset({"over"}), "Hz",
        "{subject} notch frequency", notch_frequency, on_trace=False,
    ),
    Measure("notch depth", Look.TRANSMISSION, frozenset({"over"}), "dB", "{subject} notch depth", highest),
)  # fmt: skip
