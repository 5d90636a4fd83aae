"""The error numbers of SCPI-1999 that a simulated instrument can put into its queue.

Numbers and texts: SCPI-1999 volume 2, SYSTem:ERRor, as read in an open SCPI parser library.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

TEXTS: Mapping[int, str] = MappingProxyType(
    {
        0: "No error",
        -101: "Invalid character",
        -102: "Syntax error",
        -103: "Invalid separator",
        -104: "Data type error",
        -108: "Parameter not allowed",
        -109: "Missing parameter",
        -110: "Command header error",
        -111: "Header separator error",
        -112: "Program mnemonic too long",
        -113: "Undefined header",
        -114: "Header suffix out of range",
        -120: "Numeric data error",
        -121: "Invalid character in number",
        -123: "Exponent too large",
        -124: "Too many digits",
        -128: "Numeric data not allowed",
        -131: "Invalid suffix",
        -134: "Suffix too long",
        -138: "Suffix not allowed",
        -141: "Invalid character data",
        -144: "Character data too long",
        -148: "Character data not allowed",
        -151: "Invalid string data",
        -158: "String data not allowed",
        -161: "Invalid block data",
        -168: "Block data not allowed",
        -171: "Invalid expression",
        -178: "Expression data not allowed",
        -200: "Execution error",
        -211: "Trigger ignored",
        -213: "Init ignored",
        -221: "Settings conflict",
        -222: "Data out of range",
        -223: "Too much data",
        -224: "Illegal parameter value",
        -230: "Data corrupt or stale",
        -240: "Hardware error",
        -300: "Device specific error",
        -310: "System error",
        -350: "Queue overflow",
        -363: "Input buffer overrun",
        -410: "Query INTERRUPTED",
        -420: "Query UNTERMINATED",
    }
)

OPC_BIT, QYE_BIT, DDE_BIT, EXE_BIT, CME_BIT, PON_BIT = 0, 2, 3, 4, 5, 7
"""Bits of the standard event status register, IEEE 488.2-1992 section 11.5.1."""


def event_bit(number: int) -> int:
    """The bit of the standard event status register that an error of this class sets."""
    by_hundred = {1: CME_BIT, 2: EXE_BIT, 3: DDE_BIT, 4: QYE_BIT}
    return by_hundred.get(-number // 100, DDE_BIT)


class ScpiError(Exception):
    """An error for the instrument's queue; the rest of the message is still carried out."""

    def __init__(self, number: int, detail: str = "") -> None:
        super().__init__(f"{number} {TEXTS[number]} {detail}".rstrip())
        self.number = number
        self.detail = detail
