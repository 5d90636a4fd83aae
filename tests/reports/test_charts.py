"""What is drawn of sweeps and their limits."""

from __future__ import annotations

import io
import itertools
import re
from dataclasses import replace

import numpy as np
import pytest
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.verdict import Decision, Level, LimitLine, Outcome
from reports.charts import draw_panel, shows
from reports.frame import Channel, frame_of
from reports.look import ALARM, CHART_LABEL
from reports.record import Panel, Trace, UnitRecord
from reports.typeface import REGULAR, install, width

F = np.linspace(150e6, 160e6, 1601)
AREA = (0.0, 0.0, 240.0, 160.0)


def strokes(panel: Panel, *decisions: Decision, channels: tuple[Channel, ...] = ()) -> str:
    """The page's drawing operators, uncompressed."""
    install()
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pageCompression=0, invariant=1, initialFontName=REGULAR)
    draw_panel(canvas, panel, AREA, decisions, channels)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue().decode("latin-1")


def panel(*values: np.ndarray, window: tuple[float, float] = (0.0, 100.0)) -> Panel:
    traces = tuple(Trace(f"t{index}", f"Trace {index}", F, value) for index, value in enumerate(values))
    return Panel("Loss", "dB", traces, (F[0], F[-1]), window)


def at_most(limit: float, low_hz: float, high_hz: float, trace: str | None = "t0") -> Decision:
    reading = Reading("loss", "Loss", "dB", 1.0, span_hz=(low_hz, high_hz), trace=trace)
    line = LimitLine((low_hz, high_hz), (limit, limit), f"at most {limit:g} dB")
    return Decision(
        reading,
        Level.SPECIFICATION,
        f"at most {limit:g} dB",
        "simple acceptance",
        Outcome.PASS,
        limit - 1.0,
        (line,),
    )


def red(operators: str) -> list[str]:
    """What is stroked in the colour of limits."""
    colour = " ".join(f"{part:.6f}".rstrip("0").lstrip("0") for part in ALARM.rgb())
    parts = operators.split(" RG\n")
    return [after for before, after in itertools.pairwise(parts) if before.endswith(colour)]


def test_a_limit_at_a_single_frequency_is_drawn_as_a_short_tick() -> None:
    drawn = red(strokes(panel(np.full(len(F), 50.0)), at_most(20.0, 155e6, 155e6)))
    x = [float(number) for number in re.findall(r"([\d.]+) [\d.]+ [ml]", drawn[0])]
    assert x[1] - x[0] == pytest.approx(9.0, abs=0.02)


def test_only_limits_of_the_panels_own_traces_are_drawn() -> None:
    flat = panel(np.full(len(F), 50.0))
    assert red(strokes(flat, at_most(20.0, 154e6, 156e6)))
    assert not red(strokes(flat, at_most(20.0, 154e6, 156e6, trace="other")))
    assert not red(strokes(flat, at_most(20.0, 154e6, 156e6, trace=None)))


@pytest.mark.parametrize("limit", [at_most(20.0, 140e6, 141e6), at_most(200.0, 154e6, 156e6)])
def test_a_limit_outside_the_window_is_not_drawn(limit: Decision) -> None:
    assert not red(strokes(panel(np.full(len(F), 50.0)), limit))


def test_losses_grow_downward_and_other_units_upward() -> None:
    rising = panel(np.linspace(10.0, 90.0, len(F)))
    heights = {}
    for unit in ("dB", "degree"):
        operators = strokes(replace(rising, unit=unit))
        path = max(re.findall(r" n ([\d. ml]+) S", operators.replace("\n", " ")), key=len)
        numbers = [float(number) for number in path.replace("m", "").replace("l", "").split()]
        heights[unit] = numbers[-1] - numbers[1]
    assert heights["dB"] < 0 < heights["degree"]


@pytest.mark.parametrize(
    "values",
    [np.full(len(F), np.nan), np.where(F > 155e6, np.nan, 20.0), np.full(len(F), 1e9)],
    ids=["nothing", "half", "far away"],
)
def test_a_trace_with_holes_or_out_of_sight_is_no_mistake(values: np.ndarray) -> None:
    assert "Tj" in strokes(panel(values), at_most(20.0, 154e6, 156e6))


