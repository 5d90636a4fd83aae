"""What a bench is stated to be worth: the figures that the uncertainty of its readings is worked out from.

They stand in `bench.yaml`, all of them or none: a budget that lacked one would promise too much. Each says what is
left after calibration, as the works found it or the maker of the instrument states it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field

from limits.formwords import got
from limits.quantity import Decibel, Expression
from limits.units import NUMBER, SIGNED, dbm, hertz, tidy
from limits.yamlfile import Form
from station.measurements.error_source import ErrorSource, Excerpt
from station.measurements.sweep import SweepSettings
from station.measurements.vector_errors import vector_sources


@dataclass(frozen=True, slots=True)
class NoiseFloor(Expression):
    """The noise of the analyzer's receivers with the ports terminated, rms."""

    pattern = rf"{SIGNED}\s*dBm\s+at\s+{NUMBER}\s*([kMG])?Hz"
    described = "The noise floor of one sweep at a bandwidth, e.g. -115 dBm at 1 kHz."

    text: str
    power_dbm: float
    bandwidth_hz: float

    @classmethod
    def parse(cls, text: str) -> NoiseFloor:
        """Raises ValueError that says what was expected."""
        parts = tidy(text).split(" at ")
        if len(parts) != 2:
            raise ValueError(f"expected a noise floor like '-115 dBm at 1 kHz', got {got(text)}")
        return cls(text.strip(), dbm(parts[0]), hertz(parts[1]))

    def widening(self, settings: SweepSettings) -> float:
        """By how much noise voltages are larger than where they are stated: the root of bandwidth over averages."""
        return math.sqrt(settings.bandwidth_hz / self.bandwidth_hz / settings.averages)

    def below_source_db(self, settings: SweepSettings) -> float:
        """How far the noise of a sweep lies below the wave that goes into the unit, positive dB."""
        return settings.power_dbm - self.power_dbm - 20 * math.log10(self.widening(settings))


Positive = Annotated[Decibel, Field(gt=0)]


class Figures(Form):
    """The figures of one bench."""

    noise_floor: NoiseFloor
    trace_noise: Positive
    """Scatter of a strong signal at the same bandwidth, standard deviation."""

    connector_repeatability: Positive
    """Standard deviation of a transmission when the cables are taken off and put on again."""

    drift: Positive
    """By how much a transmission may be off, either way: tracking, cables that were bent, drift since calibration."""

    directivity: Positive
    """Of each test port, after calibration; the more the better."""

    port_match: Positive
    """Of each test port, after calibration, as source and as load."""

    load_match: Positive
    """Return loss of the load on the idle port; where its reflection is corrected for, of what is left."""

    def sources(self, excerpt: Excerpt) -> Iterable[ErrorSource]:
        """The errors of a reading."""
        return vector_sources(excerpt, self)
