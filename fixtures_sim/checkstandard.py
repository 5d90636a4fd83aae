"""A check standard: resistors in a box, so stable and so plain that what it reads tells of the bench alone.

From TX and from ANT a pad leads to a tee, from RX a larger pad and a resistor: about 6.5 dB between TX and ANT and
54 dB to RX, 26 to 32 dB of return loss at each port, from 100 MHz to 2 GHz without any resonance. All standards of
this kind are alike, and nothing in them is random: `CheckStandard().s(freq_hz)` is the truth about every one.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from skrf.frequency import Frequency
from skrf.media import DefinedGammaZ0
from skrf.network import Network

from fixtures_sim.device import REFERENCE_OHM, ComplexArray, FloatArray
from fixtures_sim.duplexer import REFERENCE_TEMPERATURE_C, Line, join

RESISTOR_DRIFT_PER_K = 25e-6
"""Of good film resistors; common practice, no source."""

CONNECTOR_LINE = Line(0.03, loss_db_per_100m=30.0, loss_at_hz=1e9)


@dataclass(frozen=True, slots=True)
class CheckStandard:
    """One of them: a device for the fixture."""

    label: str = "check standard"
    line_pad_db: float = 3.0
    """Of the pads at TX and at ANT."""

    tap_ohm: float = 450.0
    tap_pad_db: float = 30.0
    """Between the tap and RX."""

    rx_shunt_ohm: float = 500.0
    """Across RX, so that there is a reflection to be read: 26 dB of return loss."""

    tee_farad: float = 0.08e-12
    line: Line = CONNECTOR_LINE
    """From each connector to its pad."""

    def s(self, freq_hz: FloatArray, temperature_c: float = REFERENCE_TEMPERATURE_C) -> ComplexArray:
        """S-parameters in 50 ohm, shape (n, 3, 3), ports TX, ANT, RX; the frequencies in any order."""
        rising, where = np.unique(freq_hz, return_inverse=True)
        warm = 1.0 + RESISTOR_DRIFT_PER_K * (temperature_c - REFERENCE_TEMPERATURE_C)
        frequency = Frequency.from_f(rising, unit="hz")
        media = DefinedGammaZ0(frequency, z0=REFERENCE_OHM)
        lines = DefinedGammaZ0(frequency, z0=REFERENCE_OHM, gamma=self.line.gamma(frequency.f))
        line = lines.line(self.line.length_m, unit="m")
        side = line ** pad(media, self.line_pad_db, warm)
        shunt = media.shunt(media.resistor(self.rx_shunt_ohm * warm) ** media.short())
        tap = line**shunt ** pad(media, self.tap_pad_db, warm) ** media.resistor(self.tap_ohm * warm)
        ant = media.shunt_capacitor(self.tee_farad) ** side.flipped()
        return np.asarray(join(side, ant, tap).s[where], dtype=np.complex128)


def pad(media: DefinedGammaZ0, loss_db: float, warm: float) -> Network:
    """A T of resistors, matched when it is as warm as it was made; the textbook's closed form."""
    ratio = 10.0 ** (loss_db / 20.0)
    series = media.resistor(warm * REFERENCE_OHM * (ratio - 1.0) / (ratio + 1.0))
    across = media.shunt(
        media.resistor(warm * 2.0 * REFERENCE_OHM * ratio / (ratio**2 - 1.0)) ** media.short()
    )
    return series**across**series
