"""What a range and a standard deviation of so few normal values are worth: the constants of control charts.

d2, d3 and c4 of ISO 7870-2, here worked out from their definitions instead of read from a table, so that a group may
have any size. Mean and mean square of the range by integration over how often it is wider than a width.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln, ndtr

FloatArray = NDArray[np.float64]

_REACH = 9.0
"""Beyond so many standard deviations nothing adds to twelve digits."""

_NODES = 160


@cache
def c4(n: int) -> float:
    """Mean standard deviation of n normal values, in sigmas."""
    return math.sqrt(2.0 / (n - 1)) * math.exp(float(gammaln(n / 2) - gammaln((n - 1) / 2)))


@cache
def d2(n: int) -> float:
    """Mean range of n normal values, in sigmas."""
    _, weight, beyond = _range(n)
    return float(weight @ beyond)


@cache
def d3(n: int) -> float:
    """Standard deviation of the range of n normal values, in sigmas."""
    width, weight, beyond = _range(n)
    return math.sqrt(float(2.0 * weight @ (width * beyond)) - d2(n) ** 2)


@cache
def _range(n: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Widths, their weights in an integral over all widths, and how often a range is wider than each."""
    node, weight = np.polynomial.legendre.leggauss(_NODES)
    x, width = node * _REACH, (node + 1.0) * _REACH
    density = np.exp(-(x**2) / 2) / math.sqrt(2 * math.pi)
    within = (ndtr(x[None, :] + width[:, None]) - ndtr(x)) ** (n - 1)
    return width, weight * _REACH, 1.0 - n * within @ (density * weight * _REACH)
