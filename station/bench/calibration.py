"""The section of a bench file that says who corrects for the test ports, and how long that holds.

calibration:
  by: station                  # `station calibrate` guides through it
  kit: works-n                 # kits/works-n.yaml
  cables: N 1.5 m, pair 3
  valid_for: 12 h
  temperature_change: 3 K      # at most, since it was made; optional
  repeats_within: 35 dB        # how far below a full wave a standard put on again may be off
  sweep: {bandwidth: 300 Hz, averages: 1, power: 0 dBm}
  longest_delay: 10 ns         # of test ports and cables, one way: with `turn` it sets the step of the frequencies
  turn: 15 deg                 # of a reflection's phase from one frequency to the next, at most

or, where the analyzer was calibrated with its own means:

calibration:
  by: analyzer
  made: 2026-11-20
  valid_for: 30 d
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from limits.errors import BadInput, Mistake
from limits.quantity import Day, Dbm, Decibel, Degrees, FileName, Hertz, Kelvin, Seconds, Text, Whole
from limits.yamlfile import Form, YamlFile, read, read_bytes
from station.measurements.calibration import LARGEST_TURN_DEG
from station.measurements.kit import Kit, KitForm, make_kit
from station.measurements.sweep import SweepSettings


class CalibrationSweepForm(Form):
    """How the standards are swept: with care, since their noise stays in every reading.

    At 300 Hz a trace noise of 0.002 dB at 1 kHz comes to 0.0011 dB, a fifteenth of the standard uncertainty that a
    drift of 0.03 dB at most stands for.
    """

    bandwidth: Annotated[Hertz, Field(le=1e6)] = 300.0
    averages: Annotated[Whole, Field(ge=1, le=1000)] = 1
    power: Dbm = 0.0

    @property
    def settings(self) -> SweepSettings:
        return SweepSettings(self.bandwidth, self.averages, self.power)


class CalibrationForm(Form):
    """Who corrects for the test ports."""

    by: Literal["station", "analyzer"]
    valid_for: Annotated[Seconds, Field(gt=0)]
    made: Day | None = None
    """By the analyzer's own means."""

    kit: FileName | None = None
    """Its file in `kits/`, without the ending."""

    cables: Text = "not said"
    temperature_change: Annotated[Kelvin, Field(gt=0)] | None = None
    repeats_within: Annotated[Decibel, Field(gt=0)] = 35.0
    sweep: CalibrationSweepForm = CalibrationSweepForm()
    longest_delay: Annotated[Seconds, Field(gt=0, le=1e-6)] = 10e-9
    turn: Annotated[Degrees, Field(gt=0, le=LARGEST_TURN_DEG)] = 15.0

    @model_validator(mode="after")
    def _one_way_or_the_other(self) -> CalibrationForm:
        if self.by == "analyzer":
            if foreign := sorted(self.model_fields_set - {"by", "valid_for", "made"}):
                raise ValueError(
                    f"with 'by: analyzer' there is no '{foreign[0]}': the station calibrates nothing"
                )
            if self.made is None:
                raise ValueError("with 'by: analyzer' give 'made', the day on which it was calibrated")
        elif self.kit is None or self.made is not None:
            raise ValueError("with 'by: station' give 'kit', the name of its file in kits/, and no 'made'")
        return self

    @property
    def largest_step_hz(self) -> float:
        """Between two frequencies: a reflection goes through the longest cable twice."""
        return self.turn / 360 / (2 * self.longest_delay)


def begins(made: date) -> datetime:
    """The moment, or the first one of the day, in UTC."""
    return made if isinstance(made, datetime) else datetime(made.year, made.month, made.day, tzinfo=UTC)


def expires(made: date, valid_for_s: float) -> datetime:
    """When a calibration of that day, or moment, holds no more."""
    return begins(made) + timedelta(seconds=valid_for_s)


def load_kit(path: Path) -> Kit:
    """The kit in a file, with the measured standards it names beside it. Raises BadInput with every mistake."""
    source = read(path, KitForm)

    def read_beside(name: str) -> tuple[str, str]:
        file = path.parent / name
        if not file.is_file():
            raise FileNotFoundError(2, "no such file", str(file))
        try:
            return read_bytes(file).decode(), str(file)
        except UnicodeDecodeError as error:
            what = "is no text; save the standard as a one-port Touchstone file"
            raise BadInput((Mistake(what, str(file)),)) from error

    return make_kit(source, read_beside)


def kit_of(form: CalibrationForm | None, source: YamlFile[Any], folder: Path) -> Kit | None:
    """The kit that a bench file in `folder` names; None where it names none. Raises BadInput."""
    if form is None or form.kit is None:
        return None
    path = folder / "kits" / f"{form.kit}.yaml"
    if not path.is_file():
        raise BadInput((source.mistake(("calibration", "kit"), f"there is no {path}"),))
    return load_kit(path)
