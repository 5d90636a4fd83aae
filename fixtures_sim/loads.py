"""Loads as a bench has them, never quite 50 ohm; each can be written as a Touchstone file, as if measured."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import skrf

from fixtures_sim.device import REFERENCE_OHM, ComplexArray, FloatArray


@dataclass(frozen=True, slots=True)
class Load:
    """A load of constant return loss behind a piece of line, which turns its phase over frequency."""

    return_loss_db: float
    phase_rad: float = 0.7
    delay_s: float = 0.0
    """There and back."""

    def reflection(self, freq_hz: FloatArray) -> ComplexArray:
        """Shape (n,)."""
        size = 10.0 ** (-self.return_loss_db / 20.0)
        phase = self.phase_rad - 2.0 * math.pi * self.delay_s * freq_hz
        return np.asarray(size * np.exp(1j * phase), dtype=np.complex128)

    def touchstone(self, freq_hz: FloatArray, form: str = "ri") -> str:
        """The text of its .s1p file, as scikit-rf writes it; `form` is `ri`, `ma` or `db`."""
        s = self.reflection(freq_hz)[:, None, None]
        network = skrf.Network(f=freq_hz, f_unit="hz", s=s, z0=REFERENCE_OHM, name="load")
        return str(network.write_touchstone(return_string=True, form=form))
