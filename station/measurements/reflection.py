"""What is read from one port of the unit: how well it is matched, and over what width."""

from __future__ import annotations

import numpy as np

from limits.reading import Claim, FloatArray
from station.measurements.measure import Found, Look, Measure, Place
from station.measurements.transmission import lowest, value_at
from station.measurements.view import View


def match_bandwidth(view: View, place: Place) -> Found:
    """Width in Hz of the unbroken stretch around one frequency in which the return loss is at least the level.

    The edges lie where the straight line between two points crosses the level. Zero when the frequency itself
    is matched worse. Where the stretch runs out of the span, the part inside is reported, as a lower bound.
    """
    part = view.over(*place.span)
    if part.at(place.freq_hz) < place.level:
        return Found(0.0, place.freq_hz, f"the return loss is below {place.level:g} dB there")
    edges = _crossings(part.freq_hz, part.db, place.level)
    below = edges[edges <= place.freq_hz]
    above = edges[edges >= place.freq_hz]
    low_hz = float(below[-1]) if len(below) else place.span[0]
    high_hz = float(above[0]) if len(above) else place.span[1]
    if len(below) and len(above):
        return Found(high_hz - low_hz, place.freq_hz)
    note = "at least: it runs beyond the span looked at"
    return Found(high_hz - low_hz, place.freq_hz, note, Claim.AT_LEAST)


def _crossings(freq_hz: FloatArray, value: FloatArray, level: float) -> FloatArray:
    """The frequencies at which straight lines between the points cross a level, rising."""
    distance = value - level
    before = np.flatnonzero((distance[:-1] < 0) != (distance[1:] < 0))
    share = distance[before] / (distance[before] - distance[before + 1])
    crossings: FloatArray = freq_hz[before] + share * (freq_hz[before + 1] - freq_hz[before])
    return crossings


MEASURES: tuple[Measure, ...] = (
    Measure("return loss", Look.REFLECTION, frozenset({"at"}), "dB", "{subject} return loss at {at}", value_at),
    Measure(
        "worst return loss", Look.REFLECTION, frozenset({"over"}), "dB",
        "{subject} return loss, worst over {over}", lowest,
    ),
    Measure(
        "match bandwidth", Look.REFLECTION, frozenset({"at", "over", "level"}), "Hz",
        "{subject} match bandwidth at {level}", match_bandwidth, on_trace=False,
    ),
)  # fmt: skip
