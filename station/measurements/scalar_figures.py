"""What a scalar bench is stated to be worth: in `bench.yaml`, under `uncertainty:`.

uncertainty:
  noise_floor: -95 dBm at 1 kHz    # of a detector of power; pads on either side add their loss to it
  trace_noise: 0.01 dB             # scatter of a strong signal at that bandwidth
  log_linearity: 0.2 dB            # of the scale, between any two levels, at most, either way
  connector_repeatability: 0.02 dB # standard deviation of a loss when the cables are put on again
  drift: 0.05 dB                   # at most, either way, since the reference sweeps
  source_match: 20 dB              # of what feeds the unit, its pad included
  receiver_match: 20 dB            # of what the unit feeds, its pad included
  directivity: 35 dB               # of the bridge
  port_match: 25 dB                # of the bridge's test port
  bridge_loss: 13 dB               # from generator to receiver where the test port reflects all
  load_match: 40 dB                # of the loads on idle ports

and what else `figures.py` knows, where it matters.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from station.measurements.error_source import ErrorSource, Excerpt
from station.measurements.figures import Figures, Positive
from station.measurements.floor import Floor
from station.measurements.noise import MeasuredNoise
from station.measurements.scalar_errors import scalar_sources
from station.measurements.sweep import SweepSettings
from station.measurements.vector_errors import wave_of


class ScalarFigures(Figures):
    """The figures of one scalar bench. Directivity and port match are the bridge's."""

    log_linearity: Positive
    source_match: Positive
    receiver_match: Positive
    bridge_loss: Positive

    def sources(self, excerpt: Excerpt) -> Iterable[ErrorSource]:
        """The errors of a reading."""
        return scalar_sources(excerpt, self)

    def floor(self, settings: SweepSettings) -> Floor:
        """What is read of a transmission without any signal: averages make its power steadier, not less."""
        once = SweepSettings(settings.bandwidth_hz, 1, settings.power_dbm)
        leak = 0.0 if self.leakage is None else wave_of(self.leakage)
        return Floor(wave_of(self.noise_floor.below_source_db(once)), leak, settings.averages)

    def as_measured(self, noise: Sequence[MeasuredNoise]) -> Figures:
        """With the noise as it was measured where that is worse than stated.

        Where it is better, what is stated stays: a few sweeps of noise alone are no proof of a better receiver.
        """
        measured = super().as_measured(noise)
        quieter = self.noise_floor.at(measured.noise_floor.bandwidth_hz) >= measured.noise_floor.power_dbm
        return self if quieter else measured
