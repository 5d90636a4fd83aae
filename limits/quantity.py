"""The field types of forms: quantities with units, frequencies relative to a unit's own channels, plain values.

Each is used as the type of a pydantic field, takes the text of a YAML scalar, and gives JSON Schema. A recipe
or a limit table is written once for a model, with frequencies like `tx + 2.5 MHz` or `rx ± 12.5 kHz`, and bound
to each unit's channels; what was written is kept, and is what an expression prints as.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Annotated, ClassVar, Literal, Self, TypeVar

from pydantic import BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler, WithJsonSchema
from pydantic_core import CoreSchema, core_schema

from limits.formwords import got, suggest
from limits.units import (
    NUMBER,
    SIGNED,
    day,
    dbm,
    decibel,
    degrees,
    farad,
    flag,
    henry,
    hertz,
    hertz_text,
    kelvin,
    matings,
    number,
    ohm,
    per_kelvin,
    plain,
    seconds,
    tidy,
    whole,
)

V = TypeVar("V")


def _from_text(convert: Callable[[str], V]) -> BeforeValidator:
    """Takes the text of a scalar; a program that fills a form itself may give the value."""

    def validate(value: object) -> object:
        if isinstance(value, dict | list | tuple) or value is None:
            raise ValueError(f"expected one value, got {got(value)}")
        return convert(value) if isinstance(value, str) else value

    return BeforeValidator(validate)


def _schema(pattern: str, description: str, *kinds: str) -> WithJsonSchema:
    """`kinds`: what an editor, which reads YAML by its own lights, may take the scalar for beside a text."""
    kind: object = ["string", *kinds] if kinds else "string"
    return WithJsonSchema({"type": kind, "pattern": f"^{pattern}$", "description": description})


Hertz = Annotated[
    float, _from_text(hertz), _schema(rf"\+?\s*{NUMBER}\s*([kMG])?Hz", "A frequency above 0, e.g. 12.5 kHz.")
]
Decibel = Annotated[float, _from_text(decibel), _schema(rf"{SIGNED}\s*dB", "A ratio, e.g. 1.5 dB.")]
Dbm = Annotated[float, _from_text(dbm), _schema(rf"{SIGNED}\s*dBm", "A power, e.g. -10 dBm.")]
PerKelvin = Annotated[
    float, _from_text(per_kelvin), _schema(rf"{SIGNED}\s*ppm/K", "A change with temperature, e.g. 8 ppm/K.")
]
Seconds = Annotated[
    float,
    _from_text(seconds),
    _schema(rf"\+?\s*{NUMBER}\s*(s|ms|µs|us|ns|ps|min|h|d)", "A time, e.g. 10 s or 5 ms."),
]
Kelvin = Annotated[
    float, _from_text(kelvin), _schema(rf"{SIGNED}\s*K", "A difference of temperatures, e.g. 2 K.")
]
Matings = Annotated[
    int, _from_text(matings), _schema(r"[1-9][0-9]{0,8}\s*matings", "A number of matings, e.g. 500 matings.")
]
Degrees = Annotated[float, _from_text(degrees), _schema(rf"{SIGNED}\s*(deg|°)", "An angle, e.g. 10 deg.")]
Ohm = Annotated[float, _from_text(ohm), _schema(rf"{SIGNED}\s*ohm", "A resistance, e.g. 50 ohm.")]
Farad = Annotated[float, _from_text(farad), _schema(rf"{SIGNED}\s*[fp]F", "A capacitance, e.g. 68 fF.")]
Henry = Annotated[float, _from_text(henry), _schema(rf"{SIGNED}\s*[pn]H", "An inductance, e.g. 8 pH.")]
Day = Annotated[
    date, _from_text(day), _schema("[0-9]{4}-[0-9]{2}-[0-9]{2}", "A day, year-month-day, e.g. 2025-03-31.")
]
Whole = Annotated[int, _from_text(whole), _schema("-?(0|[1-9][0-9]*)", "A whole number, e.g. 4.", "integer")]
Number = Annotated[float, _from_text(number), _schema(rf"[+-]?{NUMBER}", "A number, e.g. 0.66.", "number")]
Flag = Annotated[bool, _from_text(flag), _schema("(yes|no|true|false)", "yes or no.", "boolean")]
Text = Annotated[str, _from_text(plain), _schema(r".*\S.*", "A text of one line.", "number", "boolean")]

LONGEST_NAME = 100
"""Of a file, without its ending; every system of files takes more."""


def _file_name(text: str) -> str:
    name = plain(text)
    if re.search(r"[/\\]|^\.", name):
        raise ValueError(f"{got(name)} names a file, so it has no '/' or '\\' and does not begin with a '.'")
    if len(name) > LONGEST_NAME:
        raise ValueError(f"{got(name)} names a file, so it has no more than {LONGEST_NAME} characters")
    return name


FileName = Annotated[
    str,
    _from_text(_file_name),
    _schema(rf"(?![.\s])[^/\\]{{1,{LONGEST_NAME}}}", "The name of a file, without its ending.", "number"),
]
"""A text that a file is called by."""

Anchor = Literal["tx", "rx", "low", "high"]
_ANCHORS: dict[str, Anchor] = {"tx": "tx", "rx": "rx", "low": "low", "high": "high"}

_QUANTITY = rf"{NUMBER}\s*[kMG]?Hz"
FREQUENCY_PATTERN = rf"((tx|rx|low|high)(\s*[+\-\u2212]\s*{_QUANTITY})?|\+?\s*{_QUANTITY})\s*"
SPAN_PATTERN = rf"{FREQUENCY_PATTERN}(\s*(±|\+-|\+/-)\s*{_QUANTITY}|\s+to\s+{FREQUENCY_PATTERN})"
_EXAMPLE = "a frequency like 'tx', 'rx - 12.5 kHz' or '157.05 MHz'"
_SPAN_EXAMPLE = "a span like 'tx ± 12.5 kHz' or 'low - 2.5 MHz to high + 2.5 MHz'"


class Expression(ABC):
    """Base of the values that are written as one text, keep it and print as it; as pydantic fields they take it."""

    __slots__ = ()
    pattern: ClassVar[str]
    """Regular expression of the whole text, for editors."""

    described: ClassVar[str]
    text: str

    @classmethod
    @abstractmethod
    def parse(cls, text: str) -> Self:
        """Raises ValueError that says what was expected."""

    def __str__(self) -> str:
        return self.text

    @classmethod
    def __get_pydantic_core_schema__(cls, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        def validate(value: object) -> object:
            if isinstance(value, cls):
                return value
            if not isinstance(value, str):
                raise ValueError(f"expected one value, got {got(value)}")
            return cls.parse(value)

        return core_schema.no_info_plain_validator_function(
            validate, serialization=core_schema.to_string_ser_schema()
        )

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, object]:
        return {"type": "string", "pattern": f"^({cls.pattern})$", "description": cls.described}


@dataclass(frozen=True, slots=True)
class Channels:
    """The pair of frequencies that a unit is tuned to."""

    tx_hz: float
    rx_hz: float

    def frequency(self, anchor: Anchor) -> float:
        """`low` and `high` are the lower and the higher of the two channels."""
        if anchor == "tx":
            return self.tx_hz
        if anchor == "rx":
            return self.rx_hz
        return min(self.tx_hz, self.rx_hz) if anchor == "low" else max(self.tx_hz, self.rx_hz)


@dataclass(frozen=True, slots=True)
class Frequency(Expression):
    """One frequency, absolute or relative to a channel."""

    pattern = FREQUENCY_PATTERN
    described = _EXAMPLE

    text: str
    """As it was written."""

    anchor: Anchor | None
    """The channel it is relative to; None when it is absolute."""

    offset_hz: float
    """Distance from the channel; the frequency itself when it is absolute."""

    @classmethod
    def parse(cls, text: str) -> Frequency:
        """Raises ValueError that says what was expected."""
        clean = tidy(text)
        word = re.match(r"[A-Za-z]+", clean)
        if word is None:
            if not re.match(r"[+-]?\s*[0-9]", clean):
                raise ValueError(f"expected {_EXAMPLE}, got {got(text)}")
            return cls(text.strip(), None, hertz(clean))
        if word.group() not in _ANCHORS:
            hint = suggest(word.group(), _ANCHORS)
            raise ValueError(f"unknown channel '{word.group()}' in {got(text)}{hint}")
        anchor = _ANCHORS[word.group()]
        rest = clean[word.end() :].strip()
        if not rest:
            return cls(text.strip(), anchor, 0.0)
        if (shift := re.fullmatch(r"([+-]) ?([0-9].*)", rest)) is None:
            raise ValueError(f"expected {_EXAMPLE}, got {got(text.strip())}")
        distance = hertz(shift[2])
        return cls(text.strip(), anchor, distance if shift[1] == "+" else -distance)

    def at(self, channels: Channels) -> float:
        """The frequency in Hz for one unit. May be below zero where a unit's channels are low."""
        return self.offset_hz if self.anchor is None else channels.frequency(self.anchor) + self.offset_hz


