"""Capability: how well a process fits between its limits, and how well so few units know it.

Cp and Cpk are about the process as it is from unit to unit (spread from moving ranges), Pp and Ppk about all that was
made (spread of all). Where the limits have one end, there is Cpk and Ppk of that end alone. Readings of which only a
bound is known are counted and never calculated with.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, norm

from limits.control import D2
from limits.population import ENOUGH_UNITS, MOST_BOUNDS
from limits.risk import Interval
from reports.trends.components import CONFIDENCE
from reports.trends.johnson import Curve, fit, observed, through
from reports.trends.moments import moments
from reports.trends.normality import NOT_NORMAL, Normality, normality
from reports.trends.stability import instability

ENOUGH_FOR_PERCENTILES = 1000
"""Readings from which on the percentiles 0.135 % and 99.865 % are observed: of fewer they lie beyond all."""

OUTER = (0.00135, 0.5, 0.99865)
"""What the percentile method calls lowest, middle and highest: what lies within three deviations of a normal mean."""

DRAWS = 500
"""Samples drawn anew for the intervals of the percentile method."""

LEAST_SHARE = 0.9
"""Of the samples drawn anew, so many must have a curve for an interval to be told."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Index:
    """A capability index; the interval is NaN where nobody can tell it."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Capability:
    """What is known of one characteristic against one limit."""

    values: int
    """Readings that are numbers; only they are calculated with."""

    bounds: int
    """Left out, because only a bound of them is known."""

    mean: float | None = None
    sd: float | None = None
    """Of all readings."""

    sd_within: float | None = None
    """From unit to unit: mean moving range over d2."""

    normality: Normality | None = None
    """None where too few values can tell."""

    cp: Index | None = None
    cpk: Index | None = None
    pp: Index | None = None
    ppk: Index | None = None
    method: str = ""
    """By what the indices were found; empty where there are none."""

    doubts: tuple[str, ...] = ()
    """What speaks against them, an unstable process first."""

    why: str = ""
    """Why there are no indices."""

    @property
    def stable(self) -> bool:
        """Whether nothing was found that speaks against a stable process."""
        return not any(doubt.startswith(UNSTABLE) for doubt in self.doubts)


UNSTABLE = "not stable"


def capability(
    values: Sequence[float], limits: Interval, bounds: int = 0, confidence: float = CONFIDENCE, seed: int = 1
) -> Capability:
    """Judge the values, in the order in which they were made, against limits in the same unit.

    `bounds` counts the readings left out since only a bound is known of them. `seed` draws the intervals of the
    percentile method. Nothing is raised for bad data: `why` then says why there is no index.
    """
    found = moments(values)
    mean = found.mean if values else None
    if why := _why_not(values, bounds):
        return Capability(len(values), bounds, mean, found.sd, why=why)
    apart = np.asarray(values, dtype=np.float64) - values[0]
    within = float(np.mean(np.abs(np.diff(apart)))) / D2
    checked = normality(values)
    doubts = [f"{UNSTABLE}: {what}; no index foretells an unstable process" for what in instability(values)]
    if bounds:
        doubts.append(
            f"{bounds} of {len(values) + bounds} units are left out, of which only a bound is known"
        )
    if len(values) < ENOUGH_UNITS:
        doubts.append(f"fewer than {ENOUGH_UNITS} units: see how wide the intervals are")
    common = (len(values), bounds, mean, found.sd, within, checked)
    if checked is not None and not checked.holds:
        doubts.append(
            f"not normal (Anderson and Darling, p = {checked.p:.1g}): percentiles instead of mean and spread, and "
            "neither Cp nor Cpk"
        )
        low, high = (end - values[0] for end in limits.ends)
        indices, method, why = _by_percentiles(apart, (low, high), confidence, seed)
        return Capability(*common, None, None, *indices, method, tuple(doubts), why)
    if checked is None:
        doubts.append("too few readings to tell whether they are normal")
    df = len(values) - 1
    short = _normal(found.mean, within, limits, len(values), df_of_ranges(len(values)), confidence)
    long = _normal(found.mean, found.sd or math.nan, limits, len(values), df, confidence)
    return Capability(*common, *short, *long, "normal distribution", tuple(doubts))


def df_of_ranges(count: int) -> float:
    """Degrees of freedom of the spread that the mean moving range of so many normal values tells.

    From its variance, in which neighbouring ranges share a value: sigma^2 (0.8265 n - 1.0821) / (n - 1)^2 after
    division by d2 (derived; as Cryer and Ryan, J. Quality Technology 22, 1990, from memory).
    """
    alone = 2.0 - 4.0 / math.pi
    shared = 4.0 / math.pi * (math.sqrt(0.75) + 0.5 * math.asin(0.5)) - 4.0 / math.pi
    variance = ((count - 1) * alone + 2 * (count - 2) * shared) / (count - 1) ** 2 / (4.0 / math.pi)
    return 1.0 / (2.0 * variance)


def two_sided(value: float, df: float, confidence: float = CONFIDENCE) -> Index:
    """Cp or Pp with its interval: a spread's, by chi-square (Montgomery, Statistical Quality Control, chapter 8)."""
    beyond = (1.0 - confidence) / 2.0
    low, high = (value * math.sqrt(float(chi2.ppf(share, df)) / df) for share in (beyond, 1.0 - beyond))
    return Index(value, low, high)


