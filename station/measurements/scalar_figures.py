"""What a scalar bench is stated to be worth: in `bench.yaml`, under `uncertainty:`, all figures or none.

uncertainty:
  noise_floor: -95 dBm at 1 kHz    # power of the receiver's noise, with a power detector
  trace_noise: 0.01 dB             # scatter of a strong signal at that bandwidth
  log_linearity: 0.2 dB            # between any two levels, either way
  resolution: 0.01 dB              # the last digit of a reading
  connector_repeatability: 0.03 dB # standard deviation of a loss when the cables are put on again
  drift: 0.05 dB                   # at most, either way, since the reference sweeps
  source_match: 20 dB              # of what feeds the unit, with its pad
  receiver_match: 20 dB            # of what the unit feeds, with its pad
  bridge_directivity: 35 dB
  bridge_match: 25 dB              # of the bridge's test port
  load_match: 40 dB                # of the loads on idle ports
"""

from __future__ import annotations

from limits.yamlfile import Form
from station.measurements.figures import NoiseFloor, Positive


class ScalarFigures(Form):
    """The figures of one scalar bench; positive dB, matches and directivity the more the better."""

    noise_floor: NoiseFloor
    trace_noise: Positive
    log_linearity: Positive
    resolution: Positive
    connector_repeatability: Positive
    drift: Positive
    source_match: Positive
    receiver_match: Positive
    bridge_directivity: Positive
    bridge_match: Positive
    load_match: Positive
