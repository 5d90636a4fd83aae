"""The drawing of sweeps and their limits, as vector paths into a rectangle of a page.

Losses grow downward, as the trade draws them; any other unit grows upward. Traces and limits carry their
names beside them; a name that finds no free place stands in the key under the picture. Where names go is
found by `placing`; nothing here measures, judges or knows a page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from reportlab.lib.colors import Color
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from limits.reading import FloatArray
from limits.verdict import Decision, Level
from reports import wording
from reports.layout import say
from reports.look import (
    ALARM,
    CHART_LABEL,
    CHART_TEXT,
    CHART_TITLE,
    FAINT,
    GREY,
    INK,
    PALE,
    PAPER,
)
from reports.placing import FARTHEST, TOUCHING, Box, Place, Plot
from reports.record import Panel, Trace
from reports.sampling import decimated, thinned, ticks
from reports.typeface import Style, colour, fitted, width

COLUMN_WIDTH = 0.7
"""Each column of this width keeps the least and the greatest of its points, so that no peak is lost."""

AXIS_WIDTH = 19.0
HEAD = 21.0
FEET = 17.0
SHORTEST_LIMIT = 9.0
"""A limit narrower than this, even at a single frequency, is drawn as a tick of this length."""


@dataclass(frozen=True, slots=True)
class Channel:
    """A frequency to be marked in every picture whose window holds it."""

    name: str
    freq_hz: float


@dataclass(frozen=True, slots=True)
class _Pen:
    """How a trace is drawn; told apart by weight and dash where there is no colour."""

    colour: Color
    weight: float
    dash: tuple[float, ...] = ()


_PENS = (
    _Pen(colour("0d4553"), 1.15),
    _Pen(colour("bf5b1c"), 0.95, (4.2, 1.5)),
    _Pen(colour("4a4f8f"), 0.95, (1.4, 1.3)),
    _Pen(colour("5d7f35"), 1.0, (6.0, 1.4, 1.4, 1.4)),
)

_BAR_PENS = {Level.SPECIFICATION: _Pen(ALARM, 1.3), Level.WORKS: _Pen(ALARM, 1.0, (2.2, 1.2))}


@dataclass(frozen=True, slots=True)
class _Frame:
    """The rectangle of the plot itself and what its edges stand for."""

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


@dataclass(frozen=True, slots=True)
class _Bar:
    """A limit as it is drawn: its corners in points, its words, whose it is."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    text: str
    level: Level


def draw_panel(
    canvas: Canvas,
    panel: Panel,
    area: tuple[float, float, float, float],
    decisions: Sequence[Decision] = (),
    channels: Sequence[Channel] = (),
) -> None:
    """Draw one picture into `area` (left, bottom, width, height, in points).

    Of the decisions those are drawn whose reading came from a trace of this panel. Limits of more than one
    level are told apart by their words and by dashes.
    """
    frame = _frame(panel, area)
    plot = Plot(Box(frame.left, frame.bottom, frame.right, frame.top))
    say(
        canvas,
        area[0],
        area[1] + area[3] - CHART_TITLE.size,
        fitted(panel.title, CHART_TITLE, area[2]),
        CHART_TITLE,
    )
    _grid(canvas, frame, panel.unit)
    _channels(canvas, frame, channels)
    lines = [_vertices(frame, trace) for trace in panel.traces]
    pens = _pens(panel.traces)
    for (x, y), pen in zip(lines, pens, strict=True):
        _stroke(canvas, frame, x, y, pen)
        plot.add_line(x, y)
    bars = _bars(frame, panel, decisions)
    for bar in bars:
        _draw_bar(canvas, bar)
        plot.add_line(np.array(bar.x), np.array(bar.y))
    key = _name_bars(canvas, plot, bars) + _name_traces(canvas, plot, panel.traces, lines, pens)
    _key(canvas, frame, area[1], key)


def shows(panel: Panel, decision: Decision) -> bool:
    """Whether a limit can be seen in a panel: it belongs to one of its traces and lies inside its window."""
    (low_hz, high_hz), (lowest, highest) = panel.freq_hz, panel.value
    return decision.reading.trace in {trace.name for trace in panel.traces} and any(
        line.freq_hz[0] <= high_hz
        and line.freq_hz[-1] >= low_hz
        and min(line.value) <= highest
        and max(line.value) >= lowest
        for line in decision.lines
    )


