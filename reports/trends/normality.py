"""Do readings spread normally? The test of Anderson and Darling with mean and spread estimated."""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import anderson

LEAST = 8
"""Readings that the test needs to say anything."""

NOT_NORMAL = 0.01
"""Below this p readings are called not normal: some twenty characteristics are looked at together."""


@dataclass(frozen=True, slots=True)
class Normality:
    """What the test says."""

    statistic: float
    """Adjusted for the number of readings."""

    p: float
    """How often normal readings would lie as far off."""

    @property
    def holds(self) -> bool:
        """Whether nothing speaks against normal readings."""
        return self.p >= NOT_NORMAL


def normality(values: Sequence[float]) -> Normality | None:
    """Test the values; None where they are too few, or do not spread.

    Statistic by scipy, adjusted and turned into p by D'Agostino and Stephens, Goodness-of-Fit Techniques (1986),
    Table 4.9 (from memory; it meets the critical values of Table 4.7).
    """
    count = len(values)
    if count < LEAST or min(values) == max(values):
        return None
    centred = np.asarray(values, dtype=np.float64) - values[0]
    with warnings.catch_warnings():
        # It announces that it will one day return p itself; only the statistic is used.
        warnings.simplefilter("ignore", FutureWarning)
        raw = float(anderson(centred, "norm").statistic)
    adjusted = raw * (1.0 + 0.75 / count + 2.25 / count**2)
    return Normality(adjusted, p_of(adjusted))


def p_of(adjusted: float) -> float:
    """The p that belongs to the adjusted statistic."""
    a = adjusted
    if a >= 0.6:
        # The parabola turns up again beyond 153, where p has long been nothing.
        return math.exp(1.2937 - 5.709 * min(a, 150.0) + 0.0186 * min(a, 150.0) ** 2)
    if a > 0.34:
        return math.exp(0.9177 - 4.279 * a - 1.38 * a**2)
    if a > 0.2:
        return 1.0 - math.exp(-8.318 + 42.796 * a - 59.938 * a**2)
    return 1.0 - math.exp(-13.436 + 101.14 * a - 223.73 * a**2)
