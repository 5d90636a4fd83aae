"""The typeface of everything printed: loaded, measured, and asked what it can print.

Source Sans Pro under the SIL Open Font License, from the wheel `font-source-sans-pro`. It holds Latin, Greek
and Cyrillic. A character that it lacks is never left to become an empty box: it is printed as its Unicode
number in brackets (`printable`), and the page says so.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TypeVar, cast

import font_source_sans_pro
from reportlab.lib.colors import Color, HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

REGULAR = "SourceSansPro"
SEMIBOLD = "SourceSansProSemibold"
LIGHT = "SourceSansProLight"
FACES = (REGULAR, SEMIBOLD, LIGHT)


@dataclass(frozen=True, slots=True)
class Style:
    """How a text is set; sizes in points."""

    face: str
    size: float
    leading: float
    colour: Color


def colour(digits: str) -> Color:
    """A colour from six hexadecimal digits."""
    return HexColor(int(digits, 16))


@cache
def install() -> frozenset[int]:
    """Make the faces known to the PDF library, once per process; the code points that all of them have."""
    fonts = [TTFont(face, font_source_sans_pro.font_files_ttf[face]) for face in FACES]
    for font in fonts:
        pdfmetrics.registerFont(font)
    return frozenset.intersection(*(frozenset(font.face.charToGlyph) for font in fonts))


_Function = TypeVar("_Function", bound=Callable[..., object])


def _remembered(function: _Function) -> _Function:
    # The pages of one works say mostly the same words, and measuring them takes longer than drawing them.
    return cast(_Function, lru_cache(maxsize=4096)(function))


@_remembered
def printable(text: str) -> str:
    """The text as the typeface can print it: composed, on one line, with `[U+4E2D]` for what it lacks."""
    if text.isascii() and text.isprintable():
        return text
    known = install()
    composed = unicodedata.normalize("NFC", text)
    return "".join(_shown(character, known) for character in composed)


@_remembered
def lacks(text: str) -> bool:
    """Whether `printable` has to show a Unicode number in this text."""
    known = install()
    return any(len(_shown(character, known)) > 1 for character in unicodedata.normalize("NFC", text))


@_remembered
def width(text: str, style: Style) -> float:
    """The width of a printable text, in points."""
    install()
    return float(pdfmetrics.stringWidth(text, style.face, style.size))


def fitted(text: str, style: Style, room: float) -> str:
    """The text, cut at its end with an ellipsis where it is wider than `room`."""
    shown = printable(text)
    if width(shown, style) <= room:
        return shown
    while shown and width(shown + "…", style) > room:
        shown = shown[:-1]
    return shown.rstrip() + "…"


@_remembered
def wrapped(text: str, style: Style, room: float) -> tuple[str, ...]:
    """The text in lines no wider than `room`; broken at spaces, and inside a word only where it is too long."""
    lines = [""]
    for word in printable(text).split(" "):
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if width(joined, style) <= room:
            lines[-1] = joined
            continue
        if lines[-1]:
            lines.append("")
        *full, rest = _pieces(word, style, room)
        lines[-1:] = [*full, rest]
    return tuple(lines)


def _pieces(word: str, style: Style, room: float) -> list[str]:
    """A word too long for a line, cut after a mark such as a hyphen where it has one."""
    pieces = [""]
    for character in word:
        piece = pieces[-1] + character
        if len(piece) > 1 and width(piece, style) > room:
            cut = max(pieces[-1].rfind(mark) for mark in "-/,._:") + 1
            if not cut or width(piece[cut:], style) > room:
                cut = len(pieces[-1])
            pieces[-1:] = [piece[:cut], piece[cut:]]
        else:
            pieces[-1] = piece
    return pieces


def _shown(character: str, known: frozenset[int]) -> str:
    if character.isspace() and character not in "\u00a0\u202f":
        return " "
    if ord(character) in known and unicodedata.category(character) not in ("Cc", "Cf"):
        return character
    return f"[U+{ord(character):04X}]"
