"""How often a decision is wrong: producer's and consumer's risk under a stated guard band.

By JCGM 106:2012, clauses 7 (conformance probability of one item) and 9 (risks over a whole population), with
normal distributions and no bias; clause numbers from memory. The standard uncertainty u of a
reading is U / 2, that of a normal distribution which lies within U as often as U says.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm

_FAR = 40.0
"""Standard deviations beyond which a normal density is no number any more: exp(-800) is zero."""


@dataclass(frozen=True, slots=True)
class Interval:
    """Values from `low` to `high`; None where it is open."""

    low: float | None
    high: float | None

    def __post_init__(self) -> None:
        low, high = self.ends
        if not low < high:
            raise ValueError(f"an interval rises: {self.low} to {self.high}")

    @property
    def ends(self) -> tuple[float, float]:
        """Infinite where it is open."""
        low = -math.inf if self.low is None else self.low
        return low, math.inf if self.high is None else self.high

    def guarded(self, guard: float) -> Interval:
        """The acceptance interval of a tolerance interval: each end moved inwards by the guard band, in its unit.

        A negative guard band moves outwards. Raises ValueError where nothing would be accepted.
        """
        return Interval(
            None if self.low is None else self.low + guard, None if self.high is None else self.high - guard
        )


@dataclass(frozen=True, slots=True)
class Population:
    """The true values of the units that are made, before they are tested."""

    mean: float
    sd: float
    """Above zero."""


@dataclass(frozen=True, slots=True)
class Risks:
    """Of all units that are made: how many conform, and how many are decided wrongly."""

    conforming: float
    """Truly inside the tolerance."""

    accepted: float
    """Measured inside the acceptance interval."""

    consumer: float
    """Accepted although outside the tolerance, of all units."""

    producer: float
    """Rejected although inside the tolerance, of all units."""

    @property
    def consumer_of_accepted(self) -> float:
        """Of the accepted units, how many are outside the tolerance; zero when none is accepted."""
        return self.consumer / self.accepted if self.accepted else 0.0


def conformance_probability(value: float, u: float, tolerance: Interval) -> float:
    """The probability that one item with this reading is inside its tolerance; u is the standard uncertainty.

    An accepted item carries the specific consumer's risk of one less this; a rejected one this as the specific
    producer's risk. Nothing is known of the item but its reading.
    """
    return _share_inside(tolerance, value, _positive("standard uncertainty", u))


def global_risks(population: Population, u: float, tolerance: Interval, acceptance: Interval) -> Risks:
    """Risks over a population measured with standard uncertainty u."""
    sd = _positive("standard deviation", population.sd)
    _positive("standard uncertainty", u)
    low, high = tolerance.ends

    def density(value: float) -> float:
        return float(norm.pdf(value, population.mean, sd))

    def accepted_at(value: float) -> float:
        return density(value) * _share_inside(acceptance, value, u)

    def rejected_at(value: float) -> float:
        return density(value) * _share_outside(acceptance, value, u)

    span = (population.mean - _FAR * sd, population.mean + _FAR * sd)
    kinks = [end + step * u for end in acceptance.ends for step in (-6.0, 0.0, 6.0)]
    kinks += [population.mean + step * sd for step in (-6.0, 0.0, 6.0)]
    return Risks(
        conforming=_share_inside(tolerance, population.mean, sd),
        accepted=_share_inside(acceptance, population.mean, math.hypot(sd, u)),
        consumer=_integral(accepted_at, span[0], min(low, span[1]), kinks)
        + _integral(accepted_at, max(high, span[0]), span[1], kinks),
        producer=_integral(rejected_at, max(low, span[0]), min(high, span[1]), kinks),
    )


def guard_for(population: Population, u: float, tolerance: Interval, risk: float) -> float:
    """The smallest guard band, in the population's unit, that keeps the global consumer's risk at `risk` or below.

    Zero where simple acceptance does so already. Found by bisection on `global_risks`, to a millionth of u.
    """
    if not 0.0 < risk < 1.0:
        raise ValueError(f"a risk lies between 0 and 1, not {risk}")

    def excess(guard: float) -> float:
        return global_risks(population, u, tolerance, tolerance.guarded(guard)).consumer - risk

    if excess(0.0) <= 0.0:
        return 0.0
    low, high = tolerance.ends
    # Beyond half of a closed tolerance nothing would be accepted; just before, next to nothing is.
    most = (high - low) / 2 * (1.0 - 1e-9)
    upper = min(u, most)
    while upper < most and excess(upper) > 0.0:
        upper = min(2.0 * upper, most)
    return upper if excess(upper) > 0.0 else float(brentq(excess, 0.0, upper, xtol=1e-6 * u))


def _share_inside(interval: Interval, mean: float, sd: float) -> float:
    """Of a normal distribution; differences of the nearer tail, so that small shares keep their digits."""
    low, high = ((end - mean) / sd for end in interval.ends)
    if low > 0:
        return float(norm.sf(low) - norm.sf(high))
    return float(norm.cdf(high) - norm.cdf(low))


def _share_outside(interval: Interval, mean: float, sd: float) -> float:
    low, high = ((end - mean) / sd for end in interval.ends)
    return float(norm.cdf(low) + norm.sf(high))


def _integral(f: Callable[[float], float], low: float, high: float, kinks: list[float]) -> float:
    """Piece by piece between the places where the integrand turns, which quadrature alone may step over."""
    if not low < high:
        return 0.0
    edges = [low, *sorted(kink for kink in kinks if low < kink < high), high]
    return float(sum(quad(f, a, b, epsabs=1e-13, epsrel=1e-10)[0] for a, b in pairwise(edges)))


def _positive(name: str, value: float) -> float:
    if not 0.0 < value < math.inf:
        raise ValueError(f"the {name} must be above zero, not {value}")
    return value
