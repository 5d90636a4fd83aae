"""Limits as lines in a picture, with their words beside them.

A certificate shows one level of limits, and each carries its whole words. Where works limits are shown too, the
dash says whose limit it is, the key says what the dash means, and beside the line stands only its number.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from reportlab.pdfgen.canvas import Canvas

from limits.reading import FloatArray
from limits.verdict import Decision, Level
from reports import wording
from reports.frame import Frame, Pen, draw_label
from reports.look import ALARM, CHART_LABEL, CHART_TEXT
from reports.placing import FARTHEST, TOUCHING, Box, Place, Plot
from reports.record import Panel
from reports.typeface import Style, width

SHORTEST = 9.0
"""A limit narrower than this, even at a single frequency, is drawn as a tick of this length."""

NEIGHBOUR = 12.0
"""Bars closer than this in all directions share one name."""

_PENS = {Level.SPECIFICATION: Pen(ALARM, 1.3), Level.WORKS: Pen(ALARM, 1.0, (2.2, 1.2))}
_STYLES = {
    Level.SPECIFICATION: Style(CHART_LABEL.face, CHART_LABEL.size, CHART_LABEL.leading, ALARM),
    Level.WORKS: Style(CHART_TEXT.face, CHART_TEXT.size, CHART_TEXT.leading, ALARM),
}


@dataclass(frozen=True, slots=True)
class Bar:
    """A limit as it is drawn: its corners in points, its words, whose it is."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    limit: float
    """The least of its values, in the panel's unit."""

    text: str
    level: Level


def bars_of(frame: Frame, panel: Panel, decisions: Sequence[Decision]) -> list[Bar]:
    """The limits on the panel's traces that reach into its window, the widest first."""
    names = {trace.name for trace in panel.traces}
    with_works = any(decision.level is Level.WORKS for decision in decisions)
    bars: list[Bar] = []
    for decision in decisions:
        if decision.reading.trace not in names or decision.reading.unit != panel.unit:
            continue
        for line in decision.lines:
            text = wording.amount(line.words) if with_works else wording.limit(line.words)
            bar = _bar(frame, np.array(line.freq_hz), np.array(line.value), text, decision.level)
            if bar is not None:
                bars.append(bar)
    widest_first = sorted(bars, key=lambda bar: bar.x[0] - bar.x[-1])
    return [
        bar
        for index, bar in enumerate(widest_first)
        if not any(_covers(b, bar) for b in widest_first[:index])
    ]


def _covers(wide: Bar, narrow: Bar) -> bool:
    """Whether a flat limit is drawn anyway as part of a wider one with the same words, of the same level."""
    flat = set(narrow.y) == set(wide.y) and len(set(wide.y)) == 1
    within = wide.x[0] <= narrow.x[0] and narrow.x[-1] <= wide.x[-1]
    return flat and within and (wide.text, wide.level) == (narrow.text, narrow.level)


def _bar(frame: Frame, freq_hz: FloatArray, value: FloatArray, text: str, level: Level) -> Bar | None:
    """The limit inside the window; None where it lies wholly beside or above or below it."""
    low, high = frame.freq_hz
    if freq_hz[-1] < low or freq_hz[0] > high or value.max() < frame.value[0] or value.min() > frame.value[1]:
        return None
    ends = np.clip(freq_hz[[0, -1]], low, high)
    inside = (freq_hz > ends[0]) & (freq_hz < ends[1])
    corners = np.concatenate((ends[:1], freq_hz[inside], ends[1:]))
    heights = np.concatenate((value[:1], value[inside], value[-1:]))
    if freq_hz[0] < freq_hz[-1]:
        heights[[0, -1]] = np.interp(ends, freq_hz, value)
    x, y = frame.x(corners), frame.y(heights)
    if x[-1] - x[0] < SHORTEST:
        centre = float(x[0] + x[-1]) / 2
        x, y = (
            np.array([centre - SHORTEST / 2, centre + SHORTEST / 2]),
            np.array([y.mean(), y.mean()]),
        )
    return Bar(
        tuple(np.round(x, 2).tolist()), tuple(np.round(y, 2).tolist()), float(value.min()), text, level
    )


def draw_bar(canvas: Canvas, bar: Bar) -> None:
    """The line in the dress of its level, with a tick at each end."""
    _PENS[bar.level].take(canvas)
    canvas.setLineCap(0)
    path = canvas.beginPath()
    path.moveTo(bar.x[0], bar.y[0])
    for x, y in zip(bar.x[1:], bar.y[1:], strict=True):
        path.lineTo(x, y)
    canvas.drawPath(path, stroke=1, fill=0)
    canvas.setDash()
    canvas.setLineWidth(0.7)
    for x, y in ((bar.x[0], bar.y[0]), (bar.x[-1], bar.y[-1])):
        canvas.line(x, y - 2.0, x, y + 2.0)


def name_bars(canvas: Canvas, plot: Plot, bars: Sequence[Bar]) -> list[tuple[str, Pen]]:
    """Write the limits' words beside them; what is for the key comes back."""
    names = _names(bars)
    placed: list[tuple[_Name, Place]] = []
    named: set[tuple[str, Level]] = set()
    for name in names:
        style = _STYLES[name.level]
        # The same words say nothing new, so they are repeated only where there is room right beside the bar.
        reach = TOUCHING if (name.text, name.level) in named else FARTHEST
        place = plot.place_near(name.target, width(name.text, style), style.size, reach)
        if place is not None:
            placed.append((name, place))
            named.add((name.text, name.level))
    for _, place in placed:
        if place.leader is not None:
            canvas.setStrokeColor(ALARM)
            canvas.setLineWidth(0.35)
            canvas.line(*place.leader)
    for name, place in placed:
        draw_label(canvas, place.box, name.text, _STYLES[name.level])
    nameless = [(name.text, _PENS[name.level]) for name in names if (name.text, name.level) not in named]
    return [*_levels(bars), *dict.fromkeys(nameless)]


@dataclass(frozen=True, slots=True)
class _Name:
    """Words to be written, and what they stand beside."""

    target: Box
    text: str
    level: Level


def _names(bars: Sequence[Bar]) -> list[_Name]:
    """One name for neighbours of one level and sense, e.g. `at most 1.80 dB, 1.90 dB`, the smaller number first."""
    names: list[_Name] = []
    for bar in sorted(bars, key=lambda bar: bar.limit):
        box = Box(bar.x[0], min(bar.y), bar.x[-1], max(bar.y))
        amount = wording.amount(bar.text)
        sense = bar.text.removesuffix(amount)
        for index, name in enumerate(names):
            if name.level is bar.level and name.text.startswith(sense) and _close(name.target, box):
                names[index] = _joined(name, box, sense, amount)
                break
        else:
            names.append(_Name(box, bar.text, bar.level))
    return names


def _close(one: Box, other: Box) -> bool:
    apart = max(one.bottom - other.top, other.bottom - one.top)
    return (
        abs(one.left - other.left) < NEIGHBOUR
        and abs(one.right - other.right) < NEIGHBOUR
        and apart < NEIGHBOUR
    )


def _joined(name: _Name, box: Box, sense: str, amount: str) -> _Name:
    target = name.target.around(box)
    known = amount in name.text.removeprefix(sense).split(", ")
    return _Name(target, name.text if known else f"{name.text}, {amount}", name.level)


def _levels(bars: Sequence[Bar]) -> list[tuple[str, Pen]]:
    """What the dashes mean, where there is anything to be told apart from a specification."""
    drawn = {bar.level for bar in bars}
    return [(level.value, _PENS[level]) for level in Level if level in drawn] if Level.WORKS in drawn else []
