"""Linearity: how the bias of a gauge depends on the size of what it measures."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy.stats import t

from reports.trends.components import CONFIDENCE


@dataclass(frozen=True, slots=True)
class Bias:
    """At one reference value, or of one part."""

    reference: float
    count: int
    bias: float
    """Mean reading less the reference value, in their unit."""

    low: float
    high: float
    t: float
    """Bias over its standard deviation."""


@dataclass(frozen=True, slots=True)
class Linearity:
    """The straight line through all biases."""

    slope: float
    intercept: float
    t_slope: float
    t_intercept: float
    p_slope: float
    p_intercept: float
    r_squared: float
    df: int
    biases: tuple[Bias, ...]
    """One for each reference value."""


def bias(readings: pd.Series[float], reference: float, confidence: float = CONFIDENCE) -> Bias:
    """How far off readings of one part are, by Student's t. Raises ValueError where they do not spread."""
    return bias_of(len(readings), float(readings.mean()), float(readings.std()), reference, confidence)


def bias_of(count: int, mean: float, sd: float, reference: float, confidence: float = CONFIDENCE) -> Bias:
    """The same from a summary of the readings."""
    if count < 2 or not sd > 0.0:
        raise ValueError(f"the bias at {reference:g} needs two readings that differ")
    error = sd / math.sqrt(count)
    reach = float(t.isf((1.0 - confidence) / 2.0, count - 1)) * error
    off = mean - reference
    return Bias(reference, count, off, off - reach, off + reach, off / error)


def linearity(table: pd.DataFrame, confidence: float = CONFIDENCE) -> Linearity:
    """From the columns `reference` and `value`: least squares of all biases over the reference values.

    Raises ValueError for fewer than two reference values or three readings.
    """
    x = table["reference"].to_numpy(dtype=np.float64)
    y = table["value"].to_numpy(dtype=np.float64) - x
    if len(np.unique(x)) < 2 or len(x) < 3:
        raise ValueError("linearity needs readings at two reference values at least, and three readings")
    centred = x - x.mean()
    sxx = float(centred @ centred)
    slope = float(centred @ (y - y.mean())) / sxx
    intercept = float(y.mean() - slope * x.mean())
    left = y - y.mean() - slope * centred
    df = len(x) - 2
    residual = math.sqrt(float(left @ left) / df)
    if residual == 0.0:
        raise ValueError("the readings lie on a line without any spread")
    t_slope = slope / (residual / math.sqrt(sxx))
    t_intercept = intercept / (residual * math.sqrt(1.0 / len(x) + x.mean() ** 2 / sxx))
    groups = table.groupby("reference")["value"]
    return Linearity(
        slope,
        intercept,
        t_slope,
        t_intercept,
        2.0 * float(t.sf(abs(t_slope), df)),
        2.0 * float(t.sf(abs(t_intercept), df)),
        1.0 - float(left @ left) / float(((y - y.mean()) ** 2).sum()),
        df,
        tuple(bias(values, float(reference), confidence) for reference, values in groups),  # type: ignore[arg-type]
    )
