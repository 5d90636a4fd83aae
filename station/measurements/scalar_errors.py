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
from station.measurements.error_source import LARGEST_RATIO, SMALLEST, ErrorSource, Excerpt, vector
from station.measurements.sweep import PORTS, ComplexArray
from station.measurements.uncertainty import DB_PER_NEPER, Distribution
from station.measurements.vector_errors import gain, in_db, last_digit, noise_sources, of_the_unit, wave_of

if TYPE_CHECKING:
    from station.measurements.scalar_figures import ScalarFigures

STATED_OVER_DB = 10.0
"""From this difference of levels on, the linearity of a logarithmic scale is what is stated of it (common practice,
no source)."""

MATCHED = 0.32
"""Below this, 10 dB, a reflection is small enough to be told from its square alone (common practice, no source)."""

LEAST_POINTS = 5
"""For a parabola and a look at how well it fits."""

FITS = 0.1
"""By so much of the largest square the parabola may miss any: noise, and no second dip."""


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


def _turning(reflection: ComplexArray | FloatArray, freq_hz: FloatArray) -> ComplexArray:
    """How a reflection of known size turns over an excerpt, unit vectors of shape (n,); what meets it turns so too.

    A small reflection goes straight past zero: S = a + v x, so that |S|^2 is a parabola over frequency which has
    |v|^2, |a|^2 and their angle in its coefficients, and with them the phase but for its sign. What a bridge leaks is
    part of a and takes nothing from v (own derivation, tried in the tests against simulated units; the next term
    is about 2 |S| of v^2). Where it is no such reflection nobody knows how far it turns: half round over the excerpt.
    """
    size = np.abs(reflection)
    place = np.linspace(-0.5, 0.5, len(size)) if len(size) > 1 else np.zeros(1)
    phase = np.pi * place
    if len(size) >= LEAST_POINTS and size.max() < MATCHED and freq_hz[-1] > freq_hz[0]:
        x = (freq_hz - freq_hz.mean()) / (freq_hz[-1] - freq_hz[0])
        squares = np.polynomial.polynomial.polyfit(x, size**2, 2)
        fitted = np.polynomial.polynomial.polyval(x, squares)
        if np.abs(fitted - size**2).max() <= FITS * (size**2).max():
            across = math.sqrt(max(squares[0] * squares[2] - squares[1] ** 2 / 4, 0.0))
            rate = across / np.maximum(fitted, SMALLEST)
            steps = np.diff(x) * (rate[1:] + rate[:-1]) / 2
            phase = np.minimum(np.concatenate([[0.0], np.cumsum(steps)]), np.pi)
    return np.asarray(np.exp(1j * phase), dtype=np.complex128)


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
        yield vector(name, match * np.abs(reflection) * _turning(reflection, excerpt.freq_hz), shown)
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
    turning = _turning(size, excerpt.freq_hz)
    yield vector("directivity", seen * turning, shown, further=True)
    shown = f"{figures.port_match:g} dB against {in_db(size)} at {port}"
    yield vector("bridge match", match * size * turning, shown)
    average = np.full(len(excerpt.freq_hz), (leak + match) ** 2 / 2)
    shown = f"directivity {figures.directivity:g} dB, match {figures.port_match:g} dB"
    yield ErrorSource("average of open and short", Distribution.RECTANGULAR, average, shown)


def _further(excerpt: Excerpt, figures: ScalarFigures) -> FloatArray:
    """What is read nearly as small as the leak may be much smaller in truth: the further limit, -ln(1 - ratio), over
    the ratio. Whatever else adds to the same small reflection moves it by as much more."""
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