def _frame(panel: Panel, area: tuple[float, float, float, float]) -> _Frame:
    left, bottom, full_width, full_height = area
    return _Frame(
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


def _grid(canvas: Canvas, frame: _Frame, unit: str) -> None:
    canvas.setLineWidth(0.35)
    canvas.setStrokeColor(FAINT)
    values, decimals = ticks(*frame.value, most=max(2, int(frame.height / 15.0)))
    for value in values.tolist():
        y = frame.at(frame.freq_hz[0], value)[1]
        canvas.line(frame.left, y, frame.right, y)
        _right(canvas, frame.left - 3.5, y - 2.2, wording.number(value, decimals), CHART_TEXT)
    _right(canvas, frame.left - 3.5, frame.top + 5.5, unit, CHART_TEXT)
    _frequency_ticks(canvas, frame)
    canvas.setStrokeColor(PALE)
    canvas.setLineWidth(0.5)
    canvas.rect(frame.left, frame.bottom, frame.width, frame.height, stroke=1, fill=0)


def _frequency_ticks(canvas: Canvas, frame: _Frame) -> None:
    low, high = (freq_hz / 1e6 for freq_hz in frame.freq_hz)
    for most in range(9, 0, -1):
        marks, decimals = ticks(low, high, most)
        texts = [wording.number(mark, decimals) for mark in marks.tolist()]
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


def _channels(canvas: Canvas, frame: _Frame, channels: Sequence[Channel]) -> None:
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


def _triangle(canvas: Canvas, x: float, y: float) -> None:
    path = canvas.beginPath()
    path.moveTo(x, y)
    path.lineTo(x - 1.7, y + 3.0)
    path.lineTo(x + 1.7, y + 3.0)
    path.close()
    canvas.setFillColor(INK)
    canvas.drawPath(path, stroke=0, fill=1)


def _vertices(frame: _Frame, trace: Trace) -> tuple[FloatArray, FloatArray]:
    low, high = frame.freq_hz
    first = max(int(np.searchsorted(trace.freq_hz, low, side="left")) - 1, 0)
    last = int(np.searchsorted(trace.freq_hz, high, side="right")) + 1
    freq_hz, value = trace.freq_hz[first:last], trace.value[first:last]
    known = np.isfinite(value)
    x, y = decimated(frame.x(freq_hz[known]), frame.y(value[known]), int(frame.width / COLUMN_WIDTH))
    return thinned(x, np.clip(y, frame.bottom - frame.height, frame.top + frame.height))


def _stroke(canvas: Canvas, frame: _Frame, x: FloatArray, y: FloatArray, pen: _Pen) -> None:
    if len(x) < 2:
        return
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(frame.left, frame.bottom, frame.width, frame.height)
    canvas.clipPath(clip, stroke=0, fill=0)
    canvas.setStrokeColor(pen.colour)
    canvas.setLineWidth(pen.weight)
    canvas.setLineJoin(1)
    if pen.dash:
        canvas.setDash(list(pen.dash))
    # Written by hand: the path object's own lineTo takes four times as long for these thousands of points.
    points = [f"{px:.2f} {py:.2f} l" for px, py in zip(x.tolist(), y.tolist(), strict=True)]
    canvas.drawPath(PDFPathObject(code=["n", f"{points[0][:-1]}m", *points[1:]]), stroke=1, fill=0)
    canvas.restoreState()


def _bars(frame: _Frame, panel: Panel, decisions: Sequence[Decision]) -> list[_Bar]:
    names = {trace.name for trace in panel.traces}
    several = len({decision.level for decision in decisions}) > 1
    bars: list[_Bar] = []
    for decision in decisions:
        if decision.reading.trace not in names or decision.reading.unit != panel.unit:
            continue
        for line in decision.lines:
            words = wording.limit(line.words)
            text = f"{decision.level.value}: {words}" if several else words
            bar = _bar(frame, np.array(line.freq_hz), np.array(line.value), text, decision.level)
            if bar is not None:
                bars.append(bar)
    widest_first = sorted(bars, key=lambda bar: bar.x[0] - bar.x[-1])
    return [
        bar
        for index, bar in enumerate(widest_first)
        if not any(_covers(b, bar) for b in widest_first[:index])
    ]


def _covers(wide: _Bar, narrow: _Bar) -> bool:
    """Whether a level limit is drawn anyway as part of a wider one with the same words."""
    level_line = set(narrow.y) == set(wide.y) and len(set(wide.y)) == 1
    within = wide.x[0] <= narrow.x[0] and narrow.x[-1] <= wide.x[-1]
    return level_line and within and wide.text == narrow.text


def _bar(frame: _Frame, freq_hz: FloatArray, value: FloatArray, text: str, level: Level) -> _Bar | None:
    """The limit inside the window; None where it lies wholly beside or above or below it."""
    low, high = frame.freq_hz
    if freq_hz[-1] < low or freq_hz[0] > high or value.max() < frame.value[0] or value.min() > frame.value[1]:
        return None
    inside = (freq_hz > low) & (freq_hz < high)
    ends = np.clip(freq_hz[[0, -1]], low, high)
    corners = np.concatenate((ends[:1], freq_hz[inside], ends[1:]))
    heights = np.concatenate((value[:1], value[inside], value[-1:]))
    if freq_hz[0] < freq_hz[-1]:
        heights[[0, -1]] = np.interp(ends, freq_hz, value)
    x, y = frame.x(corners), frame.y(heights)
    if x[-1] - x[0] < SHORTEST_LIMIT:
        centre = float(x[0] + x[-1]) / 2
        x, y = (
            np.array([centre - SHORTEST_LIMIT / 2, centre + SHORTEST_LIMIT / 2]),
            np.array([y.mean(), y.mean()]),
        )
    return _Bar(tuple(np.round(x, 2).tolist()), tuple(np.round(y, 2).tolist()), text, level)


def _draw_bar(canvas: Canvas, bar: _Bar) -> None:
    pen = _BAR_PENS[bar.level]
    canvas.setStrokeColor(pen.colour)
    canvas.setLineWidth(pen.weight)
    canvas.setLineCap(0)
    if pen.dash:
        canvas.setDash(list(pen.dash))
    path = canvas.beginPath()
    path.moveTo(bar.x[0], bar.y[0])
    for x, y in zip(bar.x[1:], bar.y[1:], strict=True):
        path.lineTo(x, y)
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash()
    canvas.setLineWidth(0.7)
    for x, y in ((bar.x[0], bar.y[0]), (bar.x[-1], bar.y[-1])):
        canvas.line(x, y - 2.0, x, y + 2.0)


def _name_bars(canvas: Canvas, plot: Plot, bars: Sequence[_Bar]) -> list[tuple[str, _Pen]]:
    """Write each limit's words beside it; what found no place comes back for the key."""
    style = Style(CHART_LABEL.face, CHART_LABEL.size, CHART_LABEL.leading, ALARM)
    places: list[tuple[str, Place]] = []
    named: set[str] = set()
    for bar in bars:
        target = Box(bar.x[0], min(bar.y), bar.x[-1], max(bar.y))
        # The same words say nothing new, so they are repeated only where there is room right beside the bar.
        repeated = bar.text in named
        place = plot.place_near(
            target, width(bar.text, style), style.size, TOUCHING if repeated else FARTHEST
        )
        if place is not None:
            places.append((bar.text, place))
            named.add(bar.text)
    for _, place in places:
        if place.leader is not None:
            canvas.setStrokeColor(ALARM)
            canvas.setLineWidth(0.35)
            canvas.line(*place.leader)
    for text, place in places:
        _label(canvas, place.box, text, style)
    return list(dict.fromkeys((bar.text, _BAR_PENS[bar.level]) for bar in bars if bar.text not in named))


def _name_traces(
    canvas: Canvas,
    plot: Plot,
    traces: Sequence[Trace],
    lines: Sequence[tuple[FloatArray, FloatArray]],
    pens: Sequence[_Pen],
) -> list[tuple[str, _Pen]]:
    """Write each trace's title along it; what found no place comes back for the key."""
    homeless: list[tuple[str, _Pen]] = []
    for index, (trace, pen) in enumerate(zip(traces, pens, strict=True)):
        style = Style(CHART_LABEL.face, CHART_LABEL.size, CHART_LABEL.leading, pen.colour)
        box = plot.place_along(*lines[index], width(trace.title, style), style.size)
        if box is None:
            homeless.append((trace.title, pen))
        else:
            _label(canvas, box, trace.title, style)
    return homeless


def _label(canvas: Canvas, box: Box, text: str, style: Style) -> None:
    canvas.setFillColor(PAPER)
    canvas.rect(box.left - 0.8, box.bottom - 0.6, box.width + 1.6, box.height + 0.4, stroke=0, fill=1)
    say(canvas, box.left, box.bottom + 0.18 * style.size, text, style)


def _key(canvas: Canvas, frame: _Frame, y: float, entries: Sequence[tuple[str, _Pen]]) -> None:
    x = frame.left
    for text, pen in entries:
        canvas.setStrokeColor(pen.colour)
        canvas.setLineWidth(pen.weight)
        if pen.dash:
            canvas.setDash(list(pen.dash))
        canvas.line(x, y + 2.2, x + 13.0, y + 2.2)
        canvas.setDash()
        shown = fitted(text, CHART_TEXT, max(frame.right - x - 16.0, 8.0))
        say(canvas, x + 16.0, y, shown, CHART_TEXT)
        x += 16.0 + width(shown, CHART_TEXT) + 8.0


def _right(canvas: Canvas, x: float, y: float, text: str, style: Style) -> None:
    say(canvas, x - width(text, style), y, text, style)


def _pens(traces: Sequence[Trace]) -> list[_Pen]:
    """One pen for each title: two traces of one title are parts of one thing."""
    titles = list(dict.fromkeys(trace.title for trace in traces))
    return [_PENS[titles.index(trace.title) % len(_PENS)] for trace in traces]
