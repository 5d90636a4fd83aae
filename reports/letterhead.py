"""The works' logo at the head of a page."""

from __future__ import annotations

import io
from functools import lru_cache

from reportlab.lib.units import mm
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

TALLEST, WIDEST = 10.5 * mm, 44.0 * mm
LOGO_ROOM = 13.0
"""What a logo asks for above the works' name, in points."""

GAP = 3.0 * mm


def draw_logo(canvas: Canvas, logo: bytes, x: float, top: float) -> float:
    """Draw it with its upper left corner at x and `top`; the room it takes from what stands beside it."""
    picture = _read(logo)
    pixels_wide, pixels_high = picture.getSize()
    scale: float = min(TALLEST / pixels_high, WIDEST / pixels_wide)
    wide, high = pixels_wide * scale, pixels_high * scale
    canvas.drawImage(picture, x, top - high, wide, high, mask="auto")
    return float(wide + GAP)


@lru_cache(maxsize=4)
def _read(logo: bytes) -> ImageReader:
    return ImageReader(io.BytesIO(logo))
