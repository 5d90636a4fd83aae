"""When a series shifted: the most likely place of a step in its mean, and whether chance alone would do as much.

A step of a normal series of one spread, found by maximum likelihood: the cut that leaves the smallest sum of squares
about the two means (Hinkley, Biometrika 57, 1970). Significance by permutation, which needs no normal distribution
but values independent of each other: a series that drifts or follows its neighbours shows steps that are none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

FloatArray = NDArray[np.float64]

LEAST = 5
"""Values on each side of a step."""

PERMUTATIONS = 999
_BLOCK = 200_000
"""Values that are permuted at once, so that memory stays small."""


@dataclass(frozen=True, slots=True)
class Step:
    """The most likely step of a series."""

    at: int
    """First value after it."""

    between: tuple[int, int]
    """First and last place that it may as well have: likelihood ratio against the 99 % point of chi-square with one
    degree of freedom. Common practice, not exact for a place: of steps of 1, 2 and 3 sigma in the middle of 80 drawn
    values it held 94.8, 96.8 and 98 %."""

    before: float
    after: float
    """Means of its two sides."""

    p: float
    """Share of permuted series with as large a step, the series itself counted as one of them."""

    @property
    def size(self) -> float:
        """By how much the mean moved."""
        return self.after - self.before


def step(values: FloatArray, random: np.random.Generator, permutations: int = PERMUTATIONS) -> Step | None:
    """The most likely step of these values in order of time; None of fewer than twice LEAST, or of equal ones."""
    n = len(values)
    total = float(np.sum((values - np.mean(values)) ** 2)) if n >= 2 * LEAST else 0.0
    if total == 0 or np.isclose(values, values[0], rtol=1e-12, atol=0.0).all():
        return None
    gain = _gain(values)
    best = int(np.argmax(gain))
    at = best + LEAST
    left = np.maximum(total - gain, np.finfo(float).tiny)
    as_likely = np.flatnonzero(n * np.log(left / left[best]) <= chi2.ppf(0.99, 1)) + LEAST
    return Step(
        at,
        (int(as_likely[0]), int(as_likely[-1])),
        float(np.mean(values[:at])),
        float(np.mean(values[at:])),
        _share_as_large(values, float(gain[best]), random, permutations),
    )


def _gain(values: FloatArray) -> FloatArray:
    """By how much each cut lessens the sum of squares; along the last axis, from the cut after LEAST values on."""
    n = values.shape[-1]
    away = values - values.mean(axis=-1, keepdims=True)
    before = np.arange(LEAST, n - LEAST + 1)
    partial = np.cumsum(away, axis=-1)[..., LEAST - 1 : n - LEAST]
    gain: FloatArray = partial**2 * n / (before * (n - before))
    return gain


def _share_as_large(values: FloatArray, gain: float, random: np.random.Generator, permutations: int) -> float:
    block = max(1, _BLOCK // len(values))
    as_large, done = 0, 0
    while done < permutations:
        many = min(block, permutations - done)
        permuted = random.permuted(np.broadcast_to(values, (many, len(values))), axis=-1)
        as_large += int(np.sum(_gain(permuted).max(axis=-1) >= gain * (1 - 1e-12)))
        done += many
    return (1 + as_large) / (1 + permutations)
