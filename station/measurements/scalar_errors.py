"""The sources of error of a scalar bench, from the figures that are stated of it.

A transmission T is read between a source and a receiver that reflect Gs and Gr, over the same without the unit:

    T (1 - Gs Gr) / ((1 - Gs S11) (1 - Gr S22) - Gs Gr S12 S21)

so that to first order Gs S11, Gr S22, Gs Gr and Gs Gr S12 S21 stand beside 1, all of unknown phase
(transmission-line theory; the limits of each are the trade's mismatch limits, 20 log10(1 +- |G1 G2|)). Near a notch
the unit reflects nearly all, and the first two count most: +-0.9 dB each for 20 dB.

A reflection S is read through a bridge of directivity D and test-port match M as D + S / (1 - M S), over the average
of open and short, which is itself off by up to (|M| + |D|)^2 / 2 (`normalisation.py`). Loads that are not perfect
stay in, since magnitudes cannot tell them from the unit.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from limits.reading import FloatArray
from station.measurements.error_source import ErrorSource, Excerpt, vector
from station.measurements.sweep import PORTS, ComplexArray
from station.measurements.uncertainty import DB_PER_NEPER, Distribution
from station.measurements.vector_errors import gain, in_db, last_digit, noise_sources, of_the_unit, wave_of

if TYPE_CHECKING:
    from station.measurements.scalar_figures import ScalarFigures

STATED_OVER_DB = 10.0
"""From this difference of levels on, the linearity of a logarithmic scale is what is stated of it (common practice,
no source)."""

LARGEST_RATIO = 0.95
"""Of the bridge's leak to a reflection that is read; above it a reading says nothing, and U is 26 dB."""


def scalar_sources(excerpt: Excerpt, figures: ScalarFigures) -> Iterator[ErrorSource]:
    """Every source of error of a reading."""
    yield from _noise(excerpt, figures)
    yield from _reflection(excerpt, figures) if excerpt.is_reflection else _transmission(excerpt, figures)
    yield from _loads(excerpt, figures)
    yield _log_linearity(excerpt, figures)
    yield gain(excerpt, "drift", Distribution.RECTANGULAR, figures.drift)
    if figures.cable_flex is not None:
        yield gain(excerpt, "cable flex", Distribution.NORMAL, figures.cable_flex)
    yield from of_the_unit(excerpt, figures)
    yield from last_digit(excerpt, figures)


def _log_linearity(excerpt: Excerpt, figures: ScalarFigures) -> ErrorSource:
    """Of levels that lie less than STATED_OVER_DB from the reference in proportion less."""
    apart_db = -20 * np.log10(excerpt.size)
    off_db = figures.log_linearity * np.minimum(np.abs(apart_db) / STATED_OVER_DB, 1.0)
    shown = f"{figures.log_linearity:g} dB, the level {in_db(excerpt.size)} below its reference"
    return ErrorSource("log linearity", Distribution.RECTANGULAR, off_db / DB_PER_NEPER, shown)


def _turned(size: ComplexArray | FloatArray) -> ComplexArray:
    """A wave that meets the unit's reflections turns as they do, nobody knows how far: half round over an excerpt."""
    place = np.linspace(-0.5, 0.5, len(size)) if len(size) > 1 else np.zeros(1)
    return np.asarray(np.abs(size) * np.exp(1j * np.pi * place), dtype=np.complex128)


def _noise(excerpt: Excerpt, figures: ScalarFigures) -> Iterator[ErrorSource]:
    """Of a reflection the bridge's loss stands between; power averages make it steadier, not less."""
    beyond = wave_of(-figures.bridge_loss) if excerpt.is_reflection else 1.0
    noise = beyond * excerpt.by_settings(lambda settings: figures.floor(settings).noise)
    averages = excerpt.by_settings(lambda settings: figures.floor(settings).averaged)
    return noise_sources(excerpt, figures, noise, averages)


def _transmission(excerpt: Excerpt, figures: ScalarFigures) -> Iterator[ErrorSource]:
    yield gain(excerpt, "connectors", Distribution.NORMAL, figures.connector_repeatability)
    if figures.leakage is not None:
        shown = f"{figures.leakage:g} dB beside {in_db(excerpt.size)}"
        yield vector("leakage", wave_of(figures.leakage) / excerpt.size, shown, background=True)
    source, receiver = wave_of(figures.source_match), wave_of(figures.receiver_match)
    for name, match, port in (
        ("source match", source, excerpt.source),
        ("receiver match", receiver, excerpt.to),
    ):
        reflection = excerpt.s(port, port)
        shown = f"{-20 * math.log10(match):g} dB against {in_db(reflection)} at {port}"
        yield vector(name, match * _turned(reflection), shown)
    shown = f"{figures.source_match:g} dB against {figures.receiver_match:g} dB"
    both = np.full(len(excerpt.freq_hz), source * receiver)
    yield vector("match at the through", both, shown)
    yield vector("match through the unit", both * excerpt.size**2, shown)


def _reflection(excerpt: Excerpt, figures: ScalarFigures) -> Iterator[ErrorSource]:
    port, size = excerpt.to, excerpt.size
    # What moves a transmission by so many dB disturbs the reflected wave by as large a share of the incident one.
    disturbed = figures.connector_repeatability / DB_PER_NEPER / size
    shown = f"{figures.connector_repeatability:g} dB, beside {in_db(size)}"
    yield ErrorSource("connectors", Distribution.NORMAL, disturbed, shown, any_phase=True)
    leak, match = wave_of(figures.directivity), wave_of(figures.port_match)
    shown = f"{figures.directivity:g} dB beside {in_db(size)}"
    seen = np.minimum(leak / size, LARGEST_RATIO)
    yield vector("directivity", _turned(seen * _further(excerpt, figures)), shown)
    shown = f"{figures.port_match:g} dB against {in_db(size)} at {port}"
    yield vector("bridge match", match * _turned(size), shown)
    average = np.full(len(excerpt.freq_hz), (leak + match) ** 2 / 2)
    shown = f"directivity {figures.directivity:g} dB, match {figures.port_match:g} dB"
    yield ErrorSource("average of open and short", Distribution.RECTANGULAR, average, shown)


def _further(excerpt: Excerpt, figures: ScalarFigures) -> FloatArray:
    """What is read nearly as small as the leak may be much smaller in truth: the further limit, -ln(1 - ratio), over
    the ratio. It is as much further for whatever else adds to the same small reflection."""
    ratio = np.minimum(wave_of(figures.directivity) / excerpt.size, LARGEST_RATIO)
    return np.asarray(-np.log(1.0 - ratio) / ratio, dtype=np.float64)


def _loads(excerpt: Excerpt, figures: ScalarFigures) -> Iterator[ErrorSource]:
    """What goes into the load of a port comes back out by so much: S_ik S_kj G beside S_ij.

    While a reflection is swept both other ports carry loads.
    """
    to, source = excerpt.to, excerpt.source
    for idle in PORTS:
        if idle in (to, source):
            continue
        by_way = excerpt.s(idle, source) * excerpt.s(to, idle)
        shown = f"{figures.load_match:g} dB at {idle}, {in_db(by_way)} by that way"
        effect = wave_of(figures.load_match) * by_way / excerpt.s(to, source)
        if excerpt.is_reflection:
            effect = effect * _further(excerpt, figures)
        yield vector(f"load on {idle}", effect, shown)
