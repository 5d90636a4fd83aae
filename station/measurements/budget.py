"""The uncertainty of a reading from the sweeps it was read from and the stated figures of the bench.

Evaluated are levels: a loss, an isolation or a return loss at one point of a sweep. Of a ripple, a frequency, a width
and a curve it is not, and their readings say so by having no U. Not among the lines: the resolution of the sweep's
numbers, which is millionths of a dB, and the temperature of the unit, which is a condition of the reading.

A small wave that comes by another way than the one that is measured adds to it with unknown phase; each such line is
the ratio of the two (`vector_error`). Sizes of S are taken from the sweeps themselves.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from limits.reading import Claim, Curve, Reading
from station.measurements.characteristic import Characteristic
from station.measurements.figures import Figures
from station.measurements.sweep import HOOKUPS, Hookup, Port, Sweep, SweepSettings
from station.measurements.uncertainty import (
    DB_PER_NEPER,
    Budget,
    Contribution,
    Distribution,
    Kind,
    vector_error,
)

Sweeps = Mapping[Hookup, Sweep]
COVERAGE = 2.0
"""The factor k of every U the station states, about 95 %."""


def with_uncertainty(
    item: Characteristic, reading: Reading | Curve, sweeps: Sweeps, figures: Figures | None
) -> Reading | Curve:
    """The reading with its U where that can be evaluated; else as it was."""
    if figures is None or isinstance(reading, Curve):
        return reading
    budget = budget_of(item, reading, sweeps, figures)
    return reading if budget is None else replace(reading, u=budget.expanded(COVERAGE))


def budget_of(item: Characteristic, reading: Reading, sweeps: Sweeps, figures: Figures) -> Budget | None:
    """The budget of a reading; None for what is no level at one point."""
    is_level = item.unit == "dB" and item.measure.on_trace and reading.claim is Claim.VALUE
    if not is_level or reading.value is None or reading.at_hz is None:
        return None
    at = _At(sweeps, reading.at_hz)
    lines = [*_noise(reading.value, sweeps[item.hookup].settings_at(reading.at_hz), figures)]
    if item.to == item.source:
        lines += _reflection(at, item.hookup, item.to, figures)
    else:
        lines += _transmission(at, item.hookup, item.to, item.source, figures)
    lines.append(_idle_load(at, item.hookup.idle, item.to, item.source, figures))
    return Budget(item.unit, tuple(lines))


@dataclass(frozen=True, slots=True)
class _At:
    """Sizes of S-parameters at one frequency, straight between the points of the sweeps."""

    sweeps: Sweeps
    freq_hz: float

    def size(self, to: Port, source: Port, first: Hookup | None = None) -> float:
        """From the hook-up that is asked for, or any that has it; 1 where none was swept, which no unit exceeds."""
        for hookup in (first, *HOOKUPS):
            if hookup in self.sweeps and hookup is not None and hookup.idle not in (to, source):
                sweep = self.sweeps[hookup]
                size = np.abs(sweep.parameter(to, source))
                # an exact zero would divide by itself below; no analyzer reads one
                return max(float(np.interp(self.freq_hz, sweep.freq_hz, size)), 1e-15)
        return 1.0


def _noise(level_db: float, settings: SweepSettings, figures: Figures) -> Iterator[Contribution]:
    floor = figures.noise_floor
    above_db = floor.below_source_db(settings) - level_db
    scatter_db = DB_PER_NEPER / math.sqrt(2 * 10 ** (above_db / 10))
    shown = f"{floor}; the reading is {above_db:.1f} dB above it"
    yield Contribution("noise floor", Kind.B, Distribution.NORMAL, scatter_db, shown)
    trace_db = figures.trace_noise * floor.widening(settings)
    shown = f"{figures.trace_noise:g} dB at {floor.bandwidth_hz:g} Hz"
    yield Contribution("trace noise", Kind.B, Distribution.NORMAL, trace_db, shown)


def _transmission(
    at: _At, hookup: Hookup, to: Port, source: Port, figures: Figures
) -> Iterator[Contribution]:
    stated = f"{figures.connector_repeatability:g} dB"
    yield Contribution("connectors", Kind.B, Distribution.NORMAL, figures.connector_repeatability, stated)
    yield Contribution("drift", Kind.B, Distribution.RECTANGULAR, figures.drift, f"{figures.drift:g} dB")
    match = _size(figures.port_match)
    for name, port in (("source match", source), ("load match", to)):
        reflection = at.size(port, port, hookup)
        shown = f"{figures.port_match:g} dB against {_db(reflection)} at {port}"
        yield vector_error(name, match * reflection, shown)


def _reflection(at: _At, hookup: Hookup, port: Port, figures: Figures) -> Iterator[Contribution]:
    reflection = at.size(port, port, hookup)
    # What moves a transmission by so many dB disturbs the reflected wave by as large a share of the incident one.
    disturbed = figures.connector_repeatability / DB_PER_NEPER / reflection
    stated = f"{figures.connector_repeatability:g} dB, beside {_db(reflection)}"
    # one part of a vector of any phase
    yield Contribution("connectors", Kind.B, Distribution.NORMAL, DB_PER_NEPER * disturbed, stated)
    yield Contribution("drift", Kind.B, Distribution.RECTANGULAR, figures.drift, f"{figures.drift:g} dB")
    shown = f"{figures.directivity:g} dB beside {_db(reflection)}"
    yield vector_error("directivity", _size(figures.directivity) / reflection, shown)
    match = _size(figures.port_match)
    shown = f"{figures.port_match:g} dB against {_db(reflection)} at {port}"
    yield vector_error("source match", match * reflection, shown)
    other = hookup.second if port == hookup.first else hookup.first
    there, back = at.size(other, port, hookup), at.size(port, other, hookup)
    shown = f"{figures.port_match:g} dB at {other}, {_db(there * back)} there and back"
    yield vector_error("load match", match * there * back / reflection, shown)


def _idle_load(at: _At, idle: Port, to: Port, source: Port, figures: Figures) -> Contribution:
    """What goes into the idle port's load comes back out by so much: S_ik S_kj G beside S_ij."""
    away, back = at.size(idle, source), at.size(to, idle)
    ratio = _size(figures.load_match) * away * back / at.size(to, source)
    shown = f"{figures.load_match:g} dB at {idle}, {_db(away * back)} by that way"
    return vector_error("load on the idle port", ratio, shown)


def _size(down_db: float) -> float:
    return float(10 ** (-down_db / 20))


def _db(size: float) -> str:
    return f"{-20 * math.log10(size):.1f} dB"
