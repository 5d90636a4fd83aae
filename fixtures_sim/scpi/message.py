"""Program messages: bytes into messages, messages into units, units into header and parameters.

Syntax of IEEE 488.2-1992 chapter 7. Nothing here knows a command.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, NamedTuple

from fixtures_sim.scpi.errors import ScpiError

Kind = Literal["number", "nondecimal", "character", "string", "block", "expression"]


class Token(NamedTuple):
    """One parameter as it was typed."""

    kind: Kind
    text: str
    """Quotes and block header taken off; for a number its digits."""

    suffix: str = ""
    """Of a number, upper case."""


@dataclass(frozen=True, slots=True)
class Unit:
    """One command or query of a message."""

    header: str
    """Absolute: the path memory is already in it."""

    tokens: tuple[Token, ...] = ()
    error: ScpiError | None = None
    """What is wrong with it, if it cannot be read."""


_HEADER = re.compile(r"(?:\*[A-Za-z]+|:?[A-Za-z]\w*(?::[A-Za-z]\w*)*)\??")
_BLANK = re.compile(r"[\x00-\x09\x0b-\x20]*")
_PLAIN = re.compile(r"[-+.0-9eE, \t]*")
_STRING = re.compile(r'"((?:[^"]|"")*)"|' + r"'((?:[^']|'')*)'")
_NONDECIMAL = re.compile(r"#[HhQqBb][0-9A-Fa-f]+")
_NUMBER = re.compile(
    r"([-+]?(?:\d+\.?\d*|\.\d+)(?:[ \t]*[eE][ \t]*[-+]?\d+)?)[ \t]*([A-Za-z/][A-Za-z0-9/.^-]*)?"
)
_EXPRESSION = re.compile(r"\([^()]*\)")
_CHARACTER = re.compile(r"[A-Za-z]\w*")
_SPECIAL = re.compile(rb"[\"'#\n]")


def cut_message(buffer: bytes, *, ended: bool = False) -> tuple[bytes, bytes] | None:
    """The first whole program message of `buffer` without its terminator, and the rest; None if none is whole.

    A line feed ends a message unless it lies inside a block; `ended` says that END came with the last byte,
    as on HiSLIP.
    """
    at = 0
    while match := _SPECIAL.search(buffer, at):
        found = match.start()
        mark = buffer[found : found + 1]
        if mark == b"\n":
            return buffer[:found].rstrip(b"\r"), buffer[found + 1 :]
        if mark == b"#":
            at = _after_block(buffer, found)
        else:
            # an unclosed string must not swallow the next message: it ends with its line
            close, line = buffer.find(mark, found + 1), buffer.find(b"\n", found + 1)
            at = close + 1 if close >= 0 and (line < 0 or close < line) else max(line, found + 1)
    return (buffer, b"") if ended and buffer else None


def _after_block(buffer: bytes, at: int) -> int:
    digits = buffer[at + 1 : at + 2]
    if not digits.isdigit() or digits == b"0":
        return at + 1
    head = at + 2 + int(digits)
    count = buffer[at + 2 : head]
    return head + int(count) if count.isdigit() and len(count) == int(digits) else at + 1


def parse_message(message: bytes) -> tuple[Unit, ...]:
    """All units of one program message in order, each with its absolute header.

    What cannot be read becomes a unit with an error; the units after it are still there.
    """
    text = message.decode("latin-1")
    units: list[Unit] = []
    path, at = "", 0
    while at < len(text):
        at = _blank(text, at)
        if at == len(text):
            break
        if text[at] == ";":
            at += 1
            continue
        unit, at = _parse_unit(text, at, path)
        units.append(unit)
        if unit.header and not unit.header.startswith("*"):
            path = unit.header.rpartition(":")[0]
    return tuple(units)


def _blank(text: str, at: int) -> int:
    match = _BLANK.match(text, at)
    return match.end() if match else at


def _parse_unit(text: str, at: int, path: str) -> tuple[Unit, int]:
    match = _HEADER.match(text, at)
    if match is None:
        known = text[at].isascii() and text[at].isprintable()
        return Unit("", error=ScpiError(-102 if known else -101)), _skip(text, at)
    typed = match[0]
    absolute = typed if typed[0] in "*:" or not path else f"{path}:{typed}"
    end = match.end()
    if end < len(text) and text[end] != ";" and not text[end].isspace():
        return Unit(absolute, error=ScpiError(-111)), _skip(text, end)
    try:
        tokens, end = _parse_tokens(text, end)
    except ScpiError as error:
        return Unit(absolute, error=error), _skip(text, end)
    return Unit(absolute, tokens), end


def _skip(text: str, at: int) -> int:
    """Where the next unit begins, strings passed over."""
    while at < len(text) and text[at] != ";":
        match = _STRING.match(text, at)
        at = match.end() if match else at + 1
    return at


def _parse_tokens(text: str, at: int) -> tuple[tuple[Token, ...], int]:
    end = text.find(";", at)
    plain = text[at : end if end >= 0 else len(text)]
    # long lists of frequencies are common and hold nothing but numbers
    if "," in plain and _PLAIN.fullmatch(plain):
        return tuple(_plain_number(part.strip()) for part in plain.split(",")), at + len(plain)
    tokens: list[Token] = []
    at = _blank(text, at)
    while at < len(text) and text[at] != ";":
        token, at = _parse_token(text, at)
        tokens.append(token)
        at = _blank(text, at)
        if at < len(text) and text[at] == ",":
            at = _blank(text, at + 1)
            if at == len(text) or text[at] in ",;":
                raise ScpiError(-102)
        elif at < len(text) and text[at] != ";":
            raise ScpiError(-103)
    return tuple(tokens), at


def _plain_number(part: str) -> Token:
    if not part:
        raise ScpiError(-102)
    match = _NUMBER.fullmatch(part)
    if match is None or match[2]:
        raise ScpiError(-121)
    return Token("number", part)


def _parse_token(text: str, at: int) -> tuple[Token, int]:
    if match := _NUMBER.match(text, at):
        return Token("number", "".join(match[1].split()), (match[2] or "").upper()), match.end()
    if match := _CHARACTER.match(text, at):
        return Token("character", match[0]), match.end()
    if match := _STRING.match(text, at):
        quote = text[at]
        return Token("string", (match[1] or match[2] or "").replace(quote * 2, quote)), match.end()
    if match := _NONDECIMAL.match(text, at):
        return Token("nondecimal", match[0].upper()), match.end()
    if match := _EXPRESSION.match(text, at):
        return Token("expression", match[0]), match.end()
    if text[at] == "#":
        return _parse_block(text, at)
    wrong = {'"': -151, "'": -151, "(": -171, "+": -121, "-": -121, ".": -121, ",": -102}
    raise ScpiError(wrong.get(text[at], -101))


def _parse_block(text: str, at: int) -> tuple[Token, int]:
    """Arbitrary block program data, IEEE 488.2-1992 section 7.7.6."""
    digits = text[at + 1 : at + 2]
    if digits == "0":
        return Token("block", text[at + 2 :]), len(text)
    if not ("1" <= digits <= "9"):
        raise ScpiError(-161)
    start = at + 2 + int(digits)
    count = text[at + 2 : start]
    if not (count.isascii() and count.isdigit()) or len(text) < start + int(count):
        raise ScpiError(-161)
    return Token("block", text[start : start + int(count)]), start + int(count)
