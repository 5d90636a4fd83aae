"""Limits that a measurement sets itself by its own history: the control chart of individual values.

Mean plus and minus 3 / d2 times the mean moving range of neighbours, ISO 7870-2 (clause from memory; the constant d2
as tables print it). A measurement outside them has changed, whatever its specification says. Where many charts are
looked at at once, each is wider, so that all of them together raise no more false alarms than one. Pure functions,
which know neither a check standard nor a page.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

D2 = 1.128
"""Mean range of two values from a normal distribution in standard deviations, to the three decimals that ISO 7870-2
and NIST/SEMATECH 6.3.2.2 calculate with; exactly 2 / sqrt(pi) = 1.12838."""

SIGMAS = 3.0
"""Half the width of the limits of one chart in standard deviations; in mean moving ranges 3 / d2 = 2.66."""


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

    def room(self, value: float) -> float:
        """Distance to the nearer limit, positive inside."""
        return min(value - self.low, self.high - value)


def individuals(values: Sequence[float], least: float = 0.0, together: int = 1) -> ControlLimits:
    """The control limits of these values, in the order in which they were measured.

    `least` is half of the least width, in their unit; `together` counts the charts that are looked at at once.
    Raises ValueError for fewer than two values, which have no moving range.
    """
    if len(values) < 2:
        raise ValueError(f"control limits need two values at least, not {len(values)}")
    centre = float(np.mean(values))
    own = sigmas(together) / D2 * float(np.mean(np.abs(np.diff(values))))
    half = max(own, least)
    return ControlLimits(centre, centre - half, centre + half, len(values), widened=least > own)


def sigmas(together: int) -> float:
    """How many standard deviations away the limits of each of so many charts lie.

    One value in control lies beyond 3 in 0.27 % of cases, so of 18 one would in 4.7 % of checks. The share of one is
    divided among all (Bonferroni's inequality), which holds however they depend on each other: 3.79 for 18.
    """
    return -float(ndtri(ndtr(-SIGMAS) / together))
