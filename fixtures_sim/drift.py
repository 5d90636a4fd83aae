"""Slow drift of an analyzer since it was switched on and warm: bounded, smooth, a function of time alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

PERIODS_H = (9.0, 31.0, 97.0)
"""Within a shift, from day to day, within a week."""


@dataclass(frozen=True, slots=True)
class Drift:
    """How far error terms wander at most, either way, from where they were at first."""

    tracking_db: float = 0.02
    tracking_deg: float = 0.15
    match_db: float = 60.0
    """What is added to directivity and to both matches, as a return loss."""

    def tracking(self, key: int, hours: float) -> complex:
        """Factor on a tracking term."""
        size = 10.0 ** (self.tracking_db * wander(key, 0, hours) / 20.0)
        return complex(size * np.exp(1j * math.radians(self.tracking_deg) * wander(key, 1, hours)))

    def match(self, key: int, hours: float) -> complex:
        """What is added to a reflection term."""
        size = 10.0 ** (-self.match_db / 20.0) / math.sqrt(2.0)
        return complex(size * wander(key, 0, hours), size * wander(key, 1, hours))


def wander(key: int, lane: int, hours: float) -> float:
    """Between -1 and 1, and 0 at first: the mean of slow swings of different length and phase."""
    phases = np.random.default_rng((key, lane)).uniform(0.0, 2.0 * math.pi, len(PERIODS_H))
    swings = np.sin(2.0 * math.pi * hours / np.array(PERIODS_H) + phases) - np.sin(phases)
    return float(np.mean(swings) / 2.0)
