"""The driver of a thermometer on the bench, whose sensor lies on the unit: one question, one temperature in deg C."""

from __future__ import annotations

import math

from station.errors import Garbled, WrongInstrument
from station.instruments.link import Link

ROLE = "thermometer"

BELIEVED_C = (-20.0, 60.0)
"""No unit on a test bench is colder or warmer; 296 is a reading in kelvin, and a broken sensor reads far outside
(common practice, no source)."""


class BenchThermometer:
    """A SCPI thermometer over a link that is or will be open."""

    def __init__(self, link: Link, question: str, *, identity: str) -> None:
        """`identity` is text that must occur in its `*IDN?` answer."""
        self._link = link
        self._question = question
        self._identity = identity
        self._identified = ""

    def identify(self) -> str:
        """Its answer to `*IDN?`, asked once. Raises WrongInstrument when it is not the one the bench file names."""
        if not self._identified:
            answer = self._link.identify()
            if self._identity not in answer:
                expected = f"expected an instrument whose identity contains {self._identity!r}"
                raise self._link.fault(WrongInstrument, expected, "*IDN?", answer, answer)
            self._identified = answer
        return self._identified

    def temperature_c(self) -> float:
        """What it reads now. Raises InstrumentFault, Garbled where the answer is no temperature of a test bench."""
        self.identify()
        (answer,) = self._link.order((), (self._question,))
        try:
            temperature_c = float(answer)
        except ValueError as error:
            raise self._link.fault(Garbled, "this is no temperature", self._question, answer) from error
        low_c, high_c = BELIEVED_C
        if not (math.isfinite(temperature_c) and low_c <= temperature_c <= high_c):
            what = f"a unit at a bench has {low_c:g} to {high_c:g} °C; look at the sensor, and whether it reads in °C"
            raise self._link.fault(Garbled, what, self._question, answer, answer)
        return temperature_c
