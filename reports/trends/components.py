"""How well variance components are known: intervals for sums and differences of mean squares."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.stats import chi2, f

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class MeanSquare:
    """A sum of squares over its degrees of freedom."""

    value: float
    df: int


@dataclass(frozen=True, slots=True)
class Deviation:
    """A standard deviation, with an interval."""

    value: float
    low: float
    high: float


def deviation(
    added: Sequence[tuple[float, MeanSquare]],
    taken: Sequence[tuple[float, MeanSquare]] = (),
    confidence: float = CONFIDENCE,
) -> Deviation:
    """The square root of a weighted sum of mean squares less another; nothing below zero.

    Modified large samples (Graybill and Wang, JASA 75 (1980), 869, for sums; Ting, Burdick, Graybill, Jeyaratnam and
    Lu, J. Statist. Comput. Simul. 35 (1990), 135, for differences; from memory): exact for one mean square alone.
    """
    beyond = (1.0 - confidence) / 2.0
    value = sum(weight * each.value for weight, each in added) - sum(
        weight * each.value for weight, each in taken
    )
    below = above = 0.0
    for sign, terms in ((1, added), (-1, taken)):
        for weight, each in terms:
            down, up = (weight * each.value * part for part in _alone(each.df, beyond))
            below += (down if sign > 0 else up) ** 2
            above += (up if sign > 0 else down) ** 2
    for weight, plus in added:
        for other, minus in taken:
            product = weight * other * plus.value * minus.value
            lower, upper = _together(plus.df, minus.df, beyond)
            below += lower * product
            above += upper * product
    low, high = value - math.sqrt(max(below, 0.0)), value + math.sqrt(max(above, 0.0))
    return Deviation(*(math.sqrt(max(each, 0.0)) for each in (value, low, high)))


def _alone(df: int, beyond: float) -> tuple[float, float]:
    """How far down and up the interval of one mean square reaches, in parts of it."""
    return 1.0 - df / float(chi2.isf(beyond, df)), df / float(chi2.ppf(beyond, df)) - 1.0


def _together(plus: int, minus: int, beyond: float) -> tuple[float, float]:
    """The mixed terms that make the interval of a difference exact where one of the two is zero."""
    (down, up), (other_down, other_up) = _alone(plus, beyond), _alone(minus, beyond)
    high, low = float(f.isf(beyond, plus, minus)), float(f.ppf(beyond, plus, minus))
    return (
        ((high - 1.0) ** 2 - down**2 * high**2 - other_up**2) / high,
        ((1.0 - low) ** 2 - up**2 * low**2 - other_down**2) / low,
    )
