"""Is a process stable enough for its spread to foretell anything? Two tests whose false alarms do not grow with n."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np
from scipy.stats import norm

from limits.control import individuals

FALSE_ALARMS = 0.01
"""How often a stable process is called drifting."""

LEAST_FOR_ORDER = 10
"""Readings from which on the normal approximation of the second test is good."""


def instability(values: Sequence[float]) -> Iterator[str]:
    """What speaks against a stable process, in words; `values` in the order in which they were made, three at least.

    Single values beyond limits of the chart of individual values, widened for as many as there are; and neighbours
    that are more alike than readings in any order (drift, steps, batches): von Neumann's ratio, Annals of
    Mathematical Statistics 12 (1941), 367, with its normal approximation (from memory).
    """
    apart = np.asarray(values, dtype=np.float64) - values[0]
    limits = individuals([*apart], together=len(apart))
    beyond = int(((apart < limits.low) | (apart > limits.high)).sum())
    if beyond:
        yield f"{beyond} of {len(values)} lie beyond the control limits"
    if len(values) >= LEAST_FOR_ORDER and (p := order_p(values)) < FALSE_ALARMS:
        yield f"neighbours are more alike than chance makes them (p = {p:.1g}): a drift, a step, or batches"


def order_p(values: Sequence[float]) -> float:
    """How often readings in no order would have neighbours that are as much alike."""
    count = len(values)
    apart = np.asarray(values, dtype=np.float64) - values[0]
    apart = apart - apart.mean()
    total = float(apart @ apart)
    ratio = float((np.diff(apart) ** 2).sum()) / total
    return float(norm.cdf((ratio - 2.0) / (2.0 * math.sqrt((count - 2.0) / (count**2 - 1.0)))))
