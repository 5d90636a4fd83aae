"""Parameters into values and values into response data.

Suffixes: IEEE 488.2-1992 tables 7-1 and 7-2. Special numbers and booleans: SCPI-1999 volume 1, section 7.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.header import short_form
from fixtures_sim.scpi.message import Token

NOT_A_NUMBER = 9.91e37
INFINITY = 9.9e37

MULTIPLIERS: Mapping[str, float] = MappingProxyType(
    {"EX": 1e18, "PE": 1e15, "T": 1e12, "G": 1e9, "MA": 1e6, "K": 1e3, "": 1.0}
    | {"M": 1e-3, "U": 1e-6, "N": 1e-9, "P": 1e-12, "F": 1e-15, "A": 1e-18}
)

UNITS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "hertz": ("HZ",),
        "second": ("S",),
        "volt": ("V",),
        "ampere": ("A",),
        "ohm": ("OHM",),
        "farad": ("F",),
        "henry": ("H",),
        "meter": ("M",),
        "watt": ("W",),
        "dbm": ("DBM", "DBMW"),
        "decibel": ("DB",),
        "degree": ("DEG",),
        "radian": ("RAD",),
        "celsius": ("CEL",),
        "unitless": (),
    }
)
"""Each unit with its suffixes; a multiplier may stand before the first."""

_ODD_UNITS: Mapping[tuple[str, str], float] = MappingProxyType(
    {
        ("second", "MIN"): 60.0,
        ("second", "HR"): 3600.0,
        ("degree", "MNT"): 1.0 / 60.0,
        ("degree", "SEC"): 1.0 / 3600.0,
        ("unitless", "PCT"): 1e-2,
        ("unitless", "PPM"): 1e-6,
    }
)


def suffix_factor(suffix: str, unit: str) -> float:
    """What a number with this suffix must be multiplied by to be in `unit`.

    M is mega before HZ and OHM and milli before everything else. Raises ScpiError -131.
    """
    if not suffix:
        return 1.0
    if (unit, suffix) in _ODD_UNITS:
        return _ODD_UNITS[unit, suffix]
    names = UNITS[unit]
    if suffix in names:
        return 1.0
    if names and suffix.endswith(names[0]):
        prefix = suffix.removesuffix(names[0])
        if prefix == "M" and unit in ("hertz", "ohm"):
            return 1e6
        if prefix in MULTIPLIERS:
            return MULTIPLIERS[prefix]
    raise ScpiError(-131)


_WRONG_KIND = {
    "character": -148,
    "string": -158,
    "block": -168,
    "expression": -178,
    "number": -128,
    "nondecimal": -128,
}


def decimal(token: Token, unit: str | None = None) -> float:
    """A number in `unit`; without one no suffix is allowed. Raises ScpiError."""
    if token.kind == "nondecimal":
        return float(_nondecimal(token.text))
    if token.kind == "character" and token.text.upper() in ("INF", "INFINITY"):
        return INFINITY
    if token.kind != "number":
        raise ScpiError(_WRONG_KIND[token.kind])
    if token.suffix and unit is None:
        raise ScpiError(-138)
    factor = suffix_factor(token.suffix, unit) if unit is not None else 1.0
    value = _scaled(token.text, factor)
    if not math.isfinite(value):
        raise ScpiError(-123)
    return value


def _scaled(digits: str, factor: float) -> float:
    """Shifted by text where the factor is a power of ten: a product would differ in the last bit."""
    if factor == 1.0:
        return float(digits)
    power = round(math.log10(factor))
    if 10.0**power != factor:
        return float(digits) * factor
    mantissa, _, exponent = digits.lower().partition("e")
    return float(f"{mantissa}e{int(exponent or '0') + power}")


def _nondecimal(text: str) -> int:
    base = {"H": 16, "Q": 8, "B": 2}[text[1]]
    try:
        return int(text[2:], base)
    except ValueError as error:
        raise ScpiError(-121) from error


def number(token: Token, low: float, high: float, default: float, unit: str | None = None) -> float:
    """A number between `low` and `high`, or MINimum, MAXimum, DEFault. Raises ScpiError, -222 when outside."""
    value = special(token, low, high, default)
    if value is None:
        value = decimal(token, unit)
    if not low <= value <= high:
        raise ScpiError(-222)
    return value


def special(token: Token, low: float, high: float, default: float) -> float | None:
    """The value MINimum, MAXimum or DEFault stands for; None when it is another parameter."""
    if token.kind != "character":
        return None
    names = {"MIN": low, "MINIMUM": low, "MAX": high, "MAXIMUM": high, "DEF": default, "DEFAULT": default}
    return names.get(token.text.upper())


def integer(token: Token, low: int, high: int) -> int:
    """A whole number, rounded as IEEE 488.2 asks. Raises ScpiError, -222 when outside."""
    value = round(decimal(token))
    if not low <= value <= high:
        raise ScpiError(-222)
    return value


def boolean(token: Token) -> bool:
    """ON, OFF or a number, where all but 0 is true. Raises ScpiError."""
    if token.kind == "character":
        names = {"ON": True, "OFF": False}
        if token.text.upper() not in names:
            raise ScpiError(-141)
        return names[token.text.upper()]
    return round(decimal(token)) != 0


def choice(token: Token, choices: tuple[str, ...]) -> str:
    """One of these mnemonics, in short form. Raises ScpiError: -141 when it is none of them."""
    if token.kind != "character":
        raise ScpiError(_WRONG_KIND[token.kind])
    typed = token.text.upper()
    for mnemonic in choices:
        if typed in (mnemonic.upper(), short_form(mnemonic)):
            return short_form(mnemonic)
    raise ScpiError(-141)


def string(token: Token) -> str:
    """The inside of a quoted string. Raises ScpiError."""
    if token.kind != "string":
        raise ScpiError(_WRONG_KIND[token.kind])
    return token.text


def nr3(value: float) -> str:
    """The shortest decimal text that reads back as the same double, in the NR3 form of IEEE 488.2 section 8.7.4."""
    return np.format_float_scientific(value, trim="0", exp_digits=1).upper()


def quoted(text: str) -> str:
    """String response data, IEEE 488.2 section 8.7.8."""
    return '"' + text.replace('"', '""') + '"'


def block(data: bytes) -> bytes:
    """Definite length arbitrary block response data, IEEE 488.2 section 8.7.9."""
    count = b"%d" % len(data)
    return b"#%d%s%s" % (len(count), count, data)


def ascii_list(values: NDArray[np.float64]) -> bytes:
    """Comma-separated numbers of 17 digits, which read back as the same doubles; NaN as SCPI writes it."""
    finite = np.nan_to_num(values, nan=NOT_A_NUMBER, posinf=INFINITY, neginf=-INFINITY)
    return ",".join([f"{value:.16E}" for value in finite.tolist()]).encode()