def nearer(value: float, count: int, df: float, confidence: float = CONFIDENCE) -> Index:
    """Cpk or Ppk with its interval, which is approximate: Bissell, Applied Statistics 39 (1990), 331."""
    reach = float(norm.isf((1.0 - confidence) / 2.0)) * math.sqrt(1.0 / (9.0 * count) + value**2 / (2.0 * df))
    return Index(value, value - reach, value + reach)


def _why_not(values: Sequence[float], bounds: int) -> str:
    count = len(values) + bounds
    if bounds > MOST_BOUNDS * count:
        return f"of {bounds} of {count} units only a bound is known, so nobody knows how all of them spread"
    if len(values) < 3:
        return "fewer than three units have a reading"
    return "" if min(values) < max(values) else "the readings do not spread"


def _normal(
    mean: float, sd: float, limits: Interval, count: int, df: float, confidence: float
) -> tuple[Index | None, Index]:
    low, high = limits.ends
    both = None
    if math.isfinite(low) and math.isfinite(high):
        both = two_sided((high - low) / (6.0 * sd), df, confidence)
    return both, nearer(min(high - mean, mean - low) / (3.0 * sd), count, df, confidence)


def _by_percentiles(
    apart: Array, ends: tuple[float, float], confidence: float, seed: int
) -> tuple[tuple[Index | None, Index | None], str, str]:
    """Pp and Ppk, the method, and why there are none: percentile method of ISO 22514-2 (from memory)."""
    samples = _drawn_anew(apart, seed)
    if len(apart) >= ENOUGH_FOR_PERCENTILES:
        method, middle = "percentiles as observed (ISO 22514-2)", _observed(apart)
        return _indices(middle, [_observed(each) for each in samples], ends, confidence), method, ""
    found = fit(apart)
    if found is None or found.p < NOT_NORMAL:
        why = f"no curve fits the readings; {ENOUGH_FOR_PERCENTILES} are needed to observe their outer percentiles"
        return (None, None), "", why
    curves = (through(observed(each), found.spacing) for each in samples)
    refitted = [_of_curve(curve) for curve in curves if curve is not None]
    method = "percentiles of a Johnson curve (ISO 22514-2)"
    return _indices(_of_curve(found.curve), refitted, ends, confidence), method, ""


def _drawn_anew(values: Array, seed: int) -> Array:
    """Samples of as many readings, drawn from them: Efron's bootstrap. Shape (DRAWS, n)."""
    return np.asarray(np.random.default_rng(seed).choice(values, (DRAWS, len(values))))


def _observed(values: Array) -> Array:
    """By the definition of the e-Handbook, 7.2.6.2: share i / (n + 1)."""
    return np.asarray(np.quantile(values, OUTER, method="weibull"), dtype=np.float64)


def _of_curve(curve: Curve) -> Array:
    return np.array([curve.value(float(score)) for score in norm.ppf(OUTER)])


def _indices(
    outer: Array, drawn: Sequence[Array], ends: tuple[float, float], confidence: float
) -> tuple[Index | None, Index]:
    both = all(math.isfinite(end) for end in ends)
    pairs = [_of_percentiles(each, ends) for each in drawn]
    pp, ppk = _of_percentiles(outer, ends)
    return (
        _with_interval(pp, [pair[0] for pair in pairs], confidence) if both else None,
        _with_interval(ppk, [pair[1] for pair in pairs], confidence),
    )


def _of_percentiles(outer: Array, ends: tuple[float, float]) -> tuple[float, float]:
    lowest, middle, highest = map(float, outer)
    low, high = ends
    return (high - low) / (highest - lowest), min(
        (high - middle) / (highest - middle), (middle - low) / (middle - lowest)
    )


def _with_interval(value: float, drawn: Sequence[float], confidence: float) -> Index:
    if len(drawn) < LEAST_SHARE * DRAWS:
        return Index(value, math.nan, math.nan)
    beyond = (1.0 - confidence) / 2.0
    low, high = np.quantile(drawn, [beyond, 1.0 - beyond])
    return Index(value, float(low), float(high))
