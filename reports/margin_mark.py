"""The margin of one reading, drawn small: its limit as an upright line, the reading as a dot, U as whiskers.

Every row is drawn to the scale of its own U, because that is what a decision weighs a margin by: dots at one
distance from the line are equally safe, whatever their unit. Where no U is known a margin has no such scale, and
none is drawn.
"""

from __future__ import annotations

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from limits.verdict import Decision
from reports.layout import Draw
from reports.look import FAINT, GREY, INK

WIDTH = 18.0 * mm
OUTSIDE, INSIDE = 2.0, 10.0
"""How far the scale reaches beyond the limit and inside it, in U."""

DOT = 1.35
TALL = 6.4


def margin_mark(decision: Decision) -> Draw | None:
    """Draws it into a cell `WIDTH` wide and about a line high; None where there is nothing to scale by."""
    u = decision.reading.u
    if decision.margin is None or not u:
        return None
    times = decision.margin / u

    def draw(canvas: Canvas, x: float, top: float) -> None:
        scale = WIDTH / (OUTSIDE + INSIDE)
        limit, middle = x + OUTSIDE * scale, top - TALL / 2
        canvas.setFillColor(FAINT)
        canvas.rect(limit, top - TALL, INSIDE * scale, TALL, stroke=0, fill=1)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.9)
        canvas.line(limit, top - TALL - 0.9, limit, top + 0.9)
        canvas.setStrokeColor(GREY)
        canvas.setLineWidth(0.7)
        canvas.setFillColor(INK)
        if times > INSIDE - 1.0:
            _arrow(canvas, x + WIDTH, middle)
            return
        place = limit + max(times, -OUTSIDE) * scale
        canvas.line(place - scale, middle, place + scale, middle)
        for end in (place - scale, place + scale):
            canvas.line(end, middle - 1.2, end, middle + 1.2)
        canvas.circle(place, middle, DOT, stroke=0, fill=1)

    return draw


def _arrow(canvas: Canvas, end: float, middle: float) -> None:
    """Farther inside than there is room for."""
    canvas.line(end - 9.0, middle, end - 4.0, middle)
    path = canvas.beginPath()
    path.moveTo(end - 1.2, middle)
    path.lineTo(end - 4.6, middle + 1.7)
    path.lineTo(end - 4.6, middle - 1.7)
    path.close()
    canvas.drawPath(path, stroke=0, fill=1)
