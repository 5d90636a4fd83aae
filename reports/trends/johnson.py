"""A curve through readings that are not normal: Johnson's system, fitted by four of their percentiles.

Slifker and Shapiro, Technometrics 22 (1980), 239: percentiles at four equally spaced normal scores tell the unbounded
from the bounded curve and give its parameters in closed form. The spacing is the one whose scores look most normal
(Chou, Polansky and Mason, J. Quality Technology 30 (1998), 133). Formulas from memory, checked by fitting exact
percentiles of known curves.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm

from reports.trends.normality import normality

SPACINGS = tuple(0.25 + 0.05 * step for step in range(21))
"""Half the distances between scores that are tried; at 0.25 the outermost percentile is 77 %, at 1.25 99.99 %."""

FLATTEST = 1e-9
"""How near to 1 the ratio that tells the curves apart may come: there neither has a finite parameter."""

Array = NDArray[np.float64]
Quantiles = Callable[[Sequence[float]], Array]


@dataclass(frozen=True, slots=True)
class Curve:
    """A distribution whose score is gamma + delta g((x - xi) / lambda), normal with mean 0 and spread 1."""

    bounded: bool
    gamma: float
    delta: float
    xi: float
    lam: float

    def value(self, score: float) -> float:
        """The reading that has this normal score."""
        turned = (score - self.gamma) / self.delta
        if self.bounded:
            return self.xi + self.lam / (1.0 + float(np.exp(-turned)))
        return self.xi + self.lam * float(np.sinh(turned))

    def scores(self, values: Array) -> Array | None:
        """The normal scores of readings; None where one lies beyond the curve's ends."""
        part = (values - self.xi) / self.lam
        if not self.bounded:
            return np.asarray(self.gamma + self.delta * np.arcsinh(part))
        if part.min() <= 0.0 or part.max() >= 1.0:
            return None
        return np.asarray(self.gamma + self.delta * np.log(part / (1.0 - part)))


@dataclass(frozen=True, slots=True)
class Fit:
    """The curve of the spacing that fits best."""

    curve: Curve
    spacing: float
    p: float
    """How often scores that are normal would look less so."""


def fit(values: Array) -> Fit | None:
    """The curve that fits best; None where no curve fits at all."""
    best: Fit | None = None
    for spacing in SPACINGS:
        curve = through(observed(values), spacing)
        scores = None if curve is None else curve.scores(values)
        found = None if scores is None else normality([*scores])
        if curve is not None and found is not None and (best is None or found.p > best.p):
            best = Fit(curve, spacing, found.p)
    return best


def observed(values: Array) -> Quantiles:
    """The percentiles of readings at normal scores, from the share (i - 1/2) / n of each."""

    def quantiles(scores: Sequence[float]) -> Array:
        return np.asarray(np.quantile(values, norm.cdf(scores), method="hazen"), dtype=np.float64)

    return quantiles


def through(quantiles: Quantiles, spacing: float) -> Curve | None:
    """The curve through the readings at scores of -3, -1, 1 and 3 spacings; None where there is none."""
    lowest, low, high, highest = quantiles([-3 * spacing, -spacing, spacing, 3 * spacing])
    above, below, within = float(highest - high), float(low - lowest), float(high - low)
    if min(above, below, within) <= 0.0:
        return None
    ratio = above * below / within**2
    middle = float(low + high) / 2.0
    if ratio > 1.0 + FLATTEST:
        return _unbounded(above / within, below / within, within, middle, spacing)
    if ratio < 1.0 - FLATTEST:
        return _bounded(within / above, within / below, within, middle, spacing)
    return None


def _unbounded(up: float, down: float, within: float, middle: float, spacing: float) -> Curve:
    root, both = np.sqrt(up * down - 1.0), up + down
    delta = 2.0 * spacing / np.arccosh(both / 2.0)
    return Curve(
        bounded=False,
        gamma=float(delta * np.arcsinh((down - up) / (2.0 * root))),
        delta=float(delta),
        xi=middle + within * (down - up) / (2.0 * (both - 2.0)),
        lam=float(2.0 * within * root / ((both - 2.0) * np.sqrt(both + 2.0))),
    )


def _bounded(up: float, down: float, within: float, middle: float, spacing: float) -> Curve:
    product, excess = (1.0 + up) * (1.0 + down), up * down - 1.0
    delta = spacing / np.arccosh(np.sqrt(product) / 2.0)
    lam = float(within * np.sqrt((product - 2.0) ** 2 - 4.0) / excess)
    return Curve(
        bounded=True,
        gamma=float(delta * np.arcsinh((down - up) * np.sqrt(product - 4.0) / (2.0 * excess))),
        delta=float(delta),
        xi=middle - lam / 2.0 + within * (down - up) / (2.0 * excess),
        lam=lam,
    )
