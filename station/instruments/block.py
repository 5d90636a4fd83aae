"""Bytes and text of an answer to numbers, without any instrument: IEEE 488.2 blocks, binary and ASCII data.

Nothing in here talks to anybody; the link reads, this understands. Whatever makes no sense is a ValueError
that says what was expected; the link turns it into a fault that names the instrument and the command.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from limits.reading import FloatArray

NumberForm = Literal["REAL,64", "REAL,32", "ASCII"]
ByteOrder = Literal["NORMAL", "SWAPPED"]

# SCPI-1999 vol. 1, 7.2.1.4 and 7.2.1.5: 9.9E37 stands for infinity, 9.91E37 for not-a-number (section from memory).
_NOT_A_NUMBER_FROM = 9.9e37 * (1 - 1e-6)

_DTYPES: dict[tuple[NumberForm, ByteOrder], str] = {
    ("REAL,64", "NORMAL"): ">f8",
    ("REAL,64", "SWAPPED"): "<f8",
    ("REAL,32", "NORMAL"): ">f4",
    ("REAL,32", "SWAPPED"): "<f4",
}


@dataclass(frozen=True, slots=True)
class NumberFormat:
    """How the numbers of a sweep travel."""

    form: NumberForm
    order: ByteOrder = "NORMAL"
    """NORMAL is the byte of highest worth first; it says nothing for ASCII."""

    @property
    def binary(self) -> bool:
        """Whether they travel in an IEEE 488.2 block."""
        return self.form != "ASCII"


@dataclass(frozen=True, slots=True)
class BlockHead:
    """What the first bytes of a block promise."""

    size: int
    """Bytes of the head itself."""

    length: int | None
    """Bytes of data that follow; None for a block of indefinite length."""


def block_head(start: bytes) -> BlockHead | None:
    """The head of an IEEE 488.2 block (8.7.9 and 8.7.10), or None while more bytes are needed to tell.

    Raises ValueError when no block begins so.
    """
    if not start:
        return None
    if start[:1] != b"#":
        raise ValueError(f"a block of data begins with '#', not with {shown(start[:1])}")
    if len(start) < 2:
        return None
    digits = start[1:2]
    if digits == b"0":
        return BlockHead(size=2, length=None)
    if not digits.isdigit():
        raise ValueError(f"after '#' comes the count of digits, 0 to 9, not {shown(digits)}")
    size = 2 + int(digits)
    if len(start) < size:
        return None
    length = start[2:size]
    if not length.isdigit():
        raise ValueError(f"the length of the block is not a whole number: {shown(length)}")
    return BlockHead(size=size, length=int(length))


def block_payload(raw: bytes) -> bytes:
    """The data of one whole block, with or without the line end after it.

    Raises ValueError when it is cut short or something else follows it.
    """
    head = block_head(raw)
    if head is None:
        raise ValueError(f"the head of the block is cut short: {shown(raw)}")
    body = raw[head.size :]
    if head.length is None:
        return body.removesuffix(b"\n")
    if len(body) < head.length:
        raise ValueError(f"the block announces {head.length} bytes and {len(body)} came")
    rest = body[head.length :]
    if rest not in (b"", b"\n", b"\r\n"):
        raise ValueError(f"after the {head.length} bytes of the block came {shown(rest)}")
    return body[: head.length]


def binary_numbers(payload: bytes, number_format: NumberFormat) -> FloatArray:
    """The numbers of a block's data. Raises ValueError when the bytes do not fit or a number is none."""
    dtype = np.dtype(_DTYPES[number_format.form, number_format.order])
    if len(payload) % dtype.itemsize:
        raise ValueError(f"{len(payload)} bytes are not a whole number of {number_format.form} numbers")
    return _sound(np.frombuffer(payload, dtype).astype(np.float64))


def text_numbers(text: str) -> FloatArray:
    """Numbers in ASCII, separated by commas. Raises ValueError when one of them is none."""
    fields = text.split(",")
    try:
        values = np.array(fields, dtype=np.float64)
    except ValueError as error:
        wrong = next(field for field in fields if not _is_number(field))
        raise ValueError(f"not a number: {shown(wrong.encode())}") from error
    return _sound(values)


def split_answers(text: str) -> tuple[str, ...]:
    """The answers to a message with several questions: separated by ';', which quoted text may contain."""
    if '"' not in text and "'" not in text:
        return tuple(part.strip() for part in text.split(";"))
    parts = [""]
    quote = ""
    for character in text:
        if character == ";" and not quote:
            parts.append("")
            continue
        if quote:
            quote = "" if character == quote else quote
        elif character in "\"'":
            quote = character
        parts[-1] += character
    return tuple(part.strip() for part in parts)


def join_messages(parts: tuple[str, ...]) -> str:
    """Several commands and questions as one message, each read from the root of the command tree.

    A header after ';' continues at the last header's level of the tree unless it begins with ':' (SCPI-1999
    vol. 1, 6.2.4, section from memory); common commands begin with '*' and take no colon.
    """
    first, *others = parts
    return "".join((first, *(f";{part}" if part[0] in ":*" else f";:{part}" for part in others)))


def shown(raw: bytes | bytearray, most: int = 40) -> str:
    """Bytes as they can be printed in a message, at most so many characters of them."""
    text = ""
    for byte in raw:
        character = chr(byte).encode("unicode_escape").decode("ascii")
        if len(text) + len(character) > most:
            return f"'{text}'... ({len(raw)} bytes)"
        text += character
    return f"'{text}'"


def _sound(values: FloatArray) -> FloatArray:
    # One comparison for NaN, the infinities and SCPI's stand-ins for them: with NaN every comparison is false.
    good = np.abs(values) < _NOT_A_NUMBER_FROM
    if not good.all():
        index = int(np.argmin(good))
        raise ValueError(
            f"value {index + 1} of {values.size} is {values[index]:g}: not a number to measure with"
        )
    return values


def _is_number(field: str) -> bool:
    try:
        float(field)
    except ValueError:
        return False
    return True
