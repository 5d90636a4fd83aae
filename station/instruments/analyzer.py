"""What an analyzer is to the rest of the station: something that carries out a sweep order on a hook-up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from limits.reading import FloatArray
from station.measurements.sweep import HOOKUPS, Hookup, Sweep, SweepSettings


@dataclass(frozen=True, slots=True)
class Segment:
    """Evenly spaced frequencies, both ends included."""

    start_hz: float
    stop_hz: float
    points: int
    """At least 1; with 1, start and stop are the same."""

    @property
    def freq_hz(self) -> FloatArray:
        """Shape (points,)."""
        return np.linspace(self.start_hz, self.stop_hz, self.points)


@dataclass(frozen=True, slots=True)
class SweepOrder:
    """What is to be swept on one hook-up: every S-parameter that the bench measures there, over these segments."""

    hookup: Hookup
    segments: tuple[Segment, ...]
    """Rising and without overlap: the frequencies of one end below those of the next."""

    settings: SweepSettings

    @property
    def freq_hz(self) -> FloatArray:
        """All frequencies of the order, shape (n,), strictly rising."""
        return np.concatenate([segment.freq_hz for segment in self.segments])


@dataclass(frozen=True, slots=True)
class Ability:
    """What an analyzer can do, from the bench file."""

    low_hz: float
    high_hz: float
    most_points: int
    """In one segment."""

    hookups: tuple[Hookup, ...] = HOOKUPS
    """The hook-ups it sweeps."""

    cabled: Hookup | None = None
    """The one way in which the unit is cabled for all of them; None where each is cabled by itself."""

    phase: bool = True
    """Whether it measures phases, and so complex S-parameters."""

    passes: int = 2
    """How often it goes through the frequencies of an order: once from each port, or once for each S-parameter."""


def sweeping_s(points: int, settings: SweepSettings, passes: int) -> float:
    """About how long an order takes: a point takes the inverse of the bandwidth (common practice, no source)."""
    return passes * settings.averages * points / settings.bandwidth_hz


class Analyzer(Protocol):
    """Every driver of a network analyzer."""

    @property
    def ability(self) -> Ability:
        """Already known; no trip to the instrument."""
        ...

    def identify(self) -> str:
        """Ask who it is (`*IDN?`), refuse the wrong one, and return its answer.

        Raises station.errors.InstrumentFault.
        """
        ...

    def sweep(self, order: SweepOrder) -> Sweep:
        """Carry out one order and return what was measured, all of it or nothing.

        Raises station.errors.InstrumentFault.
        """
        ...