def test_a_window_of_no_width_is_no_mistake() -> None:
    still = Panel("Loss", "dB", (), (155e6, 155e6), (1.0, 1.0))
    assert "Tj" in strokes(still, channels=(Channel("TX", 155e6), Channel("RX", 155e6)))


@pytest.mark.parametrize("levels", [(Level.SPECIFICATION,), tuple(Level)], ids=["one level", "both"])
def test_every_trace_and_every_limit_is_named(passing: UnitRecord, levels: tuple[Level, ...]) -> None:
    """Each name is written once at least, in the picture or in its key; traces of one title have one name."""
    decisions = [decision for decision in passing.verdict.decisions if decision.level in levels]
    for shown in passing.panels:
        written = re.findall(r"\((.*?)\) Tj", strokes(shown, *decisions))
        for trace in shown.traces:
            assert written.count(trace.title) == 1
        for decision in decisions:
            if shows(shown, decision):
                words = decision.limit_text.split() if len(levels) == 1 else decision.limit_text.split()[-2:]
                assert " ".join(words[:-1]) in "".join(written)


def test_two_traces_of_one_title_have_one_name() -> None:
    halves = panel(np.full(len(F), 20.0), np.full(len(F), 80.0))
    parts = replace(halves, traces=tuple(replace(trace, title="ANT port") for trace in halves.traces))
    assert re.findall(r"\((.*?)\) Tj", strokes(parts)).count("ANT port") == 1


def test_a_name_without_a_place_stands_in_the_key_once() -> None:
    """Three bars with the same words, and a sweep so noisy that nothing fits anywhere."""
    noise = np.tile([-5.0, 105.0], len(F))[: len(F)]
    limits = [at_most(20.0, low_hz, low_hz + 1e5) for low_hz in (152e6, 154e6, 156e6)]
    texts = re.findall(r"\((.*?)\) Tj", strokes(panel(noise), *limits))
    assert sum("at most 20" in text for text in texts) == 1
    assert texts.count("Trace 0") == 1


def test_no_traces_name_lies_across_a_channels_line() -> None:
    """Under the channel's own name it would read as that channel's."""

    def reach(text: str, operators: str) -> tuple[float, float]:
        found = re.search(rf"1 0 0 1 ([\d.]+) [\d.]+ Tm[^\n]*\({text}\) Tj", operators)
        assert found is not None
        return float(found[1]), float(found[1]) + width(text, CHART_LABEL)

    flat = panel(np.full(len(F), 50.0))
    left, right = reach("Trace 0", strokes(flat))
    middle = frame_of(flat, AREA).at(155e6, 0.0)[0]
    assert left < middle < right, "without a channel the name stands in the middle"
    left, right = reach("Trace 0", strokes(flat, channels=(Channel("TX", 155e6),)))
    assert right < middle or left > middle


def test_the_key_says_which_dash_is_whose_limit() -> None:
    works = replace(at_most(30.0, 154e6, 156e6), level=Level.WORKS)
    operators = strokes(panel(np.full(len(F), 80.0)), at_most(20.0, 154e6, 156e6), works)
    texts = re.findall(r"\((.*?)\) Tj", operators)
    assert texts.count("specification") == texts.count("works limit") == 1
    assert not any("at most" in text for text in texts)
    assert sum("20" in text for text in texts) > 1, "on its bar and on the scale"
    assert "[2.2 1.2] 0 d" in operators


def test_limits_of_one_level_need_no_key() -> None:
    texts = re.findall(r"\((.*?)\) Tj", strokes(panel(np.full(len(F), 80.0)), at_most(20.0, 154e6, 156e6)))
    assert "specification" not in texts


def test_a_panel_shows_the_limits_of_its_traces_inside_its_window_only() -> None:
    window = panel(np.linspace(0.0, 4.0, len(F)), window=(0.0, 5.0))
    assert shows(window, at_most(1.5, F[0], F[-1]))
    assert not shows(window, at_most(72.0, F[0], F[-1]))
    assert not shows(window, at_most(1.5, F[-1] + 1e6, F[-1] + 2e6))
    assert not shows(window, at_most(1.5, F[0], F[-1], trace="another"))
