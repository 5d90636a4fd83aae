"""JSON in one form only, so that equal values have equal bytes and so equal digests on any machine.

The form is that of RFC 8785 (JSON Canonicalization Scheme): UTF-8, no white space, names sorted, numbers as
ECMAScript writes them (its section 3.2.2.3). Whoever holds a value can make the same bytes with any tool that
follows it.
"""

from __future__ import annotations

import hashlib
import json
import math
from json.encoder import encode_basestring
from typing import TypeAlias

Json: TypeAlias = "str | int | float | bool | list[Json] | dict[str, Json] | None"

MOST_EXACT = 2**53
"""Beyond it a reader that keeps numbers as doubles may take one whole number for another."""


def canonical(value: Json) -> bytes:
    """The value's one form. Raises ValueError for a number that JSON has no form for."""
    try:
        # Python's own encoder, which is written in C, says the same of all but a few numbers and names.
        plain = json.dumps(
            _plain(value), ensure_ascii=False, allow_nan=False, sort_keys=True, separators=(",", ":")
        )
    except _Awkward:
        plain = _text(value)
    return plain.encode()


def digest_of(value: Json) -> str:
    """SHA-256 of that form, 64 hexadecimal digits."""
    return hashlib.sha256(canonical(value)).hexdigest()


def parsed(data: bytes) -> Json:
    """The value of such bytes. Raises ValueError for anything else, also for JSON written in another way."""
    value: Json = json.loads(data, parse_int=_whole)
    if canonical(value) != data:
        raise ValueError("this JSON is not written in the form of RFC 8785")
    return value


class _Awkward(Exception):
    """Something that Python's encoder writes in a form of its own."""


def _plain(value: Json) -> Json:
    """The same for Python's encoder. Raises _Awkward for what it would write otherwise."""
    if isinstance(value, str) or value is None or isinstance(value, bool):
        return value
    if isinstance(value, float):
        if value.is_integer() and abs(value) < MOST_EXACT:
            return int(value)
        if not 1e-4 <= abs(value) < MOST_EXACT:
            raise _Awkward
        return value
    if isinstance(value, dict):
        if not all(map(str.isascii, value)):
            raise _Awkward
        return {name: _plain(each) for name, each in value.items()}
    if isinstance(value, list):
        return [_plain(each) for each in value]
    if abs(value) >= MOST_EXACT:
        raise _Awkward
    return value


def _text(value: Json) -> str:
    if isinstance(value, dict):
        # The scheme sorts by UTF-16 code units.
        names = sorted(value, key=lambda name: name.encode("utf-16-be"))
        return "{" + ",".join(f"{encode_basestring(name)}:{_text(value[name])}" for name in names) + "}"
    if isinstance(value, list):
        return "[" + ",".join(map(_text, value)) + "]"
    if isinstance(value, str):
        return encode_basestring(value)
    if isinstance(value, bool) or value is None:
        return {True: "true", False: "false", None: "null"}[value]
    return _number(value)


def _whole(digits: str) -> int | float:
    return int(digits) if abs(int(digits)) <= MOST_EXACT else float(digits)


def _number(value: int | float) -> str:
    if isinstance(value, int) and abs(value) > MOST_EXACT:
        raise ValueError(f"{value} has more digits than every reader of JSON keeps")
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"JSON has no form for {number}")
    if number == 0.0:
        return "0"
    digits, _, exponent = f"{abs(number)!r}".partition("e")
    whole, _, rest = digits.partition(".")
    rest = rest.rstrip("0")
    point = len(whole) + int(exponent or 0)
    figures = (whole + rest).lstrip("0")
    point -= len(whole + rest) - len(figures)
    figures = figures.rstrip("0")
    return ("-" if number < 0 else "") + _placed(figures, point)


def _placed(figures: str, point: int) -> str:
    """Digits with the decimal point behind the first `point` of them (ECMA-262, Number::toString)."""
    count = len(figures)
    if count <= point <= 21:
        return figures.ljust(point, "0")
    if 0 < point <= 21:
        return f"{figures[:point]}.{figures[point:]}"
    if -6 < point <= 0:
        return f"0.{'0' * -point}{figures}"
    mantissa = figures if count == 1 else f"{figures[0]}.{figures[1:]}"
    return f"{mantissa}e{point - 1:+d}"
