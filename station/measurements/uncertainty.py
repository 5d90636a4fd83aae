"""The uncertainty budget of a reading by JCGM 100 (the GUM), as pure values: contributions in, U and its lines out.

A budget is linear: each contribution is the standard uncertainty of one input, times its sensitivity. Clauses as in
JCGM 100:2008, from memory: 4.3 (distributions), 5.1 and 5.2 (combining, correlation), 6.2 (expanded), G.4 (effective
degrees of freedom), G.6.5 (a bounded contribution that leads).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray
from scipy.special import j0, ndtri, stdtrit

FloatArray = NDArray[np.float64]

DB_PER_NEPER = 20 / math.log(10)
"""8.686: by so many dB a level moves for a small relative error of its voltage."""


class Kind(StrEnum):
    """How a contribution was found."""

    A = "A"
    """From the scatter of repeated readings."""

    B = "B"
    """From anything else: a certificate, a stated figure, a formula."""


class Distribution(StrEnum):
    """What is known of the values a contribution may take."""

    NORMAL = "normal"
    """Stated as a standard uncertainty, or as an expanded one with its divisor k."""

    RECTANGULAR = "rectangular"
    TRIANGULAR = "triangular"
    ARCSINE = "U-shaped"
    """The projection of a vector of known length and unknown phase, as in mismatch."""

    EITHER = "either sign"
    """Of known size, one way or the other and nowhere between, as the resistance of one load is off."""


DIVISORS = {
    Distribution.NORMAL: 1.0,
    Distribution.RECTANGULAR: math.sqrt(3),
    Distribution.TRIANGULAR: math.sqrt(6),
    Distribution.ARCSINE: math.sqrt(2),
    Distribution.EITHER: 1.0,
}
"""From the half-width, or the standard deviation, to the standard uncertainty."""


@dataclass(frozen=True, slots=True)
class Contribution:
    """One line of a budget."""

    name: str
    kind: Kind
    distribution: Distribution
    value: float
    """As it is stated, in the input's own unit: the half-width of its limits, or an uncertainty."""

    source: str = ""
    """Where the value comes from."""

    divisor: float | None = None
    """What turns `value` into a standard uncertainty; that of the distribution unless it is stated."""

    sensitivity: float = 1.0
    """By how much the result moves for a unit of the input; may be negative."""

    degrees_of_freedom: float = math.inf

    def __post_init__(self) -> None:
        if not 0.0 <= self.value < math.inf or not math.isfinite(self.sensitivity):
            raise ValueError(f"{self.name}: {self.value} times {self.sensitivity} is no uncertainty")
        if (self.divisor is not None and not self.divisor > 0.0) or not self.degrees_of_freedom > 0.0:
            raise ValueError(f"{self.name}: divisor and degrees of freedom lie above zero")

    @property
    def standard(self) -> float:
        """Standard uncertainty of the input, in its own unit."""
        return self.value / (DIVISORS[self.distribution] if self.divisor is None else self.divisor)

    @property
    def signed_share(self) -> float:
        """Standard uncertainty of the result by this input alone, with the sign of its sensitivity."""
        return self.sensitivity * self.standard

    @property
    def share(self) -> float:
        """Standard uncertainty of the result by this input alone, in the result's unit."""
        return abs(self.signed_share)


@dataclass(frozen=True, slots=True)
class Correlation:
    """How two inputs go together."""

    first: str
    second: str
    coefficient: float
    """From -1 to 1."""


