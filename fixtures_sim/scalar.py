"""A spectrum analyzer with tracking generator, and the return-loss bridge that comes with it.

It knows power alone: no phase reaches its readings. Two cables on the unit: generator to test port 1, receiver on
test port 2. One cable on it: the bridge is in the line, generator and receiver on the bridge, test port 1 behind it.

Its command language is SCPI-1999's own: a linear sweep, `CALCulate:DATA?` in dBm; averages are of power
(`SENSe:AVERage:TYPE RMS`).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from fixtures_sim.cabling import Cabling, between_cables
from fixtures_sim.device import ComplexArray, FloatArray
from fixtures_sim.faults import Faults
from fixtures_sim.fixture import Fixture
from fixtures_sim.imperfections import Imperfections, load_reflections
from fixtures_sim.keys import key_of
from fixtures_sim.noise import Care, mean_power
from fixtures_sim.scpi.box import Command, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token
from fixtures_sim.sweep_settings import SweepCommands, SweepState
from fixtures_sim.sweeper import Acquisition, Sweeper, encode

IDENTITY = "Skerry Works,Simulated spectrum analyzer,SIM-0002,1.0"

POWER = "POW"
"""The only thing it measures."""

_CHOICES = (
    ("SENSe#:AVERage:TYPE", "average_type", ("RMS",)),
    ("UNIT#:POWer", "unit", ("DBM",)),
)


@dataclass(frozen=True, slots=True)
class ScalarErrors:
    """What generator, receiver, pads and bridge are worth; positive dB, matches and directivity the more the better.

    The figures are those of a plain instrument of its kind (common practice, no source).
    """

    floor_dbm: float = -95.0
    """Power of the receiver's noise at 1 kHz bandwidth."""

    trace_db: float = 0.01
    """Rms of the noise on a strong signal at 1 kHz."""

    source_match_db: float = 20.0
    receiver_match_db: float = 20.0
    pad_db: float = 0.0
    """Of a pad on the generator and of another one on the receiver; 0 for none."""

    pad_match_db: float = 34.0
    flatness_db: float = 0.6
    """How far generator and receiver together stray over frequency, either way."""

    linearity_db: float = 0.1
    """How far the logarithmic scale strays over the level, either way."""

    bridge_directivity_db: float = 35.0
    bridge_match_db: float = 25.0
    """Of the bridge's test port."""

    bridge_loss_db: float = 12.5
    """From generator to receiver where the test port reflects all."""

    delay_s: float = 1.3e-9
    """Of the lines inside, which turn the phases of all these over frequency."""

    def source(self, freq_hz: FloatArray) -> ComplexArray:
        """Reflection of what feeds test port 1, shape (n,)."""
        return self._padded(self.source_match_db, 0.4, freq_hz)

    def receiver(self, freq_hz: FloatArray) -> ComplexArray:
        """Reflection of what test port 2 leads to, shape (n,)."""
        return self._padded(self.receiver_match_db, 2.0, freq_hz)

    def through(self, s: ComplexArray, freq_hz: FloatArray) -> ComplexArray:
        """From generator to receiver with a two-port of shape (n, 2, 2) between them, less the pads. Shape (n,).

        The transducer gain between mismatched ends, as in every textbook.
        """
        source, receiver = self.source(freq_hz), self.receiver(freq_hz)
        back = source * receiver * s[:, 0, 1] * s[:, 1, 0]
        loops = (1.0 - source * s[:, 0, 0]) * (1.0 - receiver * s[:, 1, 1]) - back
        return np.asarray(s[:, 1, 0] / loops, dtype=np.complex128)

    def bridged(self, reflection: ComplexArray, freq_hz: FloatArray) -> ComplexArray:
        """From generator to receiver over the bridge, whose test port sees `reflection`. Shape (n,)."""
        leak = _vector(self.bridge_directivity_db, 1.1, 2.0 * self.delay_s, freq_hz)
        match = _vector(self.bridge_match_db, 2.7, 3.0 * self.delay_s, freq_hz)
        loss = 10.0 ** (-self.bridge_loss_db / 20.0)
        return np.asarray(loss * (leak + reflection / (1.0 - match * reflection)), dtype=np.complex128)

    def flatness(self, freq_hz: FloatArray) -> FloatArray:
        """By how many dB it reads too much at each frequency: a slow wave and a ripple of 23 MHz on it."""
        slow = np.sin(2.0 * math.pi * freq_hz / 470e6 + 1.0)
        fast = np.sin(2.0 * math.pi * freq_hz / 23e6)
        return np.asarray(self.flatness_db * (0.8 * slow + 0.2 * fast), dtype=np.float64)

    def linearity(self, level_dbm: FloatArray) -> FloatArray:
        """By how many dB it reads too much at each level: one wave in 34 dB."""
        return np.asarray(self.linearity_db * np.sin(2.0 * math.pi * level_dbm / 34.0), dtype=np.float64)

    def _padded(self, match_db: float, phase_rad: float, freq_hz: FloatArray) -> ComplexArray:
        bare = _vector(match_db, phase_rad, 2.0 * self.delay_s, freq_hz)
        if not self.pad_db:
            return bare
        pad = _vector(self.pad_match_db, phase_rad + 1.0, self.delay_s, freq_hz)
        return np.asarray(pad + 10.0 ** (-2.0 * self.pad_db / 20.0) * bare, dtype=np.complex128)


