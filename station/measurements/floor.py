"""What is read near the noise floor: as it is, corrected for the noise's own power, or only as a bound.

A receiver reads the wave s together with noise n of rms N, m = s + n, and with what leaks past the unit, which is
coherent: of size L and unknown phase. X is how far the reading lies above N, or above L where that is less, in dB.

* X >= 20: as it is. Noise scatters it by 8.686 / sqrt(2 * 10^(X/10)) = 0.61 dB at most and makes it too strong by
  10 log10(1 + 10^(-X/10)) = 0.04 dB at most (both at 20 dB).
* 10 <= X < 20: corrected. Since E|m|^2 = |s|^2 + N^2, the power |m|^2 - N^2 is that of the wave, without bias. Its
  standard deviation is N sqrt(2 |s|^2 + N^2), which goes into U. The leak is not corrected, its phase being unknown:
  it is a line of the budget (-3.3 / +2.4 dB at 10 dB, -0.92 / +0.83 dB at 20 dB).
  Whether a limit that near the floor may be asked of a bench is another matter: `sequencer/depth.py` leaves no limit
  below X = 20 to a number.
* X < 10: a bound, "at least x dB", with a confidence of 95 %. |m| is never smaller than the part of m along s, and
  of that part the noise has the standard deviation N / sqrt(2). So |m| + z N / sqrt(2) is smaller than |s| with the
  probability that a normal variable exceeds z, whatever |s| is; with the leak against it, |s| is at most
  |m| + z N / sqrt(2) + L. Where one of k points near the floor is picked, as the depth of a notch is, all k share the
  5 %: each has the confidence 0.95^(1/k) (Sidak), else the luckiest of them would be believed too often.

The same holds for the mean power of a readings, as a scalar receiver averages (`Floor.averaged`): it has the bias N^2
of one reading, its scatter is smaller by sqrt(a), and its root is never smaller than the mean part along s.

How U enters a bound: noise and leak are in the bound itself; U is of all other lines. A guarded rule takes its band
from the bound as it does from a number, so a bound passes a lower limit where bound - w >= limit; what a bound leaves
open is undecided. A bound is a number in no statistics.

The statistics of noise in a detected power are those of Rice (Bell System Technical Journal, 1944/45; from memory);
the bound is our own derivation, as above; 10 and 20 dB are common practice.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from limits.reading import FloatArray
from station.measurements.sweep import Sweep, SweepSettings
from station.measurements.view import View

CLEAR_DB = 20.0
"""From here on a reading is taken as it is."""

NEAR_DB = 10.0
"""Below this it is a bound."""

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Floor:
    """What a receiver reads without any signal, in a sweep with given settings, as waves beside the incident one."""

    noise: float
    """Rms of one reading."""

    leak: float = 0.0
    """Size of what leaks past the unit, coherent."""

    averaged: int = 1
    """How many readings of the power were averaged; readings averaged as complex numbers lower `noise` instead."""


FloorAt = Callable[[SweepSettings], Floor]


def above_floor(view: View, sweep: Sweep, floor_at: FloorAt) -> View:
    """The view of a transmission with its points near the floor corrected or made bounds."""
    if not sweep.again:
        floors = [floor_at(sweep.settings)]
        place: NDArray[np.intp] = np.zeros(len(view.freq_hz), dtype=np.intp)
    else:
        settings = [sweep.settings_at(float(freq_hz)) for freq_hz in view.freq_hz]
        known = list(dict.fromkeys(settings))
        floors = [floor_at(each) for each in known]
        place = np.array([known.index(each) for each in settings])
    noise, leak, averaged = (np.array([getattr(each, name) for each in floors])[place] for name in _FIGURES)
    wave = 10 ** (-view.db / 20)
    near = wave < 10 ** (NEAR_DB / 20) * np.maximum(noise, leak)
    correct = ~near & (wave < 10 ** (CLEAR_DB / 20) * noise)
    if not near.any() and not correct.any():
        return view
    power = np.where(correct, wave**2 - noise**2, wave**2)
    z = _deviations(int(near.sum()))
    most = wave + z * noise / np.sqrt(2 * averaged) + leak
    return replace(view, db=np.where(near, -20 * np.log10(most), -10 * np.log10(power)), bound=near)


def silent_bound_db(floor: Floor, points: int) -> float:
    """What is told, "at least so much", where nothing comes through, and one of so many points is picked."""
    most = floor.noise * (1 + _deviations(points) / math.sqrt(2 * floor.averaged)) + floor.leak
    return -20 * math.log10(most)


def _deviations(points: int) -> float:
    """How many standard deviations a normal variable keeps below, at all of the points, with the confidence."""
    return float(ndtri(CONFIDENCE ** (1 / max(1, points))))


_FIGURES = ("noise", "leak", "averaged")


def scatter(wave: FloatArray, noise: FloatArray, averaged: int = 1) -> FloatArray:
    """Standard deviation of what is told of a wave of this size as read, by noise of this rms, as a share of it."""
    power = np.maximum(wave**2 - noise**2, noise**2)
    corrected = noise * np.sqrt((2 * power + noise**2) / averaged) / (2 * power)
    as_it_is = noise / wave / np.sqrt(2 * averaged)
    return np.asarray(np.where(wave < 10 ** (CLEAR_DB / 20) * noise, corrected, as_it_is), dtype=np.float64)
