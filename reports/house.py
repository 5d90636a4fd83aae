"""The house style of a works: what its certificates look like, as far as a works may choose.

The colour is one accent beside ink and grey; it must stand out from white paper as text does.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from enum import StrEnum

LEAST_CONTRAST = 4.5
"""Of text on its ground (WCAG 2.2, success criterion 1.4.3)."""

MOST_LOGO_BYTES = 256 * 1024
MOST_LOGO_PIXELS = 2000
"""Along either side: more than any printer shows on a logo's three centimetres."""

LOGO_FORMATS = ("PNG", "JPEG")


class Paper(StrEnum):
    """What it is printed on."""

    A4 = "A4"
    LETTER = "Letter"


@dataclass(frozen=True, slots=True)
class House:
    """What a works chose; by itself the style that this program comes with."""

    accent: str = "0d4553"
    """Six hexadecimal digits."""

    language: str = "en"
    """Of the fixed texts; see `language`."""

    paper: Paper = Paper.A4
    logo: bytes = b""
    """A PNG or JPEG picture; empty for none."""


PLAIN = House()


def contrast_with_paper(accent: str) -> float:
    """How far a colour stands out from white, 1 to 21 (WCAG 2.2, contrast ratio and relative luminance)."""
    levels = [int(accent[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    linear = [level / 12.92 if level <= 0.04045 else ((level + 0.055) / 1.055) ** 2.4 for level in levels]
    luminance = sum(part * weight for part, weight in zip(linear, (0.2126, 0.7152, 0.0722), strict=True))
    return 1.05 / (luminance + 0.05)


def logo_mistake(data: bytes) -> str:
    """Why a file cannot be a logo, and what to do; empty where it can."""
    from PIL import Image, UnidentifiedImageError

    if len(data) > MOST_LOGO_BYTES:
        return f"takes {len(data) // 1024} kB; make the picture smaller, {MOST_LOGO_BYTES // 1024} kB are the most"
    try:
        with Image.open(io.BytesIO(data), formats=LOGO_FORMATS) as picture:
            size = picture.size
            picture.load()
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError, Image.DecompressionBombError):
        return "is no PNG or JPEG picture that can be read; save the logo as one of these"
    if max(size) > MOST_LOGO_PIXELS:
        return (
            f"is {size[0]} by {size[1]} pixels; make it smaller, {MOST_LOGO_PIXELS} along a side are the most"
        )
    return ""
