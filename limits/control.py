"""Limits that a measurement sets itself by its own history: the control chart of individual values.

Mean plus and minus 3 / d2 times the mean moving range of neighbours, ISO 7870-2 (clause from memory; the constant d2
as tables print it). A measurement outside them has changed, whatever its specification says. Pure functions, which
know neither a check standard nor a page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

D2 = 1.128
"""Mean range of two values from a normal distribution in standard deviations, to the three decimals that ISO 7870-2
and NIST/SEMATECH 6.3.2.2 calculate with; exactly 2 / sqrt(pi) = 1.12838."""

RANGES = 3 / D2
"""Half the width of the limits in mean moving ranges: 2.66."""


@dataclass(frozen=True, slots=True)
class ControlLimits:
    """Where the next value is expected, if nothing has changed."""

    centre: float
    low: float
    high: float
    count: int
    """Of the values that made them."""

    widened: bool
    """Whether the history is so quiet that the least width applies instead of its own."""

    @property
    def half_width(self) -> float:
        """From the centre to either limit."""
        return (self.high - self.low) / 2

    def room(self, value: float) -> float:
        """Distance to the nearer limit, positive inside."""
        return min(value - self.low, self.high - value)


def individuals(values: Sequence[float], least: float = 0.0) -> ControlLimits:
    """The control limits of these values, in the order in which they were measured.

    `least` is half of the least width, in their unit. Raises ValueError for fewer than two values, which have no
    moving range.
    """
    if len(values) < 2:
        raise ValueError(f"control limits need two values at least, not {len(values)}")
    centre = float(np.mean(values))
    own = RANGES * float(np.mean(np.abs(np.diff(values))))
    half = max(own, least)
    return ControlLimits(centre, centre - half, centre + half, len(values), widened=least > own)
