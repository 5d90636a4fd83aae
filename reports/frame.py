"""The frame of a picture: its rectangle on the page, what its edges stand for, grid, scales and channel marks.

Losses grow downward, as the trade draws them; any other unit grows upward. What is drawn inside a frame is the
business of `charts` and `limit_lines`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas

from limits.reading import FloatArray
from reports import wording
from reports.layout import say
from reports.look import CHART_LABEL, CHART_TEXT, FAINT, GREY, INK, PALE, PAPER
from reports.placing import Box
from reports.record import Panel
from reports.sampling import ticks
from reports.typeface import Style, width

AXIS_WIDTH = 19.0
HEAD = 21.0
FEET = 17.0

Numerals = Callable[[str], str]
"""From a printed number to what a language makes of it."""


@dataclass(frozen=True, slots=True)
class Channel:
    """A frequency to be marked in every picture whose window holds it."""

    name: str
    freq_hz: float


@dataclass(frozen=True, slots=True)
class Pen:
    """How a line is drawn; told apart by weight and dash where there is no colour."""

    colour: Color
    weight: float
    dash: tuple[float, ...] = ()

    def take(self, canvas: Canvas) -> None:
        """Draw with it from now on."""
        canvas.setStrokeColor(self.colour)
        canvas.setLineWidth(self.weight)
        canvas.setDash(list(self.dash))


@dataclass(frozen=True, slots=True)
class Frame:
    """The rectangle of the plot itself and what its edges stand for; lengths are points."""

    left: float
    bottom: float
    width: float
    height: float
    freq_hz: tuple[float, float]
    value: tuple[float, float]
    downward: bool

    def x(self, freq_hz: FloatArray) -> FloatArray:
        low, high = self.freq_hz
        return self.left + (freq_hz - low) * (self.width / (high - low))

    def y(self, value: FloatArray) -> FloatArray:
        low, high = self.value
        share = (value - low) / (high - low)
        return self.bottom + self.height * (1.0 - share if self.downward else share)

    def at(self, freq_hz: float, value: float) -> tuple[float, float]:
        return float(self.x(np.array([freq_hz]))[0]), float(self.y(np.array([value]))[0])

    @property
    def top(self) -> float:
        return self.bottom + self.height

    @property
    def right(self) -> float:
        return self.left + self.width


def frame_of(panel: Panel, area: tuple[float, float, float, float]) -> Frame:
    """The frame of a panel in `area` (left, bottom, width, height), with room for title, scales and key."""
    left, bottom, full_width, full_height = area
    return Frame(
        left=left + AXIS_WIDTH,
        bottom=bottom + FEET,
        width=full_width - AXIS_WIDTH - 3.0,
        height=full_height - HEAD - FEET,
        freq_hz=_opened(panel.freq_hz),
        value=_opened(panel.value),
        downward=panel.unit == "dB",
    )


def _opened(window: tuple[float, float]) -> tuple[float, float]:
    """A window of some width, even where a record gives none."""
    low, high = window
    return (low, high) if high > low else (low - 0.5, low + 0.5)


def draw_grid(canvas: Canvas, frame: Frame, unit: str, numerals: Numerals = str) -> None:
    """Scales with round numbers, and the frame itself; `numerals` writes a number the language's way."""
    canvas.setLineWidth(0.35)
    canvas.setStrokeColor(FAINT)
    values, decimals = ticks(*frame.value, most=max(2, int(frame.height / 15.0)))
    for value in values.tolist():
        y = frame.at(frame.freq_hz[0], value)[1]
        canvas.line(frame.left, y, frame.right, y)
        _right(canvas, frame.left - 3.5, y - 2.2, numerals(wording.number(value, decimals)), CHART_TEXT)
    _right(canvas, frame.left - 3.5, frame.top + 5.5, unit, CHART_TEXT)
    _frequency_ticks(canvas, frame, numerals)
    canvas.setStrokeColor(PALE)
    canvas.setLineWidth(0.5)
    canvas.rect(frame.left, frame.bottom, frame.width, frame.height, stroke=1, fill=0)


def _frequency_ticks(canvas: Canvas, frame: Frame, numerals: Numerals) -> None:
    low, high = (freq_hz / 1e6 for freq_hz in frame.freq_hz)
    for most in range(9, 0, -1):
        marks, decimals = ticks(low, high, most)
        texts = [numerals(wording.number(mark, decimals)) for mark in marks.tolist()]
        room = frame.width / max(len(texts), 1)
        if max((width(text, CHART_TEXT) for text in texts), default=0.0) + 9.0 < room:
            break
    end = frame.right
    unit_left = end - width("MHz", CHART_TEXT)
    for mark, text in zip(marks.tolist(), texts, strict=True):
        x = frame.at(mark * 1e6, frame.value[0])[0]
        canvas.line(x, frame.bottom, x, frame.top)
        half = width(text, CHART_TEXT) / 2
        if x + half < unit_left - 4.0 and (x - half >= frame.left - 1.0 or len(texts) < 3):
            say(canvas, x - half, frame.bottom - 8.2, text, CHART_TEXT)
    say(canvas, unit_left, frame.bottom - 8.2, "MHz", CHART_TEXT)


def draw_channels(canvas: Canvas, frame: Frame, channels: Sequence[Channel]) -> None:
    """A dotted line and a name for each channel inside the window."""
    low, high = frame.freq_hz
    shown = sorted((c for c in channels if low <= c.freq_hz <= high), key=lambda channel: channel.freq_hz)
    places = [frame.at(channel.freq_hz, frame.value[0])[0] for channel in shown]
    canvas.setLineWidth(0.5)
    for index, (channel, x) in enumerate(zip(shown, places, strict=True)):
        canvas.setStrokeColor(GREY)
        canvas.setDash(1.0, 1.8)
        canvas.line(x, frame.bottom, x, frame.top)
        canvas.setDash()
        _triangle(canvas, x, frame.top + 0.8)
        room = width(channel.name, CHART_LABEL)
        crowded = len(places) > 1 and places[1] - places[0] < 1.3 * room
        shift = -room / 2 if not crowded else (-room - 1.0 if index == 0 else 1.0)
        start = min(max(x + shift, frame.left), frame.right - room)
        say(canvas, start, frame.top + 5.5, channel.name, CHART_LABEL)


def draw_label(canvas: Canvas, box: Box, text: str, style: Style) -> None:
    """A name inside the picture, on paper of its own."""
    canvas.setFillColor(PAPER)
    canvas.rect(box.left - 0.8, box.bottom - 0.6, box.width + 1.6, box.height + 0.4, stroke=0, fill=1)
    say(canvas, box.left, box.bottom + 0.18 * style.size, text, style)


def _triangle(canvas: Canvas, x: float, y: float) -> None:
    path = canvas.beginPath()
    path.moveTo(x, y)
    path.lineTo(x - 1.7, y + 3.0)
    path.lineTo(x + 1.7, y + 3.0)
    path.close()
    canvas.setFillColor(INK)
    canvas.drawPath(path, stroke=0, fill=1)


def _right(canvas: Canvas, x: float, y: float, text: str, style: Style) -> None:
    say(canvas, x - width(text, style), y, text, style)
