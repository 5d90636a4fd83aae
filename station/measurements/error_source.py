"""What may be wrong with a reading: sources of error, each told as what it does to the wave that was measured.

The one shape in which every kind of bench tells its errors. A bench's figures (`Worth`) give the sources for the few
points of the sweeps that a reading was made of (`Excerpt`); `budget` works out what each does to the reading.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from limits.reading import FloatArray
from station.measurements.floor import Floor
from station.measurements.sweep import HOOKUPS, ComplexArray, Hookup, Port, Sweep, SweepSettings
from station.measurements.uncertainty import DB_PER_NEPER, Distribution, Kind

Sweeps = Mapping[Hookup, Sweep]

LARGEST_RATIO = 0.95
"""Of an error to the wave that it adds to; above it a reading says nothing, and its limits are 26 dB."""

SMALLEST = 1e-15
"""An exact zero would divide by itself; no analyzer reads one."""


@dataclass(frozen=True, slots=True, eq=False)
class Excerpt:
    """The points that a reading was made of, and what the sweeps know of the unit there."""

    sweeps: Sweeps
    """One for each pair of ports that was measured."""

    hookup: Hookup
    to: Port
    source: Port
    """The same as `to` for a reflection."""

    freq_hz: FloatArray
    """Shape (n,), rising; between the points of the sweeps values lie straight between their neighbours."""

    @property
    def sweep(self) -> Sweep:
        """The one that was read."""
        return self.sweeps[self.hookup]

    @property
    def is_reflection(self) -> bool:
        """Whether a return loss was read, else a transmission."""
        return self.to == self.source

    @property
    def other(self) -> Port:
        """The other port of the pair than the one that was read into."""
        return self.hookup.second if self.to == self.hookup.first else self.hookup.first

    @property
    def is_third_connected(self) -> bool:
        """Whether the analyzer itself is what the third port of the unit sees, instead of a load."""
        return self.sweep.cut_from is not None and self.hookup.idle in self.sweep.cut_from.ports

    @property
    def size(self) -> FloatArray:
        """Of the S-parameter that was read, shape (n,), above zero."""
        return np.maximum(np.abs(self.s(self.to, self.source)), SMALLEST)

    @property
    def is_load_known(self) -> bool:
        """Whether the third port carried a load whose reflection was measured and taken out."""
        return self.sweep.loads_out

    def s(self, to: Port, source: Port) -> ComplexArray:
        """An S-parameter of the unit from the sweep that was read, or any that has it; shape (n,).

        Where none has it, the most that a passive unit passes beside what it reflects at the two ports: what enters a
        port leaves it by one way or another, |S_ij|^2 + |S_jj|^2 <= 1. Magnitudes where no phases were measured.
        """
        found = self._swept(to, source)
        if found is not None:
            return found
        reflected = [self._swept(port, port) for port in (to, source)]
        most = [np.sqrt(np.maximum(1 - np.abs(each) ** 2, 0)) for each in reflected if each is not None]
        return np.asarray(np.min([np.ones(len(self.freq_hz)), *most], axis=0), dtype=np.complex128)

    def _swept(self, to: Port, source: Port) -> ComplexArray | None:
        for hookup in (self.hookup, *HOOKUPS):
            if hookup in self.sweeps and {to, source} <= set(hookup.ports):
                sweep = self.sweeps[hookup]
                found = np.interp(self.freq_hz, sweep.freq_hz, sweep.parameter(to, source))
                if not np.isnan(found).any():
                    return np.asarray(found, dtype=np.complex128)
        return None

    def slope(self) -> ComplexArray:
        """How fast the S-parameter that was read changes over frequency, as a share of it; per Hz, shape (n,)."""
        sweep = self.sweep
        s = sweep.parameter(self.to, self.source)
        place = np.clip(np.searchsorted(sweep.freq_hz, self.freq_hz), 1, len(s) - 2) if len(s) > 2 else None
        if place is None:
            return np.zeros(len(self.freq_hz), dtype=np.complex128)
        step_hz = sweep.freq_hz[place + 1] - sweep.freq_hz[place - 1]
        here = np.where(s[place] == 0, SMALLEST, s[place])
        return np.asarray((s[place + 1] - s[place - 1]) / step_hz / here, dtype=np.complex128)

    def by_settings(self, of: Callable[[SweepSettings], float]) -> FloatArray:
        """A figure that depends on the settings, for each point; shape (n,)."""
        if not self.sweep.again:
            return np.full(len(self.freq_hz), of(self.sweep.settings))
        return np.array([of(self.sweep.settings_at(float(freq_hz))) for freq_hz in self.freq_hz])


@dataclass(frozen=True, slots=True, eq=False)
class ErrorSource:
    """One line of a budget, before it is known what it does to the reading."""

    name: str
    """The same on every bench for the same thing."""

    distribution: Distribution
    """Of its size: normal with `effect` as the standard deviation; else with `effect` as the half-width."""

    effect: ComplexArray | FloatArray
    """What it adds to the wave at each point of the excerpt, as a share of that wave; shape (n,)."""

    shown: str
    """The figure it comes from and what it meets, in words."""

    any_phase: bool = False
    """Whether it is a vector that may stand in any direction, the same at all points; else it has the direction of
    `effect`, and its sign is not known."""

    each_point: bool = False
    """Whether it comes anew at each point, as noise does. Then `effect` is real: the part along the wave."""

    beside: FloatArray | None = None
    """Of noise that comes anew at each point: its rms part along the wave, beside the wave as it was read. It may be
    larger than the wave, as where a notch lies in the noise; what it does there is no small part along the wave."""

    background: bool = False
    """Whether it is what is read without any signal; of a bound near the floor it is no line, since the bound has it
    in it already."""

    further: bool = False
    """Whether it may be nearly as large as the wave, so that a level falls much further than it rises. Then the
    further of its limits counts, as U is the same on both sides."""

    kind: Kind = Kind.B

    def level_db(self) -> FloatArray:
        """By how many dB it moves the level at each point: half-width or standard deviation, shape (n,)."""
        along = np.abs(self.effect if self.any_phase else np.real(self.effect))
        if self.further:
            return np.asarray(-20 * np.log10(1 - np.minimum(along, LARGEST_RATIO)), dtype=np.float64)
        return np.asarray(DB_PER_NEPER * along, dtype=np.float64)


class Worth(Protocol):
    """What a bench is worth: whatever can tell the errors of its readings."""

    def sources(self, excerpt: Excerpt) -> Iterable[ErrorSource]:
        """All of them, each under a name of its own."""
        ...

    def floor(self, settings: SweepSettings) -> Floor:
        """What is read of a transmission without any signal."""
        ...


def vector(
    name: str,
    effect: ComplexArray | FloatArray,
    shown: str,
    *,
    background: bool = False,
    further: bool = False,
) -> ErrorSource:
    """A wave of known size that comes by another way than the one that is measured, with unknown phase."""
    return ErrorSource(
        name, Distribution.ARCSINE, effect, shown, any_phase=True, background=background, further=further
    )
