"""A calibration kit: what its open, short, load and through are, as their booklet or their maker's files say.

kit: Skerry N 2
open:
  delay: 23.5 ps               # one way, of the line in front of the end
  capacitance: [68 fF]         # of the end; then per GHz, per GHz squared ...
short:
  delay: 25 ps
  inductance: [8 pH]
load:
  resistance: 50 ohm
  inductance: [0 pH]
  return_loss: 46 dB           # how far the load itself can be trusted
through:
  delay: 41 ps
  loss: 0.010 dB               # at 1 GHz; it follows the square root of frequency
# or, instead of numbers, a measured reflection:  open: {file: open-7.s1p}

A standard is a piece of line, matched to 50 ohm, with an end behind it: Gamma = (Z - 50)/(Z + 50) turned by twice the
line. Line and polynomial are the trade's usual description of coaxial standards (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, model_validator

from limits.errors import BadInput
from limits.quantity import Decibel, Farad, Henry, Ohm, Seconds, Text
from limits.reading import FloatArray
from limits.yamlfile import Form, YamlFile, editor_schema
from station.measurements.load import Load, read_load
from station.measurements.sweep import ComplexArray

Reflect = Literal["open", "short", "load"]
REFERENCE_OHM = 50.0
_NEPER_DB = 20.0 / np.log(10.0)


class LineForm(Form):
    """The piece of line in front of a standard's end, or the through itself."""

    delay: Seconds = 0.0
    """One way."""

    loss: Annotated[Decibel, Field(ge=0)] = 0.0
    """One way, at 1 GHz."""

    def transmission(self, freq_hz: FloatArray) -> ComplexArray:
        """Once through the line, shape (n,)."""
        loss = self.loss / _NEPER_DB * np.sqrt(freq_hz / 1e9)
        return np.asarray(np.exp(-loss - 2j * np.pi * freq_hz * self.delay), dtype=np.complex128)


class ReflectForm(LineForm):
    """A standard for one port: a measured file, or a line with an end."""

    file: Text | None = None

    @model_validator(mode="after")
    def _one_way_or_the_other(self) -> ReflectForm:
        if self.file is not None and self.model_fields_set - {"file", "return_loss"}:
            raise ValueError("give either a measured 'file' or the numbers of the standard, not both")
        return self

    def end(self, freq_hz: FloatArray) -> ComplexArray:
        """Reflection of the end behind the line, shape (n,)."""
        raise NotImplementedError

    def reflection(self, freq_hz: FloatArray) -> ComplexArray:
        """Of the whole standard, shape (n,), in 50 ohm."""
        return np.asarray(self.end(freq_hz) * self.transmission(freq_hz) ** 2, dtype=np.complex128)


class OpenForm(ReflectForm):
    """The open: a capacitance at the end."""

    capacitance: Annotated[tuple[Farad, ...], Field(min_length=1)] = (0.0,)

    def end(self, freq_hz: FloatArray) -> ComplexArray:
        """(1 - jwCZ0)/(1 + jwCZ0)."""
        loaded = 2j * np.pi * freq_hz * _polynomial(self.capacitance, freq_hz) * REFERENCE_OHM
        return np.asarray((1 - loaded) / (1 + loaded), dtype=np.complex128)


class ShortForm(ReflectForm):
    """The short: an inductance at the end."""

    inductance: Annotated[tuple[Henry, ...], Field(min_length=1)] = (0.0,)

    def end(self, freq_hz: FloatArray) -> ComplexArray:
        """From Z = jwL."""
        return _from_ohm(2j * np.pi * freq_hz * _polynomial(self.inductance, freq_hz))


class LoadForm(ReflectForm):
    """The load: a resistance with an inductance in series."""

    resistance: Annotated[Ohm, Field(gt=0)] = REFERENCE_OHM
    inductance: Annotated[tuple[Henry, ...], Field(min_length=1)] = (0.0,)
    return_loss: Annotated[Decibel, Field(gt=0)]
    """How far the load differs from what is said of it: no reading of reflection can be better."""

    def end(self, freq_hz: FloatArray) -> ComplexArray:
        """From Z = R + jwL."""
        return _from_ohm(self.resistance + 2j * np.pi * freq_hz * _polynomial(self.inductance, freq_hz))


