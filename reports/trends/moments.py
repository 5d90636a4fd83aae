"""Count, mean and centred second moment of readings: summaries that can be kept, and put together later.

Never sums of squares: of values whose mean is a million times their spread those lose every digit (NIST StRD, NumAcc3
and NumAcc4).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Moments:
    """What is kept of values instead of the values."""

    count: int = 0
    mean: float = 0.0
    """0 of no values."""

    m2: float = 0.0
    """Sum of the squared distances from the mean, in the square of their unit."""

    @property
    def sd(self) -> float | None:
        """Their standard deviation, with n - 1; None of fewer than two."""
        return math.sqrt(self.m2 / (self.count - 1)) if self.count > 1 else None

    def merged(self, other: Moments) -> Moments:
        """Of both together: Chan, Golub and LeVeque, The American Statistician 37 (1983), 242 (from memory)."""
        count = self.count + other.count
        if count == 0:
            return self
        apart = other.mean - self.mean
        share = other.count / count
        return Moments(
            count, self.mean + apart * share, self.m2 + other.m2 + apart * apart * share * self.count
        )


def moments(values: Sequence[float]) -> Moments:
    """Of these values: from the first one on, so that what they have in common costs no digits."""
    if len(values) == 0:
        return Moments()
    first = float(values[0])
    apart = np.asarray(values, dtype=np.float64) - first
    mean = math.fsum(apart) / len(apart)
    return Moments(len(apart), first + mean, math.fsum((apart - mean) ** 2))
