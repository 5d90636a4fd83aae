"""What a bench is stated to be worth: the figures that the uncertainty of its readings is worked out from.

They stand in `bench.yaml`, or none does: a budget that lacked one would promise too much. Some may be left out, and
each of these says where that is honest. Each figure is what is left after calibration, as the works found it or the
maker of the instrument states it; what a calibration measures itself takes the place of what is stated.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Annotated

from pydantic import Field, model_validator

from limits.formwords import got
from limits.quantity import Decibel, Expression, Kelvin, PerKelvin, Seconds
from limits.units import NUMBER, SIGNED, dbm, hertz, hertz_text, tidy
from limits.yamlfile import Form
from station.measurements.error_source import ErrorSource, Excerpt
from station.measurements.floor import Floor
from station.measurements.kit import Kit
from station.measurements.noise import MeasuredNoise
from station.measurements.sweep import SweepSettings
from station.measurements.vector_errors import vector_sources, wave_of


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

    @classmethod
    def of(cls, power_dbm: float, bandwidth_hz: float) -> NoiseFloor:
        """As it was measured."""
        return cls(f"{power_dbm:.1f} dBm at {hertz_text(bandwidth_hz)}", power_dbm, bandwidth_hz)

    def at(self, bandwidth_hz: float) -> float:
        """Its power in another bandwidth, dBm."""
        return self.power_dbm + 10 * math.log10(bandwidth_hz / self.bandwidth_hz)

    def widening(self, settings: SweepSettings) -> float:
        """By how much noise voltages are larger than where they are stated: the root of bandwidth over averages."""
        return math.sqrt(settings.bandwidth_hz / self.bandwidth_hz / settings.averages)

    def below_source_db(self, settings: SweepSettings) -> float:
        """How far the noise of a sweep lies below the wave that goes into the unit, positive dB."""
        return settings.power_dbm - self.power_dbm - 20 * math.log10(self.widening(settings))


Positive = Annotated[Decibel, Field(gt=0)]


class Figures(Form):
    """The figures of one bench. Sizes of waves are rms: what several of a kind come to, not the worst of them."""

    noise_floor: NoiseFloor
    trace_noise: Positive
    """Scatter of a strong signal at the same bandwidth, standard deviation."""

    connector_repeatability: Positive
    """Standard deviation of a transmission when the cables are taken off and put on again."""

    drift: Positive
    """By how much a transmission may be off, either way: tracking, drift since calibration."""

    directivity: Positive
    """Of each test port, after calibration; the more the better."""

    port_match: Positive
    """Of each test port, after calibration, as source and as load."""

    load_standard: Positive | None = None
    """By how much the load of the calibration kit is off what is said of it. All ports were calibrated by it, so its
    error comes back as directivity and as every match at once; `directivity` and `port_match` are then of all other
    causes. Left out where the ports' errors have nothing to do with each other."""

    reflect_delay: Annotated[Seconds, Field(ge=0)] = 0.0
    """One way to where the kit's open and short reflect, behind the plane of its load. By twice there and back the
    load's error is turned when it comes back as the match of a source. A calibration by the station's own kit puts
    what the kit says in its place, here and in the next."""

    through_delay: Annotated[Seconds, Field(ge=0)] = 0.0
    """Of the kit's through; the like for the match of a receiving port."""

    load_match: Positive
    """Return loss of the load on the idle port; where its reflection is corrected for, of what is left."""

    drift_per_day: Positive | None = None
    """How much more a transmission may be off for each day since the calibration; left out where `drift` is stated
    for the oldest calibration that is taken."""

    cable_flex: Positive | None = None
    """Standard deviation of a transmission when both cables are bent; left out where they were bent while the
    connectors' repeatability was found."""

    leakage: Positive | None = None
    """From port to port past the unit, below the wave that goes into it; left out where it lies 20 dB or more below
    the noise floor. A calibration that hears a stronger one puts that in its place."""

    resolution: Positive | None = None
    """The last digit of what the analyzer tells; left out where it tells 32 bits or more."""

    unit_temperature: Annotated[Kelvin, Field(gt=0)] | None = None
    """How far the unit's temperature may be from the one that readings are told for, either way; left out where
    readings are told for the temperature that the unit had."""

    tuning_drift: PerKelvin | None = None
    """By how much a unit's frequencies move with its temperature; goes with `unit_temperature`."""

    @model_validator(mode="after")
    def _temperature_moves_something(self) -> Figures:
        if (self.unit_temperature is None) != (self.tuning_drift is None):
            raise ValueError(
                "'unit_temperature' and 'tuning_drift' go together: so many K, times so many ppm/K, move the unit"
            )
        return self

    def sources(self, excerpt: Excerpt) -> Iterable[ErrorSource]:
        """The errors of a reading."""
        return vector_sources(excerpt, self)

    def floor(self, settings: SweepSettings) -> Floor:
        """What is read of a transmission without any signal."""
        leak = 0.0 if self.leakage is None else wave_of(self.leakage)
        return Floor(wave_of(self.noise_floor.below_source_db(settings)), leak)

    def calibrated_by(self, kit: Kit) -> Figures:
        """With the delays of the kit's standards."""
        return self.model_copy(
            update={"reflect_delay": kit.reflect_delay_s, "through_delay": kit.through_delay_s}
        )

    def aged(self, days: float) -> Figures:
        """As they are so many days after the calibration."""
        more = (self.drift_per_day or 0.0) * max(0.0, days)
        return self.model_copy(update={"drift": self.drift + more})

    def as_measured(self, noise: Sequence[MeasuredNoise]) -> Figures:
        """With noise as it was measured, by the noisiest of the bandwidths where there are several.

        Leakage too where it was heard; one that drowned in the noise stays as it is stated.
        """
        if not noise:
            return self
        worst = max(noise, key=lambda each: each.floor_dbm - 10 * math.log10(each.bandwidth_hz))
        trace = max(each.trace_db / math.sqrt(each.bandwidth_hz / worst.bandwidth_hz) for each in noise)
        floor = NoiseFloor.of(worst.floor_dbm, worst.bandwidth_hz)
        changed: dict[str, object] = {"noise_floor": floor, "trace_noise": trace}
        leaks = [each.leakage_db for each in noise if each.leakage_db is not None]
        if leaks:
            changed["leakage"] = min(leaks)
        return self.model_copy(update=changed)