class KitForm(Form):
    """The form of a kit file."""

    kit: Text
    open: OpenForm
    short: ShortForm
    load: LoadForm
    through: LineForm


@dataclass(frozen=True, slots=True, eq=False)
class Kit:
    """A kit that is ready to be used."""

    source: YamlFile[KitForm]
    measured: Mapping[Reflect, Load]
    """The standards that are known by a measured file."""

    texts: Mapping[str, str]
    """Those files by the name the kit gives them, so that they can be kept with a calibration."""

    @property
    def name(self) -> str:
        return self.source.value.kit

    @property
    def load_return_loss_db(self) -> float:
        """How far the load can be trusted."""
        return self.source.value.load.return_loss

    def reflection(self, standard: Reflect, freq_hz: FloatArray) -> ComplexArray:
        """What a standard reflects, shape (n,). Raises BadInput at frequencies where its file says nothing."""
        if standard in self.measured:
            load = self.measured[standard]
            if outside := load.outside(float(freq_hz[0]), float(freq_hz[-1])):
                raise BadInput((outside,))
            return load.at(freq_hz)
        forms: dict[Reflect, ReflectForm] = dict(_reflects(self.source.value))
        return forms[standard].reflection(freq_hz)

    @property
    def reflect_delay_s(self) -> float:
        """One way to where open and short reflect, the mean of both; by low frequencies where a line has an end."""
        form = self.source.value
        lines_s: dict[Reflect, float] = {
            "open": form.open.delay + form.open.capacitance[0] * REFERENCE_OHM,
            "short": form.short.delay + form.short.inductance[0] / REFERENCE_OHM,
        }
        found_s = [
            _turning_s(self.measured[name]) if name in self.measured else line_s
            for name, line_s in lines_s.items()
        ]
        return sum(found_s) / len(found_s)

    @property
    def through_delay_s(self) -> float:
        """Once through the through."""
        return self.source.value.through.delay

    def through(self, freq_hz: FloatArray) -> ComplexArray:
        """S of the through, shape (n, 2, 2)."""
        s = np.zeros((len(freq_hz), 2, 2), dtype=np.complex128)
        s[:, 1, 0] = s[:, 0, 1] = self.source.value.through.transmission(freq_hz)
        return s


def make_kit(source: YamlFile[KitForm], read: Callable[[str], tuple[str, str]]) -> Kit:
    """The kit with the files it names; `read` gives the text of a file and what messages call it.

    Raises BadInput with every mistake of those files.
    """
    measured: dict[Reflect, Load] = {}
    texts: dict[str, str] = {}
    mistakes = []
    for standard, form in _reflects(source.value):
        if form.file is None:
            continue
        try:
            texts[form.file], called = read(form.file)
            measured[standard] = read_load(texts[form.file], called)
        except FileNotFoundError as error:
            mistakes.append(source.mistake((standard, "file"), f"there is no file {error.filename}"))
        except BadInput as bad:
            mistakes += bad.mistakes
    if mistakes:
        raise BadInput(tuple(mistakes))
    return Kit(source, measured, texts)


def kit_schema() -> dict[str, object]:
    """JSON Schema of a kit file."""
    return editor_schema(KitForm, "Kit: what the standards of a calibration are")


def _reflects(form: KitForm) -> tuple[tuple[Reflect, ReflectForm], ...]:
    return (("open", form.open), ("short", form.short), ("load", form.load))


def _turning_s(measured: Load) -> float:
    """The delay, one way, by which a measured reflection turns over all of its frequencies."""
    phase = np.unwrap(np.angle(measured.reflection))
    return float(-np.polynomial.Polynomial.fit(measured.freq_hz, phase, 1).convert().coef[1] / (4 * np.pi))


def _polynomial(coefficients: tuple[float, ...], freq_hz: FloatArray) -> FloatArray:
    """In powers of the frequency in GHz, the constant first."""
    return np.asarray(np.polynomial.polynomial.polyval(freq_hz / 1e9, coefficients), dtype=np.float64)


def _from_ohm(ohm: NDArray[np.complexfloating]) -> ComplexArray:
    return np.asarray((ohm - REFERENCE_OHM) / (ohm + REFERENCE_OHM), dtype=np.complex128)