@dataclass(frozen=True, slots=True)
class Budget:
    """Everything that makes one result uncertain."""

    unit: str
    contributions: tuple[Contribution, ...]
    correlations: tuple[Correlation, ...] = ()
    """Inputs that no entry names are independent."""

    def __post_init__(self) -> None:
        names = [line.name for line in self.contributions]
        if len(set(names)) != len(names):
            raise ValueError("two contributions bear one name, so that one could be counted twice")
        for pair in self.correlations:
            if not {pair.first, pair.second} <= set(names) or pair.first == pair.second:
                raise ValueError(f"{pair.first} and {pair.second} are not two inputs of this budget")
            if not -1.0 <= pair.coefficient <= 1.0:
                raise ValueError(f"a correlation lies between -1 and 1, not {pair.coefficient}")

    @property
    def combined(self) -> float:
        """Combined standard uncertainty, JCGM 100 clauses 5.1.2 and 5.2.2."""
        return math.sqrt(max(0.0, covariance(self, self)))

    @property
    def effective_degrees_of_freedom(self) -> float:
        """By Welch and Satterthwaite, JCGM 100 clause G.4.1; not truncated. Infinite where nothing is scattered.

        Raises ValueError where inputs are correlated, for which the formula does not hold.
        """
        if self.correlations:
            raise ValueError("effective degrees of freedom are defined for independent inputs only")
        weight = math.fsum(line.share**4 / line.degrees_of_freedom for line in self.contributions)
        return self.combined**4 / weight if weight > 0.0 else math.inf

    def coverage_factor(self, probability: float) -> float:
        """Student's factor for the effective degrees of freedom, truncated to a whole number (clause G.4.1)."""
        degrees = self.effective_degrees_of_freedom
        upper = (1.0 + probability) / 2.0
        if math.isinf(degrees):
            return float(ndtri(upper))
        return float(stdtrit(max(1.0, math.floor(degrees)), upper))

    def expanded(self, k: float = 2.0) -> float:
        """U with a stated coverage factor."""
        return k * self.combined

    @property
    def k(self) -> float:
        """The coverage factor of the U that is stated (`coverage_factors`). Takes the lines as independent."""
        shares = np.array([line.share for line in self.contributions]).reshape(-1, 1)
        distributions = [line.distribution for line in self.contributions]
        return float(coverage_factors(shares, distributions, SIZES_DIFFER)[0])

    @property
    def stated(self) -> float:
        """The U that is stated, with the factor `k`."""
        return self.k * self.combined

    def expanded_for(self, probability: float) -> float:
        """U for a coverage probability, by effective degrees of freedom."""
        return self.coverage_factor(probability) * self.combined


STATED_COVERAGE = math.erf(math.sqrt(2))
"""95.45 %: what k = 2 covers of a normal distribution, and what every stated U covers."""

SIZES_DIFFER = 0.2
"""Relative standard deviation, about 2 dB, of the lengths of vectors that are stated as rms of their kind."""

NEAR_NORMAL = 1.95
"""From this factor on the sum of the lines is as good as normal, and k is 2."""

PERIOD = 5.0
"""Half of it, in standard deviations: what lies beyond comes back as if it lay inside, 6e-7 of a normal one."""

_TERMS = np.pi / PERIOD * np.arange(1, 161)
_FACTORS = np.linspace(0.95, 2.05, 221)
_SINES = 2 / PERIOD * np.sin(np.outer(_TERMS, _FACTORS)) / _TERMS[:, None]


def coverage_factors(
    shares: FloatArray, distributions: Sequence[Distribution], sizes_differ: float = 0.0
) -> FloatArray:
    """The factors by which sums of independent contributions cover 95.45 %, rounded to 0.01; 2 where near normal.

    `shares` are standard uncertainties, one row for each of the m distributions and one column for each of the n
    sums; returns shape (n,). A sum in which a bounded contribution leads has no tails, so that 2 would cover more
    than is said of it: of a rectangular one alone 1.65 does, of a U-shaped one 1.41 (JCGM 100 G.6.5; EA-4/02
    supplement 1, S9.14, from memory). The characteristic function of a sum is the product of those of its parts, and
    gives the distribution function as a Fourier series (the theory of probability; tried against sums of drawn
    values). Where the lengths of U-shaped contributions are known as an rms only, they differ by
    `sizes_differ` of it: half of them are longer, half of them shorter.
    """
    combined = np.sqrt(np.sum(shares**2, axis=0))
    relative = shares / np.where(combined > 0.0, combined, 1.0)
    product = np.ones((shares.shape[1], len(_TERMS)))
    for share, distribution in zip(relative, distributions, strict=True):
        product *= _characteristic(distribution, share[:, None] * _TERMS, sizes_differ)
    covered = _FACTORS / PERIOD + product @ _SINES
    place = np.maximum(np.argmax(covered >= STATED_COVERAGE, axis=1), 1)
    below, above = (np.take_along_axis(covered, each[:, None], axis=1)[:, 0] for each in (place - 1, place))
    step = _FACTORS[1] - _FACTORS[0]
    factor = _FACTORS[place] - step * (above - STATED_COVERAGE) / (above - below)
    return np.where((factor >= NEAR_NORMAL) | (combined == 0.0), 2.0, np.round(factor, 2))


