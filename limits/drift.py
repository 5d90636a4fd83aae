"""How fast a measured value moves with time: a straight line through its history, with the interval of its slope."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

CONFIDENCE = 0.95
FEWEST = 3
"""Values through which a line has a scatter."""


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope and how well it is known."""

    value: float
    """Per unit of time."""

    half: float
    """Half of its 95 % interval."""

    @property
    def is_seen(self) -> bool:
        """Whether the interval leaves out zero: the value does move."""
        return abs(self.value) > self.half


def slope(times: Sequence[float], values: Sequence[float]) -> Slope | None:
    """The slope by least squares, its interval from the scatter about the line (Student's t, n - 2 degrees).

    As in every textbook of regression; independent errors of one size. None where there are fewer than three
    values, or all are of one time.
    """
    if len(values) < FEWEST:
        return None
    away = np.asarray(times, dtype=float) - np.mean(times)
    spread = float(away @ away)
    if spread == 0:
        return None
    found = float(away @ np.asarray(values, dtype=float)) / spread
    residuals = np.asarray(values, dtype=float) - np.mean(values) - found * away
    free = len(values) - 2
    deviation = math.sqrt(float(residuals @ residuals) / free / spread)
    return Slope(found, float(stdtrit(free, (1 + CONFIDENCE) / 2)) * deviation)
