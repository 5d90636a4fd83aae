"""Names in a picture stand free of everything else."""

from __future__ import annotations

import numpy as np
import pytest

from reports.placing import Box, Plot

AREA = Box(20.0, 10.0, 260.0, 130.0)
X = np.linspace(20.0, 260.0, 400)


def apart(first: Box, second: Box) -> bool:
    return (
        first.right <= second.left
        or second.right <= first.left
        or first.top <= second.bottom
        or second.top <= first.bottom
    )


def free_of(box: Box, y: np.ndarray) -> bool:
    under = (box.left <= X) & (box.right >= X)
    return bool(np.all((y[under] < box.bottom) | (y[under] > box.top)))


@pytest.mark.parametrize("seed", range(8))
def test_names_lie_on_no_line_and_on_no_other_name(seed: int) -> None:
    rng = np.random.default_rng(seed)
    plot = Plot(AREA)
    lines = [70 + 45 * np.sin(X / rng.uniform(15, 60) + rng.uniform(0, 6)) for _ in range(3)]
    for line in lines:
        plot.add_line(X, line)
    boxes = [box for line in lines if (box := plot.place_along(X, line, 30.0, 7.0)) is not None]
    target = Box(130.0, 70.0, 140.0, 70.0)
    boxes += [place.box for _ in range(3) if (place := plot.place_near(target, 40.0, 7.0)) is not None]
    assert len(boxes) >= 3
    for index, box in enumerate(boxes):
        assert box.left >= AREA.left and box.right <= AREA.right
        assert box.bottom >= AREA.bottom and box.top <= AREA.top
        assert all(free_of(box, line) for line in lines)
        assert all(apart(box, other) for other in boxes[:index])


def test_a_name_far_from_its_bar_gets_a_leader_and_one_beside_it_none() -> None:
    plot = Plot(AREA)
    near = plot.place_near(Box(130.0, 70.0, 140.0, 70.0), 40.0, 7.0)
    assert near is not None and near.leader is None
    for height in np.arange(50.0, 92.0, 2.0):
        plot.add_line(X, np.full(len(X), height))
    far = plot.place_near(Box(130.0, 70.0, 140.0, 70.0), 40.0, 7.0)
    assert far is not None and far.leader is not None
    assert far.leader[2:] == (135.0, 70.0)


def test_a_full_plot_has_no_place() -> None:
    plot = Plot(AREA)
    for height in np.arange(10.0, 131.0, 1.0):
        plot.add_line(X, np.full(len(X), height))
    assert plot.place_near(Box(130.0, 70.0, 140.0, 70.0), 40.0, 7.0) is None
    assert plot.place_along(X, np.full(len(X), 70.0), 40.0, 7.0) is None


def test_a_name_wider_than_the_plot_has_no_place() -> None:
    plot = Plot(AREA)
    assert plot.place_near(Box(130.0, 70.0, 140.0, 70.0), 400.0, 7.0) is None
    assert plot.place_along(X, np.full(len(X), 70.0), 400.0, 7.0) is None
