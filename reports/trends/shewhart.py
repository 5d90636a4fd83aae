"""Shewhart's control charts, EWMA and CUSUM: numbers in, centre and limits for each of them out.

Limits lie three standard deviations of what is plotted from the centre, as in ISO 7870-2 (its clauses from memory)
and NIST/SEMATECH e-Handbook 6.3. `baseline` says which points set them, None for all. Bounds ("at least") are no
numbers; leave them out before. EWMA and CUSUM work along the last axis, so that many charts can be drawn at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.signal import lfilter

from limits.control import D2, SIGMAS
from limits.control import individuals as individual_limits
from reports.trends.constants import c4, d2, d3
from reports.trends.rules import Alarm, alarms, stretches

FloatArray = NDArray[np.float64]
Spread = Literal["range", "sd"]


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """What is plotted, and where it is expected if nothing has changed; arrays of shape (n,), in one unit."""

    what: str
    value: FloatArray
    centre: FloatArray
    low: FloatArray
    """Minus infinity where there is no lower limit."""

    high: FloatArray
    sigma: FloatArray
    """Standard deviation of each plotted value."""

    has_patterns: bool = True
    """Whether rules about several points hold; not where the values are skew or each holds those before it."""

    @property
    def z(self) -> FloatArray:
        """Distance from the centre in sigmas; infinite where there is a distance and no spread."""
        away = self.value - self.centre
        none = self.sigma == 0
        z = away / np.where(none, 1.0, self.sigma)
        # The mean of equal values may miss them by a rounding.
        z[none] = np.where(np.isclose(self.value, self.centre)[none], 0.0, np.copysign(np.inf, away[none]))
        return z

    def alarms(self, rules: Sequence[str]) -> tuple[Alarm, ...]:
        """What these rules say, or the limits alone where no pattern holds."""
        if self.has_patterns:
            return alarms(self.z, rules)
        return tuple(
            Alarm("limit", f"beyond the limit of the {self.what} chart", first, tuple(range(first, last + 1)))
            for beyond in (self.value > self.high, self.value < self.low)
            for first, last in stretches(beyond)
        )


def process(values: FloatArray, baseline: slice | None = None) -> tuple[float, float]:
    """Centre and sigma of individual values, by their mean moving range. Raises ValueError for fewer than two."""
    limits = individual_limits([float(value) for value in values[baseline or slice(None)]])
    return limits.centre, (limits.high - limits.centre) / SIGMAS


def individuals(values: FloatArray, baseline: slice | None = None) -> tuple[Chart, Chart]:
    """Individual values and the moving ranges of neighbours; the first value has no range (NaN)."""
    centre, sigma = process(values, baseline)
    ranges = np.concatenate([[np.nan], np.abs(np.diff(values))])
    return (
        _three_sigma("individual values", values, centre, np.full(values.shape, sigma)),
        _three_sigma("moving range", ranges, D2 * sigma, np.full(values.shape, d3(2) * sigma), least=0.0),
    )


def by_group(
    groups: Sequence[FloatArray], spread: Spread = "sd", baseline: slice | None = None
) -> tuple[Chart, Chart]:
    """Means of groups with their ranges or standard deviations; each group of two values at least.

    Sigma within groups is the mean of R / d2 or s / c4 over the groups of the baseline, the centre the mean of all
    their values; where groups are of one size that is what ISO 7870-2 does. Ranges tell less than standard deviations
    in groups of more than about ten. Raises ValueError for a group of one, or none.
    """
    if not groups or min(len(group) for group in groups) < 2:
        raise ValueError("a group needs two values at least")
    size = [len(group) for group in groups]
    if spread == "range":
        spreads = np.array([np.ptp(group) for group in groups])
        mean_of, sd_of = np.array([d2(n) for n in size]), np.array([d3(n) for n in size])
    else:
        spreads = np.array([np.std(group, ddof=1) for group in groups])
        mean_of = np.array([c4(n) for n in size])
        sd_of = np.sqrt(1.0 - mean_of**2)
    chosen = baseline or slice(None)
    sigma = float(np.mean(spreads[chosen] / mean_of[chosen]))
    means = np.array([np.mean(group) for group in groups])
    centre = float(np.mean(np.concatenate(groups[chosen])))
    word = "range" if spread == "range" else "standard deviation"
    return (
        _three_sigma("mean", means, centre, sigma / np.sqrt(size)),
        _three_sigma(word, spreads, mean_of * sigma, sd_of * sigma, least=0.0),
    )


def share(some: FloatArray, of: FloatArray, baseline: slice | None = None) -> Chart:
    """p chart: a share of each group, binomial."""
    chosen = baseline or slice(None)
    p = float(np.sum(some[chosen]) / np.sum(of[chosen]))
    return _three_sigma("share", some / of, p, np.sqrt(p * (1 - p) / of), least=0.0, most=1.0, patterns=True)


def per_unit(count: FloatArray, of: FloatArray, baseline: slice | None = None) -> Chart:
    """u chart: defects for each unit of a group, Poisson."""
    chosen = baseline or slice(None)
    u = float(np.sum(count[chosen]) / np.sum(of[chosen]))
    return _three_sigma("defects per unit", count / of, u, np.sqrt(u / of), least=0.0, patterns=True)


def ewma(
    values: FloatArray, centre: float, sigma: float, weight: float = 0.2, width: float = 2.962, *,
    settled: bool = False,
) -> Chart:  # fmt: skip
    """Exponentially weighted moving average; limits `width` standard deviations of it away.

    Lucas and Saccucci, Technometrics 32 (1990): weight 0.2 and width 2.962 alarm falsely once in about 500. Limits
    widen from the first point on, or are at once those of a long chart where `settled`.
    """
    start = np.full((*values.shape[:-1], 1), (1 - weight) * centre)
    value, _ = lfilter([weight], [1.0, weight - 1.0], values, axis=-1, zi=start)
    place = np.arange(1, values.shape[-1] + 1)
    grown = 1.0 if settled else 1.0 - (1.0 - weight) ** (2 * place)
    spread = np.broadcast_to(sigma * np.sqrt(weight / (2 - weight) * grown), values.shape)
    middle = np.full(values.shape, centre)
    return Chart(
        "moving average", value, middle, middle - width * spread, middle + width * spread, spread,
        has_patterns=False,
    )  # fmt: skip


def cusum(
    values: FloatArray, centre: float, sigma: float, slack: float = 0.5, interval: float = 5.0,
    head_start: float = 0.0,
) -> tuple[Chart, Chart]:  # fmt: skip
    """Tabular cumulative sums upwards (positive) and downwards (negative); the limits are `interval` sigmas.

    `slack` (k), `interval` (h) and `head_start` are in sigmas (Lucas and Crosier, Technometrics 24, 1982); slack 0.5
    finds a shift of one sigma soonest, and with interval 5 alarms falsely once in about 465.
    """
    up = _one_sided(values - centre - slack * sigma, head_start * sigma)
    down = -_one_sided(centre - values - slack * sigma, head_start * sigma)
    zero, limit = np.zeros(values.shape), np.full(values.shape, interval * sigma)
    none, spread = np.full(values.shape, np.inf), np.full(values.shape, sigma)
    return (
        Chart("sum upwards", up, zero, -none, limit, spread, has_patterns=False),
        Chart("sum downwards", down, zero, -limit, none, spread, has_patterns=False),
    )


def _one_sided(step: FloatArray, start: float) -> FloatArray:
    """The sum that is never let below zero: S less its own lowest so far, where that is below zero."""
    total = start + np.cumsum(step, axis=-1)
    return total - np.minimum(0.0, np.minimum.accumulate(total, axis=-1))


def _three_sigma(
    what: str, value: FloatArray, centre: float | FloatArray, sigma: FloatArray, *,
    least: float = -np.inf, most: float = np.inf, patterns: bool | None = None,
) -> Chart:  # fmt: skip
    """Limits three sigmas away, never beyond what such a value can be."""
    middle = np.broadcast_to(np.asarray(centre, dtype=float), value.shape)
    low = np.maximum(middle - SIGMAS * sigma, least)
    high = np.minimum(middle + SIGMAS * sigma, most)
    has_patterns = least == -np.inf if patterns is None else patterns
    return Chart(what, value, middle, low, high, sigma, has_patterns=has_patterns)
