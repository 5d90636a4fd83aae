"""The square code on a certificate (QR code, ISO/IEC 18004), drawn as one path: which certificate, and its digest.

It carries the digest of the twin and not of the PDF, which cannot hold its own. Plain lines of text and no address,
so that any reader shows what is meant and nothing is opened.
"""

from __future__ import annotations

import segno
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from reports.layout import Block
from reports.look import INK

QUIET = 4
"""Modules that stay white around it (ISO/IEC 18004, 5.3.8 in the 2015 edition; from memory)."""


MASK = 2
"""One of the eight that the standard knows; a reader finds in the code which it is. The standard has all eight scored
for the calmest; that took a fifth of what a whole certificate takes, and decoders read this one as well."""


def code_text(number: str, serial: str, digest: str) -> str:
    """What the code says."""
    return f"certificate {number}\nserial {serial}\nsha256 {digest}"


def code(text: str, side: float) -> Block:
    """The code with its quiet zone, `side` points wide and high."""
    rows = [
        bytes(row) for row in segno.make(text, error="m", micro=False, boost_error=False, mask=MASK).matrix
    ]
    module = side / (len(rows) + 2 * QUIET)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.setFillColor(INK)
        strokes = ["n"]
        for line, row in enumerate(rows):
            y = top - (QUIET + line + 1) * module
            for begin, end in _dark(row):
                left, wide = x + (QUIET + begin) * module, (end - begin) * module
                strokes.append(f"{left:.3f} {y:.3f} {wide:.3f} {module:.3f} re")
        canvas.drawPath(PDFPathObject(code=strokes), stroke=0, fill=1)

    return Block(side, draw)


def _dark(row: bytes) -> list[tuple[int, int]]:
    """Begin and end of each run of dark modules; drawn apart they would show seams."""
    edges = [
        place for place, (one, other) in enumerate(zip(b"\0" + row, row + b"\0", strict=True)) if one != other
    ]
    return list(zip(edges[::2], edges[1::2], strict=True))
