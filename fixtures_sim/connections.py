"""What screwing a connector together adds: a contact that is never quite the same, and a cable that was bent.

Each connection is drawn by what is connected and how often it was before, never by what came in between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fixtures_sim.device import REFERENCE_OHM, ComplexArray, FloatArray
from fixtures_sim.joining import joined
from fixtures_sim.keys import key_of

NEPER_DB = 20.0 / math.log(10.0)
HALF_NORMAL = math.sqrt(1.0 - 2.0 / math.pi)
"""Standard deviation of the absolute value of a normal variable of standard deviation 1."""


@dataclass(frozen=True, slots=True)
class Connectors:
    """Repeatability of connectors and cables; common practice, no source."""

    loss_db: float = 0.015
    """Standard deviation of the transmission through a connector when it is put on again; its reflection varies
    by as much in the same measure (0.0017, 55 dB)."""

    reactive_at_hz: float = 1e9
    """Where its reactive part is as large as the resistive one; below it is less."""

    flex_db: float = 0.003
    """Standard deviation of a cable's loss when it is bent in another way."""

    flex_s: float = 0.5e-12
    """Standard deviation of a cable's delay then: 0.03 degrees at 160 MHz, 0.3 degrees at 1.6 GHz."""


@dataclass(frozen=True, slots=True)
class Joint:
    """One connection as it was made this time: impedance in series and admittance across, and the cable's change."""

    series_ohm: float = 0.0
    series_henry: float = 0.0
    shunt_siemens: float = 0.0
    shunt_farad: float = 0.0
    flex_db: float = 0.0
    flex_s: float = 0.0

    def on(self, s: ComplexArray, place: int, freq_hz: FloatArray) -> ComplexArray:
        """`s` as it is seen through this connection on one of its ports.

        The contact is a T, half of the impedance before the admittance and half behind it, by its chain matrix
        (the textbook's closed forms); the cable a matched line behind it.
        """
        omega = 2.0 * np.pi * freq_hz
        z = (self.series_ohm + 1j * omega * self.series_henry) / REFERENCE_OHM
        y = (self.shunt_siemens + 1j * omega * self.shunt_farad) * REFERENCE_OHM
        a, b = 1.0 + z * y / 2.0, z * (1.0 + z * y / 4.0)
        whole = 2.0 * a + b + y
        change = 10.0 ** (-self.flex_db / 20.0) * np.exp(-1j * omega * self.flex_s)
        seen = joined(s, place, (b - y) / whole, 2.0 / whole)
        seen[:, :, place] *= change[:, None]
        seen[:, place, :] *= change[:, None]
        return seen


def joint(figures: Connectors, seed: int, what: str, times: int, *, cable: bool) -> Joint:
    """The connection of that name, made for the so-manieth time."""
    rng = np.random.default_rng(key_of(seed, "joint", what, times))
    # two resistive parts that are never negative share the spread of the loss, 4.34 (z + y) dB
    part = figures.loss_db / (NEPER_DB / 2.0) / HALF_NORMAL / math.sqrt(2.0)
    reactive = part / (2.0 * math.pi * figures.reactive_at_hz)
    z, y = np.abs(rng.normal(0.0, part, 2))
    x, b = rng.normal(0.0, reactive * HALF_NORMAL, 2)
    flex_db, flex_s = rng.normal(0.0, 1.0, 2) * (figures.flex_db, figures.flex_s) if cable else (0.0, 0.0)
    return Joint(
        series_ohm=float(z) * REFERENCE_OHM,
        series_henry=float(x) * REFERENCE_OHM,
        shunt_siemens=float(y) / REFERENCE_OHM,
        shunt_farad=float(b) / REFERENCE_OHM,
        flex_db=float(flex_db),
        flex_s=float(flex_s),
    )
