"""How much care a recipe wants to be taken, and where: a fast sweep of everything, a careful one of what is close.

Without an `effort:` block a recipe sweeps everything once by its `analyzer:` settings. With one, these are the
careful settings: everything is swept by the `first:` ones, and only what lies near its limit, or near the noise
floor, is swept again by the recipe's own. On a bench that states no figures nobody knows what is near; there
everything is swept once with care.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import AfterValidator

from limits.formwords import got
from limits.quantity import Expression, Hertz, Seconds, Whole
from limits.units import NUMBER, tidy
from limits.yamlfile import Form
from station.measurements.sweep import SweepSettings


def within(low: float, high: float, why: str) -> AfterValidator:
    """Takes what lies between the two, and says why of what does not."""

    def check(value: float) -> float:
        if not low <= value <= high:
            raise ValueError(why)
        return value

    return AfterValidator(check)


_BANDWIDTH = (
    "the bandwidth lies from 1 Hz to 1 MHz: below it a sweep takes hours, above it noise hides the unit"
)
_AVERAGES = "the averages are 1 to 1000: more take hours and no longer help, since the unit drifts meanwhile"
_AT_MOST = (
    "'at_most' is more than 0 s: without any time nothing can be swept again; leave 'effort' out instead"
)

Bandwidth = Annotated[Hertz, within(1.0, 1e6, _BANDWIDTH)]
Averages = Annotated[Whole, within(1, 1000, _AVERAGES)]


@dataclass(frozen=True, slots=True)
class MultipleOfU(Expression):
    """So many times the expanded uncertainty of a reading: `2 U`."""

    pattern = rf"({NUMBER}\s*)?U"
    described = "A multiple of the expanded uncertainty, e.g. 2 U."

    text: str
    factor: float

    @classmethod
    def parse(cls, text: str) -> MultipleOfU:
        """Raises ValueError that says what was expected."""
        clean = tidy(text)
        number = clean.removesuffix("U").strip()
        try:
            factor = float(number or 1.0)
        except ValueError:
            factor = 0.0
        if not clean.endswith("U") or not 0.0 < factor <= 100.0:
            raise ValueError(f"expected a multiple of U from above 0 to 100, like '2 U', got {got(text)}")
        return cls(text.strip(), factor)


class FastForm(Form):
    """How everything is swept first."""

    bandwidth: Bandwidth
    averages: Averages


def _some_time(value: float) -> float:
    if value <= 0:
        raise ValueError(_AT_MOST)
    return value


class EffortForm(Form):
    """What is swept again with care."""

    first: FastForm
    within: MultipleOfU
    """A reading nearer than this to where its decision changes is swept again."""

    at_most: Annotated[Seconds, AfterValidator(_some_time)]
    """Of sweeping again, for one unit."""


@dataclass(frozen=True, slots=True)
class Effort:
    """What a recipe wants to be swept again, and how."""

    first: SweepSettings
    careful: SweepSettings
    within: float
    """In units of U."""

    at_most_s: float
    """Of careful sweeping, for one unit."""


def no_gain(first: FastForm, bandwidth_hz: float, averages: int) -> str:
    """What to tell of first settings that are not faster than the careful ones; empty where they are."""
    if first.bandwidth / first.averages > bandwidth_hz / averages:
        return ""
    return (
        "the first sweep is no faster than the careful one that 'analyzer' asks for; "
        "give it a wider bandwidth or fewer averages, or leave 'effort' out"
    )