def _vector(down_db: float, phase_rad: float, delay_s: float, freq_hz: FloatArray) -> ComplexArray:
    size = 10.0 ** (-down_db / 20.0)
    return np.asarray(size * np.exp(1j * (phase_rad - 2.0 * math.pi * delay_s * freq_hz)), np.complex128)


@dataclass(frozen=True, slots=True)
class ScalarSettings(SweepState):
    """One state of the analyzer; the defaults are those after *RST."""

    average_type: str = "RMS"
    unit: str = "DBM"


class ScalarAnalyzer(Sweeper):
    """A spectrum analyzer that sweeps with its tracking generator."""

    def __init__(
        self,
        errors: ScalarErrors,
        fixture: Fixture,
        *,
        seed: int,
        real_time: bool,
        clock: Callable[[], float],
        imperfections: Imperfections,
        faults: Faults,
    ) -> None:
        """Of the `imperfections` only the loads are the bench's; what the instrument adds is told by `errors`."""
        super().__init__(IDENTITY, ScalarSettings(), real_time=real_time, clock=clock, faults=faults)
        self._fixture = fixture
        self._seed = seed
        self._imperfections = imperfections
        self._errors = errors
        self.teach(SweepCommands(self, _CHOICES).rows())
        self.teach((Command("CALCulate#:DATA?", self._run_data),))

    def measure(self) -> Acquisition:
        """The power at the receiver in dBm."""
        ends_s = self._clock() + self.acquisition_s
        settings, cabling, errors = self.settings, self._fixture.cabling, self._errors
        freq_hz = settings.frequencies()
        level_dbm = settings.power_dbm - 2.0 * errors.pad_db + errors.flatness(freq_hz)
        wave = self._wave(cabling, freq_hz) * 10.0 ** (level_dbm / 20.0) * settings.output
        shown_dbm = 10.0 * np.log10(self._with_noise(wave, cabling, freq_hz))
        return Acquisition({POWER: shown_dbm + errors.linearity(shown_dbm)}, ends_s, POWER)

    def _wave(self, cabling: Cabling, freq_hz: FloatArray) -> ComplexArray:
        """What of the generator's wave reaches the receiver, shape (n,)."""
        loads = load_reflections(self._imperfections, freq_hz)
        try:
            s = between_cables(cabling, loads, freq_hz, self._fixture.temperature_c)
        except ValueError as error:
            raise ScpiError(-200, str(error)) from error
        if cabling.test_ports == 1:
            return self._errors.bridged(s[:, 0, 0], freq_hz)
        return self._errors.through(s, freq_hz)

    def _with_noise(self, wave: ComplexArray, cabling: Cabling, freq_hz: FloatArray) -> FloatArray:
        """Power in mW, as read with the settings' bandwidth and averages."""
        settings, errors = self.settings, self._errors
        care = Care(settings.bandwidth_hz, settings.averages, settings.power_dbm)
        takes = self._takes.count(cabling, POWER, care, freq_hz)
        label = cabling.device.label if cabling.device and cabling.connected else ""
        key = key_of(self._seed, label, cabling.name, cabling.repeat, POWER, settings.output, care)
        wider = math.sqrt(settings.bandwidth_hz / 1e3)
        floor = 10.0 ** (errors.floor_dbm / 20.0) * wider
        return mean_power(
            wave, floor, errors.trace_db * wider, settings.averages, key, freq_hz, takes.astype(np.uint64)
        )

    def _run_data(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        values = self.good_data().values[POWER]
        if self._faults.take(b"DATA?", "not a number"):
            values = values.copy()
            values[:1] = np.nan
        return encode(values, self.settings.encoding, self.settings.border)