@dataclass(frozen=True, slots=True)
class Span(Expression):
    """Frequencies from a lowest to a highest, absolute or relative to the channels."""

    pattern = SPAN_PATTERN
    described = _SPAN_EXAMPLE

    text: str
    """As it was written."""

    ends: tuple[Frequency, Frequency]

    @classmethod
    def parse(cls, text: str) -> Span:
        """Raises ValueError that says what was expected."""
        clean = tidy(text)
        if halves := re.fullmatch(r"(.*?) ?(?:±|\+/?-) ?([0-9].*)", clean):
            centre, width = Frequency.parse(halves[1]), hertz(halves[2])
            ends = tuple(
                Frequency(f"{centre} {sign} {halves[2]}", centre.anchor, centre.offset_hz + shift)
                for sign, shift in (("-", -width), ("+", width))
            )
            return cls(text.strip(), (ends[0], ends[1]))
        parts = re.split(r" to ", clean)
        if len(parts) != 2:
            raise ValueError(f"expected {_SPAN_EXAMPLE}, got {got(text)}")
        first, last = Frequency.parse(parts[0]), Frequency.parse(parts[1])
        if falls := _falls(first, last):
            raise ValueError(f"{got(text)} does not rise{falls}")
        return cls(text.strip(), (first, last))

    @property
    def width_hz(self) -> float | None:
        """Its width where that is the same for every unit; else None."""
        first, last = self.ends
        return last.offset_hz - first.offset_hz if first.anchor == last.anchor else None

    def at(self, channels: Channels) -> tuple[float, float]:
        """Lowest and highest frequency in Hz for one unit. Raises ValueError where the ends cross for it."""
        if crossed := self.crossed(channels):
            raise ValueError(crossed)
        first, last = (end.at(channels) for end in self.ends)
        return first, last

    def crossed(self, channels: Channels) -> str:
        """What to tell where the ends cross for one unit; empty where they do not.

        They are never turned round: that would give a span nobody wrote, and a narrower one passes more.
        """
        first, last = (end.at(channels) for end in self.ends)
        if first < last:
            return ""
        tx, rx, low, high = map(hertz_text, (channels.tx_hz, channels.rx_hz, first, last))
        return f"{got(self.text)} does not rise for TX {tx} and RX {rx}: it would run from {low} to {high}"


def _falls(first: Frequency, last: Frequency) -> str:
    """Why a span from one to the other cannot rise for every pair it is written for, and the way out."""
    if first.anchor == last.anchor and first.offset_hz >= last.offset_hz:
        return "; write the lower frequency first"
    if (first.anchor, last.anchor) == ("high", "low"):
        return "; write the lower frequency first, like 'low to high'"
    if {first.anchor, last.anchor} == {"tx", "rx"}:
        side = "below" if first.anchor == "tx" else "above"
        return f" where RX lies {side} TX; write its ends with 'low' and 'high'"
    return ""
