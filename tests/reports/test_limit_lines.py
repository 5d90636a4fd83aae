"""Limits become bars in a picture; neighbours share a name, and what is drawn anyway is not drawn twice."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.verdict import Decision, Level, LimitLine, Outcome
from reports.frame import frame_of
from reports.limit_lines import Bar, bars_of, name_bars
from reports.placing import Box, Plot
from reports.record import Panel, Trace
from reports.typeface import install

F = np.array([150e6, 160e6])
PANEL = Panel("Loss", "dB", (Trace("t", "T", F, np.array([1.0, 1.0])),), (150e6, 160e6), (0.0, 10.0))
FRAME = frame_of(PANEL, (0.0, 0.0, 219.0 + 3.0, 238.0))


def limit(low_hz: float, high_hz: float, *value: float, words: str = "at most 2 dB") -> Decision:
    reading = Reading("loss", "Loss", "dB", 1.0, trace="t")
    ends = value if len(value) == 2 else value * 2
    line = LimitLine((low_hz, high_hz), (ends[0], ends[1]), words)
    return Decision(reading, Level.SPECIFICATION, words, "simple acceptance", Outcome.PASS, 1.0, (line,))


def words_in_key(*bars: Bar) -> list[str]:
    """The names of bars in a plot that has no room for any of them."""
    install()
    return [text for text, _ in name_bars(Canvas("unused.pdf"), Plot(Box(0.0, 0.0, 4.0, 4.0)), bars)]


def test_a_sloping_limit_is_cut_at_the_edge_of_the_window() -> None:
    (bar,) = bars_of(FRAME, PANEL, [limit(145e6, 155e6, 0.0, 4.0)])
    assert bar.x == pytest.approx((FRAME.left, FRAME.left + FRAME.width / 2), abs=0.01)
    assert bar.y == pytest.approx((FRAME.at(150e6, 2.0)[1], FRAME.at(155e6, 4.0)[1]), abs=0.01)


def test_a_limit_that_a_wider_one_draws_anyway_is_left_out() -> None:
    wide, narrow = limit(151e6, 159e6, 2.0), limit(154e6, 156e6, 2.0)
    assert len(bars_of(FRAME, PANEL, [narrow, wide])) == 1
    assert len(bars_of(FRAME, PANEL, [limit(154e6, 156e6, 3.0), wide])) == 2
    assert len(bars_of(FRAME, PANEL, [replace(narrow, level=Level.WORKS), wide])) == 2


def test_neighbours_of_one_level_and_sense_share_a_name() -> None:
    near = [
        limit(155e6, 155e6, 1.9, words="at most 1.90 dB"),
        limit(155e6, 155.1e6, 1.8, words="at most 1.80 dB"),
    ]
    assert words_in_key(*bars_of(FRAME, PANEL, near)) == ["at most 1.80\u202fdB, 1.90\u202fdB"]


@pytest.mark.parametrize(
    "other",
    [
        limit(158e6, 158e6, 1.9, words="at most 1.90 dB"),
        limit(155e6, 155e6, 9.0, words="at most 9 dB"),
        limit(155e6, 155e6, 1.7, words="at least 1.70 dB"),
    ],
    ids=["beside it", "below it", "of the other sense"],
)
def test_what_is_no_neighbour_has_a_name_of_its_own(other: Decision) -> None:
    bars = bars_of(FRAME, PANEL, [limit(155e6, 155e6, 1.8, words="at most 1.80 dB"), other])
    assert len(words_in_key(*bars)) == 2
