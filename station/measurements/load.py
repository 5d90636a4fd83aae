"""The loads on the idle ports: their measured reflection, read from one-port Touchstone texts.

Only what a load needs of the Touchstone File Format Specification, version 1.1 (rules from memory, held against its
own examples): one option line `# <unit> S <form> R 50`, then frequency and a pair of numbers a line, frequencies
rising. Everything else is refused at its line; files are read elsewhere.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from limits.errors import BadInput, Mistake
from limits.formwords import got
from limits.reading import FloatArray
from limits.units import hertz_text
from station.measurements.sweep import ComplexArray, Port
from station.measurements.view import ROUNDING_HZ

REFERENCE_OHM = 50
_UNITS = {"HZ": 0, "KHZ": 3, "MHZ": 6, "GHZ": 9}
_FORMS = ("MA", "DB", "RI")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(E[+-]?\d+)?", re.IGNORECASE)
_OPTIONS = "# MHz S RI R 50, with Hz, kHz, MHz or GHz, and RI, MA or DB"


@dataclass(frozen=True, slots=True, eq=False)
class Load:
    """A load whose reflection was measured."""

    file: str
    """Where it was read, for messages."""

    freq_hz: FloatArray
    """Shape (n,), strictly rising."""

    reflection: ComplexArray
    """Shape (n,), in 50 ohm."""

    lines: tuple[int, int]
    """Where the first and the last frequency stand in the file."""

    def at(self, freq_hz: FloatArray) -> ComplexArray:
        """The reflection at other frequencies, straight in the complex plane between its neighbours.

        Raises ValueError outside what was measured.
        """
        if outside := self.outside(float(freq_hz[0]), float(freq_hz[-1])):
            raise ValueError(str(outside))
        real, imaginary = (
            np.interp(freq_hz, self.freq_hz, part) for part in (self.reflection.real, self.reflection.imag)
        )
        return np.asarray(real + 1j * imaginary, dtype=np.complex128)

    def outside(self, low_hz: float, high_hz: float) -> Mistake | None:
        """What to tell where frequencies are wanted that were not measured."""
        below, above = low_hz < self.freq_hz[0] - ROUNDING_HZ, high_hz > self.freq_hz[-1] + ROUNDING_HZ
        if not below and not above:
            return None
        known = f"{hertz_text(float(self.freq_hz[0]))} to {hertz_text(float(self.freq_hz[-1]))}"
        wanted = f"{hertz_text(low_hz)} to {hertz_text(high_hz)}"
        what = f"the load was measured from {known} and is wanted from {wanted}; measure it further"
        return Mistake(what, self.file, self.lines[0] if below else self.lines[1])


Loads = Mapping[Port, Load]
"""The load that each port carries whenever it idles; all three."""


def read_load(text: str, file: str) -> Load:
    """The load in a one-port Touchstone text. Raises limits.errors.BadInput with every mistake and its line."""
    reader = _Reader(file)
    for number, line in enumerate(text.splitlines(), start=1):
        if words := line.partition("!")[0].split():
            reader.take(words, number)
    if not reader.rows and not reader.mistakes:
        reader.refuse("holds no reflection: write lines of frequency and two numbers", 0)
    if reader.mistakes:
        raise BadInput(tuple(reader.mistakes))
    freq_hz, first, second = (np.array(column) for column in zip(*reader.rows, strict=True))
    return Load(file, freq_hz, _reflection(reader.form, first, second), (reader.lines[0], reader.lines[-1]))


def _reflection(form: str, first: FloatArray, second: FloatArray) -> ComplexArray:
    if form == "RI":
        return np.asarray(first + 1j * second, dtype=np.complex128)
    size = first if form == "MA" else 10 ** (first / 20)
    return np.asarray(size * np.exp(1j * np.radians(second)), dtype=np.complex128)


class _Reader:
    """What has been read of a text so far."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.unit, self.form = "GHZ", "MA"
        self.asked = False
        self.rows: list[tuple[float, float, float]] = []
        self.lines: list[int] = []
        self.mistakes: list[Mistake] = []

    def refuse(self, what: str, line: int) -> None:
        self.mistakes.append(Mistake(what, self.file, line))

    def take(self, words: list[str], line: int) -> None:
        """One line without its comment."""
        if words[0].startswith("#"):
            self._options(" ".join(words)[1:].upper().split(), line)
        elif words[0].startswith("["):
            self.refuse(f"{got(words[0])} is of Touchstone version 2; save the load as version 1", line)
        else:
            self._row(words, line)

    def _options(self, words: list[str], line: int) -> None:
        if self.asked or self.rows:
            self.refuse("the option line stands once, before the numbers", line)
            return
        self.asked = True
        for what in self._unusable(words):
            self.refuse(f"{what}; expected {_OPTIONS}", line)

    def _unusable(self, words: list[str]) -> Iterator[str]:
        left = iter(words)
        for word in left:
            if word in _UNITS:
                self.unit = word
            elif word in _FORMS:
                self.form = word
            elif word == "R":
                ohm = next(left, "")
                if not _NUMBER.fullmatch(ohm) or float(ohm) != REFERENCE_OHM:
                    yield f"a load is given in {REFERENCE_OHM} ohm, not {got(ohm)}"
            elif word != "S":
                yield f"{got(word)} cannot be read"

    def _row(self, words: list[str], line: int) -> None:
        if len(words) != 3:
            what = f"expected frequency and two numbers, got {len(words)} words"
            self.refuse(f"{what}; is it the file of a one-port?", line)
            return
        if wrong := [word for word in words if not _NUMBER.fullmatch(word)]:
            self.refuse(f"{got(wrong[0])} is no number", line)
            return
        # By the exponent, since multiplying would change some values in their last bit.
        freq_hz = float(Decimal(words[0]).scaleb(_UNITS[self.unit]))
        if self.rows and freq_hz <= self.rows[-1][0]:
            self.refuse("the frequencies must rise", line)
            return
        self.rows.append((freq_hz, float(words[1]), float(words[2])))
        self.lines.append(line)
