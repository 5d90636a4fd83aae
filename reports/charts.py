"""The drawing of sweeps and their limits, as vector paths into a rectangle of a page.

Traces and limits carry their names beside them; a name that finds no free place stands in the key under the
picture. Where names go is found by `placing`; nothing here measures, judges or knows a page.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from limits.reading import FloatArray
from limits.verdict import Decision
from reports.frame import Channel, Frame, Numerals, Pen, draw_channels, draw_grid, draw_label, frame_of
from reports.layout import say
from reports.limit_lines import bars_of, draw_bar, name_bars
from reports.look import CHART_LABEL, CHART_TEXT, CHART_TITLE
from reports.placing import Box, Plot
from reports.record import Panel, Trace
from reports.sampling import decimated, thinned
from reports.typeface import Style, colour, fitted, width

COLUMN_WIDTH = 0.7
"""Each column of this width keeps the least and the greatest of its points, so that no peak is lost."""

_PENS = (
    Pen(colour("0d4553"), 1.15),
    Pen(colour("bf5b1c"), 0.95, (4.2, 1.5)),
    Pen(colour("4a4f8f"), 1.1, (1.7, 1.2)),
    Pen(colour("5d7f35"), 1.0, (6.0, 1.4, 1.4, 1.4)),
)


def draw_panel(
    canvas: Canvas,
    panel: Panel,
    area: tuple[float, float, float, float],
    decisions: Sequence[Decision] = (),
    channels: Sequence[Channel] = (),
    numerals: Numerals = str,
) -> None:
    """Draw one picture into `area` (left, bottom, width, height, in points).

    Of the decisions those are drawn whose reading came from a trace of this panel.
    """
    frame = frame_of(panel, area)
    plot = Plot(Box(frame.left, frame.bottom, frame.right, frame.top))
    say(
        canvas,
        area[0],
        area[1] + area[3] - CHART_TITLE.size,
        fitted(panel.title, CHART_TITLE, area[2]),
        CHART_TITLE,
    )
    draw_grid(canvas, frame, panel.unit, numerals)
    draw_channels(canvas, frame, channels)
    lines = [_vertices(frame, trace) for trace in panel.traces]
    pens = _pens(panel.traces)
    for (x, y), pen in zip(lines, pens, strict=True):
        _stroke(canvas, frame, x, y, pen)
        plot.add_line(x, y)
    bars = bars_of(frame, panel, decisions)
    for bar in bars:
        draw_bar(canvas, bar)
        plot.add_line(np.array(bar.x), np.array(bar.y))
    limits = name_bars(canvas, plot, bars)
    # A trace's name across a channel's line, under the channel's name, would read as a name of the channel.
    for channel in channels:
        place = frame.at(channel.freq_hz, frame.value[0])[0]
        plot.add_line(np.array([place, place]), np.array([frame.bottom, frame.top]))
    _key(canvas, frame, area[1], limits + _name_traces(canvas, plot, panel.traces, lines, pens))


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


def _vertices(frame: Frame, trace: Trace) -> tuple[FloatArray, FloatArray]:
    low, high = frame.freq_hz
    first = max(int(np.searchsorted(trace.freq_hz, low, side="left")) - 1, 0)
    last = int(np.searchsorted(trace.freq_hz, high, side="right")) + 1
    freq_hz, value = trace.freq_hz[first:last], trace.value[first:last]
    known = np.isfinite(value)
    x, y = decimated(frame.x(freq_hz[known]), frame.y(value[known]), int(frame.width / COLUMN_WIDTH))
    return thinned(x, np.clip(y, frame.bottom - frame.height, frame.top + frame.height))


def _stroke(canvas: Canvas, frame: Frame, x: FloatArray, y: FloatArray, pen: Pen) -> None:
    if len(x) < 2:
        return
    canvas.saveState()
    clip = canvas.beginPath()
    clip.rect(frame.left, frame.bottom, frame.width, frame.height)
    canvas.clipPath(clip, stroke=0, fill=0)
    pen.take(canvas)
    canvas.setLineJoin(1)
    # Written by hand: the path object's own lineTo takes four times as long for these thousands of points.
    points = [f"{px:.2f} {py:.2f} l" for px, py in zip(x.tolist(), y.tolist(), strict=True)]
    canvas.drawPath(PDFPathObject(code=["n", f"{points[0][:-1]}m", *points[1:]]), stroke=1, fill=0)
    canvas.restoreState()


def _name_traces(
    canvas: Canvas,
    plot: Plot,
    traces: Sequence[Trace],
    lines: Sequence[tuple[FloatArray, FloatArray]],
    pens: Sequence[Pen],
) -> list[tuple[str, Pen]]:
    """Write each title once, along the first of its traces that has a place for it; the others are for the key."""
    named: set[str] = set()
    for trace, line, pen in zip(traces, lines, pens, strict=True):
        if trace.title in named:
            continue
        style = Style(CHART_LABEL.face, CHART_LABEL.size, CHART_LABEL.leading, pen.colour)
        box = plot.place_along(*line, width(trace.title, style), style.size)
        if box is not None:
            draw_label(canvas, box, trace.title, style)
            named.add(trace.title)
    entries = ((trace.title, pen) for trace, pen in zip(traces, pens, strict=True))
    return list(dict.fromkeys(entry for entry in entries if entry[0] not in named))


def _key(canvas: Canvas, frame: Frame, y: float, entries: Sequence[tuple[str, Pen]]) -> None:
    x = frame.left
    for text, pen in entries:
        pen.take(canvas)
        canvas.line(x, y + 2.2, x + 13.0, y + 2.2)
        canvas.setDash()
        shown = fitted(text, CHART_TEXT, max(frame.right - x - 16.0, 8.0))
        say(canvas, x + 16.0, y, shown, CHART_TEXT)
        x += 16.0 + width(shown, CHART_TEXT) + 8.0


def _pens(traces: Sequence[Trace]) -> list[Pen]:
    """One pen for each title: two traces of one title are parts of one thing."""
    titles = list(dict.fromkeys(trace.title for trace in traces))
    return [_PENS[titles.index(trace.title) % len(_PENS)] for trace in traces]
