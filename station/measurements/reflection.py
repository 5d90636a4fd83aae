"""What is read from one port of the unit: how well it is matched, and over what width."""

from __future__ import annotations

import numpy as np

from limits.reading import Claim, FloatArray
from station.measurements.measure import Found, Look, Measure, Place
from station.measurements.transmission import lowest, lowests, value_at
from station.measurements.view import View


def match_bandwidth(view: View, place: Place) -> Found:
    """Width in Hz of the unbroken stretch around one frequency in which the return loss is at least the level.

    Zero when the frequency itself is matched worse. Where the stretch runs out of the span, the part inside is
    reported, as a lower bound.
    """
    part = view.over(*place.span)
    if part.at(place.freq_hz) < place.level:
        return Found(0.0, place.freq_hz, f"the return loss is below {place.level:g} dB there")
    low_hz, high_hz = (float(edge[0]) for edge in _edges(part.freq_hz, part.db[None], place))
    if low_hz > part.freq_hz[0] and high_hz < part.freq_hz[-1]:
        return Found(high_hz - low_hz, place.freq_hz)
    note = "at least: it runs beyond the span looked at"
    return Found(high_hz - low_hz, place.freq_hz, note, Claim.AT_LEAST)


def match_bandwidths(freq_hz: FloatArray, db: FloatArray, place: Place) -> FloatArray:
    """The width of the stretch of each trace."""
    low_hz, high_hz = _edges(freq_hz, db, place)
    return high_hz - low_hz


def _edges(freq_hz: FloatArray, db: FloatArray, place: Place) -> tuple[FloatArray, FloatArray]:
    """Where the stretch of each trace begins and ends; at the ends of the trace where it runs out of it.

    The edges lie where the straight line between two points crosses the level.
    """
    above = int(np.clip(np.searchsorted(freq_hz, place.freq_hz), 1, len(freq_hz) - 1))
    share = (place.freq_hz - freq_hz[above - 1]) / (freq_hz[above] - freq_hz[above - 1])
    here = (1 - share) * db[:, above - 1] + share * db[:, above]
    # the frequency itself as a point, from which both edges are looked for
    freq_hz = np.insert(freq_hz, above, place.freq_hz)
    room = np.insert(db, above, here, axis=1) - place.level
    upwards = _until_below(freq_hz[above:], room[:, above:])
    downwards = _until_below(freq_hz[above::-1], room[:, above::-1])
    return downwards, upwards


def _until_below(freq_hz: FloatArray, room: FloatArray) -> FloatArray:
    """The frequency at which each row falls below zero for the first time; the last where none does."""
    below = room < 0
    after = np.argmax(below, axis=1)
    rows = np.arange(len(room))
    before = np.maximum(after - 1, 0)
    high, low = room[rows, before], room[rows, after]
    with np.errstate(divide="ignore", invalid="ignore"):
        crossing_hz = freq_hz[before] + high / (high - low) * (freq_hz[after] - freq_hz[before])
    found_hz = np.where(below.any(axis=1), np.where(after == 0, freq_hz[0], crossing_hz), freq_hz[-1])
    return np.asarray(found_hz, dtype=np.float64)


MEASURES: tuple[Measure, ...] = (
    Measure("return loss", Look.REFLECTION, frozenset({"at"}), "dB", "{subject} return loss at {at}", value_at),
    Measure(
        "worst return loss", Look.REFLECTION, frozenset({"over"}), "dB",
        "{subject} return loss, worst over {over}", lowest, lowests,
    ),
    Measure(
        "match bandwidth", Look.REFLECTION, frozenset({"at", "over", "level"}), "Hz",
        "{subject} match bandwidth at {level}", match_bandwidth, match_bandwidths, on_trace=False,
    ),
)  # fmt: skip
