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
from station.measurements.floor import scatter
from station.measurements.sweep import ComplexArray, Port
from station.measurements.uncertainty import DB_PER_NEPER, Distribution

if TYPE_CHECKING:
    from station.measurements.figures import Figures


def vector_sources(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    """Every source of error of a reading."""
    yield from _noise(excerpt, figures)
    yield from _reflection(excerpt, figures) if excerpt.is_reflection else _transmission(excerpt, figures)
    yield from _load_standard(excerpt, figures)
    yield from _third_port(excerpt, figures)
    yield from of_the_unit(excerpt, figures)
    yield from last_digit(excerpt, figures)


def _noise(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    noise = excerpt.by_settings(lambda settings: figures.floor(settings).noise)
    return noise_sources(excerpt, figures, noise, np.ones(len(noise)))


def noise_sources(
    excerpt: Excerpt, figures: Figures, noise: FloatArray, averages: FloatArray
) -> Iterator[ErrorSource]:
    """Noise beside the wave, and the scatter of a strong one.

    `noise` as a share of the wave into the unit, and how many `averages` made its power steadier; each of shape (n,).
    """
    stated, middle = figures.noise_floor, len(noise) // 2
    above_db = 20 * math.log10(excerpt.size[middle] / noise[middle])
    yield ErrorSource(
        "noise floor",
        Distribution.NORMAL,
        scatter(excerpt.size, noise) / np.sqrt(averages),
        f"{stated}; the reading is {above_db:.1f} dB above it",
        each_point=True,
        beside=noise / (math.sqrt(2) * excerpt.size * np.sqrt(averages)),
        background=not excerpt.is_reflection,
    )
    trace = figures.trace_noise / DB_PER_NEPER * excerpt.by_settings(stated.widening)
    shown = f"{figures.trace_noise:g} dB at {stated.bandwidth_hz:g} Hz"
    yield ErrorSource("trace noise", Distribution.NORMAL, trace, shown, each_point=True)


def last_digit(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    """How finely the analyzer tells its readings."""
    if figures.resolution is not None:
        digit = np.full(len(excerpt.freq_hz), figures.resolution / 2 / DB_PER_NEPER)
        shown = f"{figures.resolution:g} dB"
        yield ErrorSource("resolution", Distribution.RECTANGULAR, digit, shown, each_point=True)


def of_the_unit(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    """Its temperature moves the whole trace over frequency."""
    if figures.unit_temperature is None or figures.tuning_drift is None:
        return
    shift = figures.unit_temperature * abs(figures.tuning_drift)
    shown = f"{figures.unit_temperature:g} K at {figures.tuning_drift * 1e6:g} ppm/K"
    moved = excerpt.slope() * excerpt.freq_hz * shift
    yield ErrorSource("temperature of the unit", Distribution.RECTANGULAR, moved, shown)


def _transmission(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    yield _connectors_passed(excerpt, figures)
    yield gain(excerpt, "drift", Distribution.RECTANGULAR, figures.drift)
    if figures.cable_flex is not None:
        yield gain(excerpt, "cable flex", Distribution.NORMAL, figures.cable_flex)
    if figures.leakage is not None:
        shown = f"{figures.leakage:g} dB beside {in_db(excerpt.size)}"
        yield vector("leakage", wave_of(figures.leakage) / excerpt.size, shown, background=True)
    match = wave_of(figures.port_match)
    for name, port in (("source match", excerpt.source), ("load match", excerpt.to)):
        reflection = excerpt.s(port, port)
        yield vector(
            name, match * reflection, f"{figures.port_match:g} dB against {in_db(reflection)} at {port}"
        )


def _connectors_passed(excerpt: Excerpt, figures: Figures) -> ErrorSource:
    """Two connectors that lose a little more or less, and reflect as much of what the unit reflects at them.

    That on the third port reflects too: a wave in any direction, of which half of the power lies along the one that
    is read.
    """
    each = figures.connector_repeatability / DB_PER_NEPER / math.sqrt(2)
    reflected = sum(np.abs(excerpt.s(port, port)) ** 2 for port in (excerpt.to, excerpt.source))
    effect = each * np.sqrt(2 + reflected + np.abs(_by_third(excerpt) / excerpt.size) ** 2 / 2)
    shown = f"{figures.connector_repeatability:g} dB, more where the ports reflect"
    return ErrorSource("connectors", Distribution.NORMAL, effect, shown)


def _reflection(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    port, size = excerpt.to, excerpt.size
    there_and_back = _there_and_back(excerpt, excerpt.other)
    # A connector reflects by as much more or less as it passes; the far ones are seen through the unit.
    each = figures.connector_repeatability / DB_PER_NEPER / math.sqrt(2)
    seen = 1 + np.abs(there_and_back) ** 2 + np.abs(_by_third(excerpt)) ** 2
    disturbed = each * np.sqrt(seen / 2) / size
    shown = f"{figures.connector_repeatability:g} dB, beside {in_db(size)}"
    # a wave in any direction, of which half of the power lies along the one that is read
    yield ErrorSource("connectors", Distribution.NORMAL, disturbed, shown, any_phase=True)
    yield gain(excerpt, "drift", Distribution.RECTANGULAR, figures.drift)
    if figures.cable_flex is not None:
        # one cable instead of two, but there and back
        yield gain(excerpt, "cable flex", Distribution.NORMAL, math.sqrt(2) * figures.cable_flex)
    shown = f"{figures.directivity:g} dB beside {in_db(size)}"
    yield vector("directivity", wave_of(figures.directivity) / excerpt.s(port, port), shown)
    match = wave_of(figures.port_match)
    shown = f"{figures.port_match:g} dB against {in_db(size)} at {port}"
    yield vector("source match", match * excerpt.s(port, port), shown)
    shown = f"{figures.port_match:g} dB at {excerpt.other}, {in_db(there_and_back)} there and back"
    yield vector("load match", match * there_and_back / excerpt.s(port, port), shown)


def _load_standard(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    """One error of all connected ports: G (S^2 - 1) in place of nothing, to first order in G.

    Calibrated by a load of reflection G instead of none, an analyzer tells S of another reference impedance, the one
    that the load has: (S - G)(1 - G S)^-1. So it is where open and short are +1 and -1 and the through has no length.
    Open and short of +-e^-2jwt instead stay where they are when the load's place is taken for none, and that leaves
    G e^4jwt of the source's match; a through of the delay t hands G e^2jwt on to that of the receiving port (worked
    out to first order; tried against a calibration by the simulator).
    """
    if figures.load_standard is None:
        return
    to, source = excerpt.to, excerpt.source
    turning = 2j * np.pi * excerpt.freq_hz
    sending = np.exp(4 * turning * figures.reflect_delay)
    receiving = np.exp(2 * turning * figures.through_delay)
    if excerpt.is_reflection:
        ways = sending * excerpt.s(to, to) ** 2 + receiving * _there_and_back(excerpt, excerpt.other) - 1
    else:
        ways = receiving * excerpt.s(to, to) + sending * excerpt.s(source, source)
        ways = ways * excerpt.s(to, source)
    if excerpt.is_third_connected:
        ways = ways + receiving * _by_third(excerpt)
    shown = f"{figures.load_standard:g} dB, {in_db(ways)} of it beside {in_db(excerpt.size)}"
    effect = wave_of(figures.load_standard) * ways / excerpt.s(to, source)
    yield ErrorSource("load standard", Distribution.EITHER, effect, shown)


def _there_and_back(excerpt: Excerpt, other: Port) -> ComplexArray:
    return excerpt.s(other, excerpt.to) * excerpt.s(excerpt.to, other)


def _third_port(excerpt: Excerpt, figures: Figures) -> Iterator[ErrorSource]:
    """What goes into the third port's load comes back out by so much: S_ik S_kj G beside S_ij.

    An analyzer that has all ports connected is itself the load there, as good as its ports match.
    """
    third, to, source = excerpt.hookup.idle, excerpt.to, excerpt.source
    name, match_db = (
        ("match of the third port", figures.port_match)
        if excerpt.is_third_connected
        else ("load on the idle port", figures.load_match)
    )
    by_way = _by_third(excerpt)
    shown = f"{match_db:g} dB at {third}, {in_db(by_way)} by that way"
    effect = wave_of(match_db) * by_way / excerpt.s(to, source)
    if excerpt.is_load_known:
        # Both parts of a measured reflection are off by themselves, and so is the part along the wave: normal.
        yield ErrorSource(name, Distribution.NORMAL, effect / math.sqrt(2), shown, any_phase=True)
    else:
        yield vector(name, effect, shown)


def _by_third(excerpt: Excerpt) -> ComplexArray:
    """From the source through the unit to its third port and, all of it reflected there, back to where it is read."""
    third = excerpt.hookup.idle
    return np.asarray(excerpt.s(third, excerpt.source) * excerpt.s(excerpt.to, third), dtype=np.complex128)


def gain(excerpt: Excerpt, name: str, distribution: Distribution, by_db: float) -> ErrorSource:
    """What makes the whole wave stronger or weaker by the same dB everywhere."""
    return ErrorSource(
        name, distribution, np.full(len(excerpt.freq_hz), by_db / DB_PER_NEPER), f"{by_db:g} dB"
    )


def wave_of(down_db: float) -> float:
    """A wave so many dB below another, as a share of it."""
    return float(10 ** (-down_db / 20))


def in_db(size: ComplexArray | FloatArray) -> str:
    """As it is in the middle of the excerpt."""
    return f"{-20 * math.log10(max(abs(size[len(size) // 2]), SMALLEST)):.1f} dB"
