"""A sweep seen as one quantity over frequency, in positive dB: what every measure looks at."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from limits.reading import FloatArray
from station.measurements.sweep import ComplexArray, Port, Sweep

DEEPEST_DB = 300.0
"""An S-parameter of exactly zero is shown as this deep: beyond any instrument, yet a number."""

ROUNDING_HZ = 1e-3
"""By so much a sweep may miss the edge it was asked for: arithmetic on frequencies, never an intent."""


@dataclass(frozen=True, slots=True, eq=False)
class View:
    """One S-parameter of one hook-up as attenuation or return loss."""

    name: str
    """What readings and charts call the trace, e.g. `TX-ANT` or `ANT return loss, TX-ANT`."""

    subject: str
    """The same in words, for titles: `TX to ANT`, or `ANT`."""

    freq_hz: FloatArray
    """Shape (n,), strictly rising."""

    db: FloatArray
    """Shape (n,), positive dB."""

    bound: NDArray[np.bool_] | None = None
    """Which values are only known to be at least so much, shape (n,); None where none is."""

    def is_bound(self, freq_hz: float) -> bool:
        """Whether the value at a frequency is only a bound: where one of its neighbours is."""
        if self.bound is None:
            return False
        place = int(np.searchsorted(self.freq_hz, freq_hz))
        on_point = place < len(self.freq_hz) and self.freq_hz[place] == freq_hz
        return bool(self.bound[max(place - (not on_point), 0) : place + 1].any())

    def at(self, freq_hz: float) -> float:
        """The value at one frequency, straight between the neighbouring points.

        Raises ValueError outside the sweep.
        """
        self._must_cover(freq_hz, freq_hz)
        return float(np.interp(freq_hz, self.freq_hz, self.db))

    def over(self, low_hz: float, high_hz: float) -> View:
        """The part between two frequencies, both ends included (interpolated where no point lies there).

        Raises ValueError outside the sweep.
        """
        if self.freq_hz[0] == low_hz and self.freq_hz[-1] == high_hz:
            return self
        self._must_cover(low_hz, high_hz)
        inside = self.freq_hz[(self.freq_hz > low_hz) & (self.freq_hz < high_hz)]
        freq_hz = np.unique(np.concatenate([[low_hz], inside, [high_hz]]))
        return replace(self, freq_hz=freq_hz, db=np.interp(freq_hz, self.freq_hz, self.db))

    def _must_cover(self, low_hz: float, high_hz: float) -> None:
        if low_hz < self.freq_hz[0] - ROUNDING_HZ or high_hz > self.freq_hz[-1] + ROUNDING_HZ:
            raise ValueError(
                f"{self.name} was swept from {self.freq_hz[0]:.0f} to {self.freq_hz[-1]:.0f} Hz, "
                f"which does not cover {low_hz:.0f} to {high_hz:.0f} Hz"
            )


def decibels_down(s: ComplexArray) -> FloatArray:
    """Attenuation or return loss of S-parameters of any shape: -20 log10 |S|, positive dB."""
    smallest = 10 ** (-DEEPEST_DB / 20)
    return -20 * np.log10(np.maximum(np.abs(s), smallest))


def look(sweep: Sweep, to: Port, source: Port) -> View:
    """The view of S from `source` to `to`; the same port twice is that port's return loss."""
    db = decibels_down(sweep.parameter(to, source))
    if to == source:
        return View(f"{to} return loss, {sweep.hookup.name}", to, sweep.freq_hz, db)
    return View(f"{source}-{to}", f"{source} to {to}", sweep.freq_hz, db)
