"""Where a name can stand in a picture without lying on anything: a small map of what is taken.

The plot is divided into cells; lines and names mark theirs, and a summed table tells for any rectangle at
once whether it is free (Crow 1984, summed-area tables). Lengths are points, y grows upward.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from limits.reading import FloatArray

CELL = 2.0
CLEARANCE = 1.2
"""Free room kept between a name and anything else."""

TOUCHING = 4.0
"""Up to this a name plainly belongs to what it stands beside; beyond, a leader line is drawn."""

FARTHEST = 70.0
"""Beyond this a name is no longer seen to belong to what it names."""


@dataclass(frozen=True, slots=True)
class Box:
    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        return self.right - self.left

    @property
    def height(self) -> float:
        return self.top - self.bottom

    def around(self, other: Box) -> Box:
        """The smallest box that holds both."""
        left, bottom = min(self.left, other.left), min(self.bottom, other.bottom)
        return Box(left, bottom, max(self.right, other.right), max(self.top, other.top))


@dataclass(frozen=True, slots=True)
class Place:
    """Where a name goes; `leader` is a line from it to what it names where the two do not touch."""

    box: Box
    leader: tuple[float, float, float, float] | None


class Plot:
    """What is taken so far in one picture."""

    def __init__(self, area: Box) -> None:
        self.area = area
        self.columns = max(int(area.width / CELL), 1)
        self.rows = max(int(area.height / CELL), 1)
        self._taken: NDArray[np.bool_] = np.zeros((self.rows, self.columns), dtype=bool)

    def add_line(self, x: FloatArray, y: FloatArray) -> None:
        """Mark what a line through these points covers; x rises."""
        low, high = self._reach(x, y)
        for column in np.flatnonzero(low <= high).tolist():
            self._taken[low[column] : high[column] + 1, column] = True

    def place_along(self, x: FloatArray, y: FloatArray, width: float, height: float) -> Box | None:
        """A free place right above or below a line, where it is flattest and loneliest; None where there is none."""
        low, high = self._reach(x, y)
        wide, tall = _cells(width), _cells(height)
        if wide > self.columns or tall > self.rows or len(x) < 2:
            return None
        windows = np.lib.stride_tricks.sliding_window_view
        tops, bottoms = windows(high, wide).max(axis=1), windows(low, wide).min(axis=1)
        column = np.arange(len(tops), dtype=np.int32)
        seen = bottoms <= tops
        sums = self._sums()
        best: tuple[float, Box] | None = None
        for rows in (tops + 2, bottoms - 1 - tall):
            fits = seen & (rows >= 0) & (rows + tall <= self.rows)
            free = fits & (_inside(sums, rows, column, tall, wide) == 0)
            if not free.any():
                continue
            lonely = _inside(sums, rows - 4, column - 6, tall + 8, wide + 12)
            middle = np.abs(column + wide / 2 - self.columns / 2) / self.columns
            cost = np.where(free, (tops - bottoms) + 0.12 * lonely + 2.0 * middle, np.inf)
            index = int(cost.argmin())
            if best is None or cost[index] < best[0]:
                best = float(cost[index]), self._box(int(rows[index]), index, width, height)
        return self._claim(best[1]) if best else None

    def place_near(self, target: Box, width: float, height: float, reach: float = FARTHEST) -> Place | None:
        """The free place nearest to a short line; None where there is none within `reach`."""
        wide, tall = _cells(width), _cells(height)
        if wide > self.columns or tall > self.rows:
            return None
        left = self.area.left + np.arange(self.columns - wide + 1) * CELL
        bottom = self.area.bottom + np.arange(self.rows - tall + 1) * CELL
        aside = np.maximum(0.0, np.maximum(target.left - left - width, left - target.right))
        above = np.maximum(0.0, np.maximum(target.bottom - bottom - height, bottom - target.top))
        centred = np.abs(left + width / 2 - (target.left + target.right) / 2)
        apart = np.hypot(above[:, None], aside[None, :])
        cost = apart + 0.06 * centred[None, :]
        sums = self._sums()
        taken = sums[tall:, wide:] - sums[:-tall, wide:] - sums[tall:, :-wide] + sums[:-tall, :-wide]
        cost[(taken > 0) | (apart > reach)] = np.inf
        row, column = divmod(int(cost.argmin()), cost.shape[1])
        if not np.isfinite(cost[row, column]):
            return None
        box = self._claim(self._box(row, column, width, height))
        near = bool(apart[row, column] < TOUCHING)
        return Place(box, None if near else _leader(box, target))

    def _reach(self, x: FloatArray, y: FloatArray) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
        """Lowest and highest row a line covers in each column; low above high where it covers none."""
        edges = self.area.left + np.arange(self.columns + 1) * CELL
        low = np.full(self.columns, self.rows, dtype=np.int32)
        high = np.full(self.columns, -1, dtype=np.int32)
        if not len(x):
            return low, high
        at_edges = np.interp(edges, x, y)
        inside = (edges[:-1] <= x[-1]) & (edges[1:] >= x[0])
        bottom, top = np.minimum(at_edges[:-1], at_edges[1:]), np.maximum(at_edges[:-1], at_edges[1:])
        column = np.clip(((x - self.area.left) / CELL).astype(np.int32), 0, self.columns - 1)
        np.minimum.at(bottom, column, y)
        np.maximum.at(top, column, y)
        visible = inside & (top >= self.area.bottom) & (bottom <= self.area.top)
        low[visible] = np.clip((bottom - self.area.bottom) / CELL, 0, self.rows - 1)[visible].astype(np.int32)
        high[visible] = np.clip((top - self.area.bottom) / CELL, 0, self.rows - 1)[visible].astype(np.int32)
        return low, high

    def _sums(self) -> NDArray[np.int32]:
        sums = np.zeros((self.rows + 1, self.columns + 1), dtype=np.int32)
        np.cumsum(self._taken.cumsum(axis=0, dtype=np.int32), axis=1, out=sums[1:, 1:])
        return sums

    def _box(self, row: int, column: int, width: float, height: float) -> Box:
        left = self.area.left + column * CELL + CLEARANCE
        bottom = self.area.bottom + row * CELL + CLEARANCE
        return Box(left, bottom, left + width, bottom + height)

    def _claim(self, box: Box) -> Box:
        left, right = ((edge - self.area.left) / CELL for edge in (box.left, box.right))
        bottom, top = ((edge - self.area.bottom) / CELL for edge in (box.bottom, box.top))
        self._taken[max(int(bottom), 0) : int(top) + 1, max(int(left), 0) : int(right) + 1] = True
        return box


def _cells(length: float) -> int:
    return int(np.ceil((length + 2 * CLEARANCE) / CELL))


def _inside(
    sums: NDArray[np.int32],
    row: NDArray[np.int32],
    column: NDArray[np.int32],
    tall: int,
    wide: int,
) -> NDArray[np.int32]:
    """How many taken cells lie in rectangles that begin at row and column."""
    most_row, most_column = sums.shape[0] - 1, sums.shape[1] - 1
    r0, r1 = np.clip(row, 0, most_row), np.clip(row + tall, 0, most_row)
    c0, c1 = np.clip(column, 0, most_column), np.clip(column + wide, 0, most_column)
    return np.asarray(sums[r1, c1] - sums[r0, c1] - sums[r1, c0] + sums[r0, c0])


def _leader(box: Box, target: Box) -> tuple[float, float, float, float]:
    """From the name's nearest edge to the middle of what it names."""
    x, y = (target.left + target.right) / 2, (target.bottom + target.top) / 2
    return min(max(x, box.left), box.right), min(max(y, box.bottom), box.top), x, y