def _characteristic(distribution: Distribution, t: FloatArray, sizes_differ: float) -> FloatArray:
    """The mean of cos(t x / u) over a distribution of standard deviation u."""
    match distribution:
        case Distribution.NORMAL:
            found = np.exp(-(t**2) / 2)
        case Distribution.RECTANGULAR:
            found = np.sinc(t * math.sqrt(3) / math.pi)
        case Distribution.TRIANGULAR:
            found = np.sinc(t * math.sqrt(6) / 2 / math.pi) ** 2
        case Distribution.ARCSINE:
            longer, shorter = (math.sqrt(2 + 4 * sign * sizes_differ) for sign in (1, -1))
            found = (j0(t * longer) + j0(t * shorter)) / 2
        case Distribution.EITHER:
            found = np.cos(t)
    return np.asarray(found, dtype=np.float64)


def covariance(first: Budget, second: Budget) -> float:
    """Of two results from the same inputs, which are told by their names; JCGM 100 clause 5.2.2 and H.2.3."""
    known = {
        frozenset((pair.first, pair.second)): pair.coefficient
        for pair in (*first.correlations, *second.correlations)
    }
    return math.fsum(
        one.signed_share
        * other.signed_share
        * (1.0 if one.name == other.name else known.get(frozenset((one.name, other.name)), 0.0))
        for one in first.contributions
        for other in second.contributions
    )


def correlation(first: Budget, second: Budget) -> float:
    """Correlation coefficient of two results from the same inputs."""
    return covariance(first, second) / (first.combined * second.combined)


def from_readings(name: str, readings: Sequence[float], sensitivity: float = 1.0) -> Contribution:
    """The mean of repeated readings: s / sqrt(n) with n - 1 degrees of freedom, JCGM 100 clause 4.2.3."""
    if len(readings) < 2:
        raise ValueError(f"{name}: a scatter needs two readings or more")
    return Contribution(
        name,
        Kind.A,
        Distribution.NORMAL,
        float(np.std(readings, ddof=1) / math.sqrt(len(readings))),
        source=f"{len(readings)} repeated readings",
        sensitivity=sensitivity,
        degrees_of_freedom=len(readings) - 1,
    )


def vector_error_limits_db(ratio: float) -> tuple[float, float]:
    """How far an unknown vector of `ratio` times its size moves a level, down and up: 20 log10(1 -+ ratio).

    Mismatch between source and load has ratio |Gs Gl|; a directivity D seen beside a reflection G has D / |G|.
    The lower limit is minus infinity from a ratio of 1 on.
    """
    if not ratio >= 0.0:
        raise ValueError(f"a ratio of sizes is not negative, got {ratio}")
    low = -math.inf if ratio >= 1.0 else 20 * math.log10(1.0 - ratio)
    return low, 20 * math.log10(1.0 + ratio)


def vector_error(name: str, ratio: float, source: str) -> Contribution:
    """An unknown vector of `ratio` times the size of what is measured, as a contribution in dB.

    Of unknown phase, so U-shaped, with the half-width of the small ratio, 8.686 times it.
    """
    return Contribution(name, Kind.B, Distribution.ARCSINE, DB_PER_NEPER * ratio, source)
