"""The dress of everything printed: colours, styles, measures of the page. Restraint is the rule.

One ink, one grey, and one accent that a works may choose (`Dress`). Whatever colour says is said by weight, dash or
word as well, so that a copy in black and white loses nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from reportlab.lib.colors import Color
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm

from reports.house import House, Paper
from reports.layout import TableLook
from reports.typeface import LIGHT, REGULAR, SEMIBOLD, Style, colour

TEXT_WIDTH = A4[0] - 36.0 * mm
"""On any paper; a wider one has wider margins."""

FOOT = 19.0 * mm
"""What the foot of each page takes, from the edge of the paper."""

INK = colour("182227")
GREY = colour("5c6970")
PALE = colour("cdd4d7")
FAINT = colour("e9edee")
ALARM = colour("8f1d14")
PAPER = colour("ffffff")

TITLE = Style(LIGHT, 27.0, 31.0, INK)
SMALL = Style(REGULAR, 7.3, 9.4, GREY)
LABEL = Style(REGULAR, 7.3, 9.6, GREY)
FACT = Style(REGULAR, 9.6, 12.4, INK)
FACT_STRONG = Style(SEMIBOLD, 9.6, 12.4, INK)
BODY = Style(REGULAR, 9.0, 12.0, INK)
FINE = Style(REGULAR, 7.6, 10.0, INK)
FINE_STRONG = Style(SEMIBOLD, 7.6, 10.0, INK)
CELL = Style(REGULAR, 8.2, 10.2, INK)
CELL_STRONG = Style(SEMIBOLD, 8.2, 10.2, INK)
CELL_GREY = Style(REGULAR, 8.2, 10.2, GREY)
CELL_ALARM = Style(SEMIBOLD, 8.2, 10.2, ALARM)
CHART_TITLE = Style(SEMIBOLD, 8.2, 10.0, INK)
CHART_TEXT = Style(REGULAR, 6.6, 8.0, GREY)
CHART_LABEL = Style(SEMIBOLD, 6.6, 8.0, INK)

RESULTS = TableLook(head=SMALL, cell=CELL, rule=PALE, strong_rule=INK)
MEANS = TableLook(head=SMALL, cell=FINE, rule=FAINT, strong_rule=PALE)

BAND_STRONG = Style(SEMIBOLD, 17.0, 20.0, PAPER)
BAND_PLAIN = Style(REGULAR, 11.0, 13.0, PAPER)
MARGIN_WORDS = Style(SEMIBOLD, 20.0, 24.0, GREY)


@dataclass(frozen=True, slots=True)
class Dress:
    """What depends on the house style."""

    accent: Color
    letterhead: Style
    verdict: Style
    heading: Style
    size: tuple[float, float]
    """Of the paper, in points."""

    @property
    def left(self) -> float:
        """Where text begins."""
        return float(self.size[0] - TEXT_WIDTH) / 2


@cache
def dress_of(house: House) -> Dress:
    """The dress of a works' paper."""
    accent = colour(house.accent)
    return Dress(
        accent=accent,
        letterhead=Style(SEMIBOLD, 11.5, 14.0, accent),
        verdict=Style(SEMIBOLD, 13.0, 16.5, accent),
        heading=Style(SEMIBOLD, 10.2, 13.0, accent),
        size=LETTER if house.paper is Paper.LETTER else A4,
    )
