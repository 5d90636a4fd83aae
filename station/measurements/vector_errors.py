"""The sources of error of a vector bench, from the figures that are stated of it.

A small wave that comes by another way than the one that is measured adds to it with unknown phase; each such source
is the ratio of the two. What meets the unit's own reflections and transmissions takes them from the sweeps, so that
it turns over frequency as they do. The terms are those that a calibration leaves of the twelve (EURAMET cg-12, from
memory); products of two errors are left out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from limits.reading import FloatArray
from station.measurements.error_source import SMALLEST, ErrorSource, Excerpt, vector
from station.measurements.sweep import ComplexArray
from station.measurements.uncertainty import DB_PER_NEPER, Distribution

if TYPE_CHECKING:
    from station.measurements.figures import Figures


def vector_sources(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    """Every source of error of a reading."""
    yield from noise(excerpt, figures)
    yield from _reflection(excerpt, figures) if excerpt.is_reflection else _transmission(excerpt, figures)
    yield _idle_load(excerpt, figures)


def noise(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    """Noise beside the wave, and the scatter of a strong one."""
    floor = figures.noise_floor
    down_db = excerpt.by_settings(floor.below_source_db)
    # of a noise vector half the power lies along the wave
    along = 10 ** (-down_db / 20) / math.sqrt(2) / excerpt.size
    middle = len(down_db) // 2
    above_db = down_db[middle] + 20 * math.log10(excerpt.size[middle])
    shown = f"{floor}; the reading is {above_db:.1f} dB above it"
    yield ErrorSource("noise floor", Distribution.NORMAL, along, shown, each_point=True)
    trace = figures.trace_noise / DB_PER_NEPER * excerpt.by_settings(floor.widening)
    shown = f"{figures.trace_noise:g} dB at {floor.bandwidth_hz:g} Hz"
    yield ErrorSource("trace noise", Distribution.NORMAL, trace, shown, each_point=True)


def _transmission(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    yield _gain(excerpt, "connectors", Distribution.NORMAL, figures.connector_repeatability)
    yield _gain(excerpt, "drift", Distribution.RECTANGULAR, figures.drift)
    match = wave_of(figures.port_match)
    for name, port in (("source match", excerpt.source), ("load match", excerpt.to)):
        reflection = excerpt.s(port, port)
        yield vector(
            name, match * reflection, f"{figures.port_match:g} dB against {_db(reflection)} at {port}"
        )


def _reflection(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    port, size = excerpt.to, excerpt.size
    # What moves a transmission by so many dB disturbs the reflected wave by as large a share of the incident one.
    disturbed = figures.connector_repeatability / DB_PER_NEPER / size
    shown = f"{figures.connector_repeatability:g} dB, beside {_db(size)}"
    # one part of a vector of any phase
    yield ErrorSource("connectors", Distribution.NORMAL, disturbed, shown, any_phase=True)
    yield _gain(excerpt, "drift", Distribution.RECTANGULAR, figures.drift)
    shown = f"{figures.directivity:g} dB beside {_db(size)}"
    yield vector("directivity", wave_of(figures.directivity) / excerpt.s(port, port), shown)
    match = wave_of(figures.port_match)
    shown = f"{figures.port_match:g} dB against {_db(size)} at {port}"
    yield vector("source match", match * excerpt.s(port, port), shown)
    other = excerpt.hookup.second if port == excerpt.hookup.first else excerpt.hookup.first
    there_and_back = excerpt.s(other, port) * excerpt.s(port, other)
    shown = f"{figures.port_match:g} dB at {other}, {_db(there_and_back)} there and back"
    yield vector("load match", match * there_and_back / excerpt.s(port, port), shown)


def _idle_load(excerpt: Excerpt, figures: Figures) -> ErrorSource:
    """What goes into the idle port's load comes back out by so much: S_ik S_kj G beside S_ij."""
    idle, to, source = excerpt.hookup.idle, excerpt.to, excerpt.source
    by_way = excerpt.s(idle, source) * excerpt.s(to, idle)
    shown = f"{figures.load_match:g} dB at {idle}, {_db(by_way)} by that way"
    return vector(
        "load on the idle port", wave_of(figures.load_match) * by_way / excerpt.s(to, source), shown
    )


def _gain(excerpt: Excerpt, name: str, distribution: Distribution, by_db: float) -> ErrorSource:
    """What makes the whole wave stronger or weaker by the same dB everywhere."""
    return ErrorSource(
        name, distribution, np.full(len(excerpt.freq_hz), by_db / DB_PER_NEPER), f"{by_db:g} dB"
    )


def wave_of(down_db: float) -> float:
    """A wave so many dB below another, as a share of it."""
    return float(10 ** (-down_db / 20))


def _db(size: ComplexArray | FloatArray) -> str:
    """As it is in the middle of the excerpt."""
    return f"{-20 * math.log10(max(abs(size[len(size) // 2]), SMALLEST)):.1f} dB"
