"""A window of temperatures as people write it: `18 to 28 °C` or `23 ± 5 °C`."""

from __future__ import annotations

import re
from dataclasses import dataclass

from limits.formwords import got
from limits.quantity import Expression
from limits.units import NUMBER, SIGNED, celsius, kelvin, tidy

_DEGREES = r"°?C"
_EXAMPLE = "a span of temperatures like '18 to 28 °C' or '23 ± 5 °C'"


@dataclass(frozen=True, slots=True)
class TemperatureSpan(Expression):
    """Temperatures from a lowest to a highest, in deg C."""

    pattern = (
        rf"{SIGNED}\s*({_DEGREES})?\s*"
        rf"(to\s*{SIGNED}\s*{_DEGREES}|(±|\+-|\+/-)\s*{NUMBER}\s*({_DEGREES}|K))"
    )
    described = _EXAMPLE

    text: str
    """As it was written."""

    low_c: float
    high_c: float

    @classmethod
    def parse(cls, text: str) -> TemperatureSpan:
        """Raises ValueError that says what was expected."""
        clean = tidy(text)
        if halves := re.fullmatch(r"(.*?) ?(?:±|\+/?-) ?([0-9].*)", clean):
            half = kelvin(halves[2]) if halves[2].endswith("K") else celsius(halves[2])
            centre = celsius(_with_unit_of(halves[1], halves[2]))
            low_c, high_c = centre - half, centre + half
        else:
            parts = clean.split(" to ")
            if len(parts) != 2:
                raise ValueError(f"expected {_EXAMPLE}, got {got(text)}")
            low_c, high_c = celsius(_with_unit_of(parts[0], parts[1])), celsius(parts[1])
        if low_c >= high_c:
            raise ValueError(
                f"{got(text)} does not rise; write the lower temperature first, like '18 to 28 °C'"
            )
        return cls(text.strip(), low_c, high_c)

    def holds(self, temperature_c: float) -> bool:
        """Whether a temperature lies in it, its ends included."""
        return self.low_c <= temperature_c <= self.high_c


def _with_unit_of(first: str, last: str) -> str:
    """The first of two temperatures, with the unit that was written once for both."""
    return f"{first} °C" if re.search(r"[0-9]$", first) and re.search(rf"{_DEGREES}$", last) else first
