"""The dress of everything printed: colours, styles, measures of the page. Restraint is the rule.

One ink, one grey, one accent. Whatever colour says is said by weight, dash or word as well, so that a copy
in black and white loses nothing.
"""

from __future__ import annotations

from reportlab.lib.pagesizes import A4
from reportlab.lib.units import mm

from reports.layout import TableLook
from reports.typeface import LIGHT, REGULAR, SEMIBOLD, Style, colour

PAGE_WIDTH, PAGE_HEIGHT = A4
MARGIN = 18.0 * mm
TEXT_WIDTH = PAGE_WIDTH - 2 * MARGIN
FOOT = 19.0 * mm
"""What the foot of each page takes, from the edge of the paper."""

INK = colour("182227")
GREY = colour("5c6970")
PALE = colour("cdd4d7")
FAINT = colour("e9edee")
ACCENT = colour("0d4553")
ALARM = colour("8f1d14")
PAPER = colour("ffffff")

TITLE = Style(LIGHT, 27.0, 31.0, INK)
LETTERHEAD = Style(SEMIBOLD, 11.5, 14.0, ACCENT)
SMALL = Style(REGULAR, 7.3, 9.4, GREY)
LABEL = Style(REGULAR, 7.3, 9.6, GREY)
FACT = Style(REGULAR, 9.6, 12.4, INK)
FACT_STRONG = Style(SEMIBOLD, 9.6, 12.4, INK)
VERDICT = Style(SEMIBOLD, 13.0, 16.5, ACCENT)
BODY = Style(REGULAR, 9.0, 12.0, INK)
HEADING = Style(SEMIBOLD, 10.2, 13.0, ACCENT)
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
