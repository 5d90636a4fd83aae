"""A share of a count, and how well so few units know it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Share:
    """Some of all, with an interval that holds the true share with 95 % confidence."""

    some: int
    of: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """From 0 to 1."""
        return self.some / self.of


def share(
    some: int,
    of: int,
    *,
    method: Literal["wilson", "exact"] = "wilson",
    confidence: float = CONFIDENCE,
) -> Share | None:
    """The share and its interval; None of nothing.

    Wilson's score interval (Newcombe, Statist. Med. 17, 1998) is right on the average; `exact` (Clopper and Pearson)
    is never too narrow. Both by scipy.
    """
    # Slow to import, and needed only where somebody asks.
    from scipy.stats import binomtest

    if of == 0:
        return None
    interval = binomtest(some, of).proportion_ci(confidence, method=method)
    return Share(some, of, float(interval.low), float(interval.high))
