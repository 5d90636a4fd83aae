"""What the edges of a picture stand for."""

from __future__ import annotations

import numpy as np
import pytest

from reports.frame import Frame, frame_of
from reports.record import Panel


def frame(unit: str = "dB", value: tuple[float, float] = (0.0, 50.0)) -> Frame:
    return frame_of(Panel("Loss", unit, (), (150e6, 160e6), value), (10.0, 20.0, 240.0, 160.0))


def test_the_window_fills_the_frame_inside_its_area() -> None:
    made = frame()
    assert made.x(np.array([150e6, 160e6])) == pytest.approx([made.left, made.right])
    assert 10.0 < made.left < made.right < 250.0
    assert 20.0 < made.bottom < made.top < 180.0


@pytest.mark.parametrize(("unit", "edge"), [("dB", "bottom"), ("degree", "top")])
def test_decibels_grow_downward_and_other_units_upward(unit: str, edge: str) -> None:
    made = frame(unit)
    assert made.at(150e6, 50.0)[1] == pytest.approx(getattr(made, edge))


def test_a_window_of_no_height_is_opened() -> None:
    made = frame(value=(3.0, 3.0))
    assert made.value[0] < 3.0 < made.value[1]
