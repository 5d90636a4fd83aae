"""The small drawing of a margin, read from the operators it writes."""

from __future__ import annotations

import io
import re
from collections.abc import Callable

import pytest
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.verdict import Decision, Level, Outcome
from reports.margin_mark import INSIDE, OUTSIDE, WIDTH, margin_mark

SCALE = WIDTH / (INSIDE + OUTSIDE)
LIMIT = OUTSIDE * SCALE


def decision(margin: float | None, u: float | None, unit: str = "dB") -> Decision:
    reading = Reading("r", "R", unit, 1.0, u=u)
    return Decision(reading, Level.SPECIFICATION, "at most 2 dB", "simple acceptance", Outcome.PASS, margin)


@pytest.fixture
def lines_of() -> Callable[[Decision], list[tuple[float, float]]]:
    """Left and right end of every level line."""

    def drawn(about: Decision) -> list[tuple[float, float]]:
        buffer = io.BytesIO()
        canvas = Canvas(buffer, pageCompression=0)
        mark = margin_mark(about)
        assert mark is not None
        mark(canvas, 0.0, 10.0)
        canvas.save()
        found = re.findall(rb"([\d.-]+) ([\d.-]+) m ([\d.-]+) ([\d.-]+) l", buffer.getvalue())
        numbers = [tuple(float(part) for part in each) for each in found]
        return [(left, right) for left, y, right, other in numbers if y == other]

    return drawn


@pytest.mark.parametrize("unit_size", [0.08, 2.0, 4000.0])
@pytest.mark.parametrize("times", [0.0, 0.5, 3.0, 8.5, -1.0])
def test_whiskers_reach_u_either_way_of_the_reading_at_any_size_of_u(
    times: float, unit_size: float, lines_of: Callable[[Decision], list[tuple[float, float]]]
) -> None:
    ((left, right),) = lines_of(decision(times * unit_size, unit_size))
    assert (left + right) / 2 == pytest.approx(LIMIT + times * SCALE, abs=0.01)
    assert right - left == pytest.approx(2 * SCALE, abs=0.01)


def test_farther_inside_than_there_is_room_it_is_an_arrow_at_the_end(
    lines_of: Callable[[Decision], list[tuple[float, float]]],
) -> None:
    ((left, right),) = lines_of(decision(50.0, 1.0))
    assert WIDTH - 12.0 < left < right < WIDTH


@pytest.mark.parametrize(("margin", "u"), [(None, 0.1), (0.2, None), (0.2, 0.0)])
def test_without_a_margin_or_a_u_there_is_nothing_to_draw(margin: float | None, u: float | None) -> None:
    assert margin_mark(decision(margin, u)) is None
