"""Numbers with units, as people write them, to Hz, dB, dBm, deg C, seconds, ohm ...; and back to text for Hz.

Strict on purpose: a unit is never guessed, `mHz` is not MHz, and `157,05 MHz` is not 15705 MHz. A prefix is
applied to the text of the number, not by multiplying: `float("128.002e6")` is the nearest double, while
`128.002 * 1e6` often is not.

Only conversions live here; the field types of forms, made from them, are in `limits.quantity`.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import date
from decimal import Decimal

from limits.formwords import got, nearest

NUMBER = r"[0-9]+(?:\.[0-9]+)?"
SIGNED = r"[+-]?\s*" + NUMBER

HERTZ: Mapping[str, int] = {"Hz": 0, "kHz": 3, "MHz": 6, "GHz": 9}
"""Units of frequency with their power of ten."""

SECONDS: Mapping[str, int] = {"s": 0, "ms": -3, "µs": -6, "us": -6, "ns": -9, "ps": -12}
MINUTES: Mapping[str, int] = {"min": 60, "h": 3600, "d": 86_400}
FARAD: Mapping[str, int] = {"fF": -15, "pF": -12}
HENRY: Mapping[str, int] = {"pH": -12, "nH": -9}


def tidy(text: str) -> str:
    """The text with ordinary spaces and ordinary minus signs, none at its ends."""
    return re.sub(r"\s+", " ", text.replace("\u2212", "-").replace("\u03bc", "µ")).strip()


def hertz(text: str) -> float:
    """`2.5 MHz` to 2500000.0. Raises ValueError that says what was expected."""
    value = _with_exponent(text, HERTZ, "a frequency like '2.5 MHz'")
    if value <= 0:
        raise ValueError(f"expected a frequency above 0 Hz, got {got(text)}")
    return value


def decibel(text: str) -> float:
    """`1.5 dB` to 1.5. Raises ValueError that says what was expected."""
    return _with_exponent(text, {"dB": 0}, "a ratio like '1.5 dB'")


def dbm(text: str) -> float:
    """`-10 dBm` to -10.0. Raises ValueError that says what was expected."""
    return _with_exponent(text, {"dBm": 0}, "a power like '-10 dBm'")


def celsius(text: str) -> float:
    """`23 °C` or `23 C` to 23.0. Raises ValueError that says what was expected."""
    return _with_exponent(text, {"°C": 0, "C": 0}, "a temperature like '23 °C'")


def kelvin(text: str) -> float:
    """A difference of temperatures: `2 K` to 2.0. Raises ValueError that says what was expected."""
    return _with_exponent(text, {"K": 0}, "a difference of temperatures like '2 K'")


def degrees(text: str) -> float:
    """An angle: `10 deg` to 10.0. Raises ValueError that says what was expected."""
    return _with_exponent(text, {"deg": 0, "°": 0}, "an angle like '10 deg'")


def ohm(text: str) -> float:
    """`50 ohm` to 50.0. Raises ValueError that says what was expected."""
    return _with_exponent(text, {"ohm": 0}, "a resistance like '50 ohm'")


def farad(text: str) -> float:
    """`68 fF` to 6.8e-14. Raises ValueError that says what was expected."""
    return _with_exponent(text, FARAD, "a capacitance like '68 fF'")


def henry(text: str) -> float:
    """`8 pH` to 8e-12. Raises ValueError that says what was expected."""
    return _with_exponent(text, HENRY, "an inductance like '8 pH'")


def per_kelvin(text: str) -> float:
    """`-8 ppm/K` to -8e-6. Raises ValueError that says what was expected."""
    return _with_exponent(text, {"ppm/K": -6}, "a change with temperature like '8 ppm/K'")


def seconds(text: str) -> float:
    """`10 s`, `5 ms`, `20 min`, `8 h`, `30 d` to seconds. Raises ValueError that says what was expected."""
    number, unit = _split(text, (*SECONDS, *MINUTES), "a time like '10 s'")
    value = float(number) * MINUTES[unit] if unit in MINUTES else float(f"{number}e{SECONDS[unit]}")
    if not 0 <= value < math.inf:
        raise ValueError(f"expected a time that is not negative, got {got(text)}")
    return value


def seconds_text(time_s: float) -> str:
    """A time as one says it, to the second and never too short: `45 s`, `19 min 5 s`, `1 h 5 min`."""
    minutes, rest_s = divmod(math.ceil(time_s), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        # Beyond an hour nobody counts seconds.
        hours, minutes = divmod(hours * 60 + minutes + bool(rest_s), 60)
        rest_s = 0
    parts = ((hours, "h"), (minutes, "min"), (rest_s, "s"))
    return " ".join(f"{number} {unit}" for number, unit in parts if number) or "0 s"


def matings(text: str) -> int:
    """A number of matings of a connector: `500 matings` to 500. Raises ValueError that says what was expected."""
    expected = "a number of matings like '500 matings'"
    digits, _ = _split(text, ("matings",), expected)
    if not re.fullmatch(r"[1-9][0-9]{0,8}", digits):
        raise ValueError(f"expected {expected}, whole and above 0, got {got(text)}")
    return int(digits)


def whole(text: str) -> int:
    """`4` to 4. Raises ValueError that says what was expected."""
    text = tidy(text)
    if re.fullmatch(r"[+-]?0[0-9]+", text):
        raise ValueError(f"'{text}' starts with a zero; write {text.lstrip('+-0') or '0'}")
    if not re.fullmatch(r"-?[0-9]{1,15}", text):
        raise ValueError(f"expected a whole number like 4, in digits, got {got(text)}")
    return int(text)


def number(text: str) -> float:
    """`0.66` to 0.66. Raises ValueError that says what was expected."""
    text = tidy(text)
    _refuse_comma(text)
    if not re.fullmatch(r"[+-]?" + NUMBER, text) or not math.isfinite(float(text)):
        raise ValueError(f"expected a number like 0.66, in digits, got {got(text)}")
    return float(text)


def flag(text: str) -> bool:
    """`yes` or `no`, `true` or `false`. Raises ValueError that says what was expected."""
    words = {"yes": True, "true": True, "no": False, "false": False}
    if text not in words:
        raise ValueError(f"expected yes or no, got {got(text)}{nearest(text, words)}")
    return words[text]


def day(text: str) -> date:
    """`2025-03-31` to a date. Raises ValueError that says what was expected."""
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        try:
            return date.fromisoformat(text)
        except ValueError as error:
            raise ValueError(f"'{text}' is not a day of the calendar") from error
    raise ValueError(f"expected a date like 2025-03-31 (year-month-day), got {got(text)}")


def plain(text: str) -> str:
    """A text of one line that is not empty. Raises ValueError that says what was expected."""
    if not text.strip():
        raise ValueError("expected a text, got nothing")
    if len(text.splitlines()) > 1:
        raise ValueError("expected a text of one line, got several")
    return text.strip()


def hertz_text(freq_hz: float) -> str:
    """A frequency with its unit, every digit of it: `hertz(hertz_text(f)) == f`."""
    unit = next((unit for unit in ("MHz", "kHz") if abs(freq_hz) >= 10 ** HERTZ[unit]), "Hz")
    return f"{hertz_number(freq_hz, unit)} {unit}"


def in_one_unit(first: str, last: str) -> tuple[str, str]:
    """Two ends as one says them: the first without its unit where the last has the same."""
    number, _, unit = first.rpartition(" ")
    return (number, last) if unit == last.rpartition(" ")[2] else (first, last)


def hertz_number(freq_hz: float, unit: str) -> str:
    """The number alone, in one of the units of `HERTZ`, every digit of it."""
    scaled = Decimal(repr(freq_hz)).scaleb(-HERTZ[unit])
    text = format(scaled, "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _with_exponent(text: str, units: Mapping[str, int], expected: str) -> float:
    written, unit = _split(text, tuple(units), expected)
    value = float(f"{written}e{units[unit]}")
    if not math.isfinite(value):
        raise ValueError(f"expected {expected}, got {got(text)}, which is too large")
    return value


def _split(text: str, units: tuple[str, ...], expected: str) -> tuple[str, str]:
    """The number's text and the unit."""
    text = tidy(text)
    _refuse_comma(text)
    if re.match(r"[+-]?[0-9.]+[eE][+-]?[0-9]", text):
        raise ValueError(f"{got(text)} has an exponent; write {expected}")
    match = re.fullmatch(rf"([+-]?)\s*({NUMBER})\s*(.*)", text)
    if match is None:
        raise ValueError(f"expected {expected}, got {got(text)}")
    sign, digits, unit = match.groups()
    if not unit:
        raise ValueError(f"{got(text)} has no unit; write {expected}")
    if unit not in units:
        raise ValueError(_unknown_unit(text, unit, units, expected))
    return sign + digits, unit


def _unknown_unit(text: str, unit: str, units: tuple[str, ...], expected: str) -> str:
    if unit == "mHz":
        return f"'mHz' in {got(text)} means millihertz; did you mean 'MHz'?"
    close = nearest(unit, units[::-1])
    if close:
        return f"unknown unit '{unit}' in {got(text)}{close}"
    return f"expected {expected} (in {', '.join(units)}), got {got(text)}"


def _refuse_comma(text: str) -> None:
    if re.match(r"[+-]?\s*[0-9.]*,[0-9]", text):
        point = text.replace(",", ".") if text.count(",") == 1 and "." not in text else ""
        hint = f"write {point}" if point else "write no thousands separator, and a decimal point"
        raise ValueError(f"a comma in the number {got(text)}; {hint}")
