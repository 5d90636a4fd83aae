"""How often a limit decides wrongly, from what many units of a model read: the population of each characteristic and
the risks of its decisions under the rule in force.

Assumed are true values that spread normally, with the spread of the readings, in which the measurement's own part is
left (so that it is rather too wide), and errors of measurement that are normal, without bias, with the median U of
the readings. What speaks against that is said as a doubt. A reading that is only a bound is counted, never averaged:
those left out lie at one end, so the sample is cut off there, and where they are many no risk is told.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from scipy.stats import shapiro

from limits.kinds.bound import Amount, Bound, NumberBound
from limits.quantity import Channels, Frequency
from limits.reading import Claim, Reading
from limits.risk import Interval, Population, Risks, conformance_probability, global_risks, guard_for
from limits.rules import Rule
from limits.table import LimitRow
from limits.verdict import Level, Outcome

COVERAGE = 2.0
"""What a U is divided by to have a standard deviation: of the normal distribution that lies within U as often. The k
by which U was found is smaller where a bounded contribution leads, whose errors end where normal ones go on."""

ENOUGH_UNITS = 20
"""With fewer, the spread itself is known to no better than about a sixth: 1 / sqrt(2 (n - 1)) of it."""

MOST_BOUNDS = 0.05
"""Share of units left out, since only a bound is known of them, up to which the others stand for all: a normal
population that loses its highest 5 % has its mean 0.11 standard deviations lower and its spread 10 % smaller."""

LEAST_FOR_CHECK = 8
NOT_NORMAL = 0.01
"""Below this p of the test of Shapiro and Wilk (Biometrika 52, 1965) a population is called not normal."""


@dataclass(frozen=True, slots=True)
class UnitReading:
    """One reading of one unit."""

    serial: str
    channels: Channels
    reading: Reading


@dataclass(frozen=True, slots=True)
class Specific:
    """The risk that one unit was decided wrongly, nothing being known of it but its reading."""

    risk: float
    serial: str


@dataclass(frozen=True, slots=True)
class LevelRisk:
    """The risks of one limit."""

    level: Level
    limit: str
    rule: str
    risks: Risks | None = None
    """Over the population, of all units; None where `why` says why."""

    worst_passed: Specific | None = None
    """The largest specific consumer's risk among the units that pass."""

    worst_other: Specific | None = None
    """The largest specific producer's risk among those that do not pass: they fail or stay undecided."""

    guard: float | None = None
    """The guard band that would keep the consumer's risk at the figure asked for, in the reading's unit."""

    why: str = ""


@dataclass(frozen=True, slots=True)
class CharacteristicRisk:
    """What is known of one characteristic of a model."""

    name: str
    title: str
    unit: str
    values: int
    """Units whose reading is a number; only they are averaged, and not the worst points of masks."""

    bounds: int
    """Units of which only a bound is known."""

    missing: int
    """Units without a reading."""

    mean: float | None
    """Of a frequency that is limited relative to a channel: from that channel."""

    sd: float | None
    u: float | None
    """The median U of the numbers; None where none has one."""

    channel: str
    """`tx` or `rx` where mean and limits are relative to it; empty otherwise."""

    doubts: tuple[str, ...]
    """What speaks against the assumptions."""

    levels: tuple[LevelRisk, ...]


def assess(
    row: LimitRow, rules: Mapping[Level, Rule], units: Sequence[UnitReading], at_most: float | None = None
) -> CharacteristicRisk:
    """The population and risks of one row of a limit table; `units` are the readings of its characteristic.

    `at_most` is a consumer's risk to find a guard band for. Raises ValueError without a unit.
    """
    if not units:
        raise ValueError(f"no unit has a reading of '{row.name}'")
    numbers = [unit for unit in units if _is_number(unit.reading)]
    anchor = _anchor(row)
    limited = any(isinstance(bound, NumberBound) for _, bound in row.bounds)
    values = [_value(unit, anchor) for unit in numbers if limited]
    stated = [unit.reading.u for unit in numbers if unit.reading.u]
    bounds = sum(unit.reading.value is not None for unit in units) - len(numbers)
    sample = _Sample(
        tuple(values),
        tuple(numbers),
        bounds,
        statistics.stdev(values) if len(values) > 1 else None,
        statistics.median(stated) if stated else None,
    )
    return CharacteristicRisk(
        name=row.name,
        title=units[0].reading.title,
        unit=units[0].reading.unit,
        values=len(numbers),
        bounds=bounds,
        missing=sum(unit.reading.value is None for unit in units),
        mean=statistics.fmean(values) if values else None,
        sd=sample.sd,
        u=sample.u,
        channel=anchor.anchor or "" if anchor else "",
        doubts=tuple(_doubts(values, len(stated), bounds)),
        levels=tuple(
            _level(level, bound, rules[level], sample, anchor, at_most) for level, bound in row.bounds
        ),
    )


@dataclass(frozen=True, slots=True)
class _Sample:
    """The readings that are numbers."""

    values: tuple[float, ...]
    units: tuple[UnitReading, ...]
    bounds: int
    """Units left out of it, of which only a bound is known."""

    sd: float | None
    u: float | None


def _level(
    level: Level, bound: Bound, rule: Rule, sample: _Sample, anchor: Frequency | None, at_most: float | None
) -> LevelRisk:
    if not isinstance(bound, NumberBound):
        why = "judged at every frequency: its worst point has no normal population"
        return LevelRisk(level, "a mask", rule.name, why=why)
    words = _words(bound)
    if why := _why_not(bound, sample, anchor):
        return LevelRisk(level, words, rule.name, why=why)
    tolerance = _tolerance(bound)
    passed, other = _specific(sample, tolerance, rule)
    worst = (_worst(passed), _worst(other))
    why = _no_population(sample)
    if why or not sample.sd or not sample.u:
        return LevelRisk(level, words, rule.name, None, *worst, why=why)
    population, u = Population(statistics.fmean(sample.values), sample.sd), sample.u / COVERAGE
    try:
        acceptance = tolerance.guarded(rule.kind.pass_from * rule.factor * sample.u)
    except ValueError:
        why = "the guard bands leave nothing that passes"
        return LevelRisk(level, words, rule.name, None, *worst, why=why)
    guard = None if at_most is None else guard_for(population, u, tolerance, at_most)
    risks = global_risks(population, u, tolerance, acceptance)
    return LevelRisk(level, words, rule.name, risks, *worst, guard=guard)


def _why_not(bound: NumberBound, sample: _Sample, anchor: Frequency | None) -> str:
    """What keeps everything from being computed; empty where nothing does."""
    relative = {end.value.anchor for end in _ends(bound) if isinstance(end.value, Frequency)}
    if relative and relative != {anchor.anchor if anchor else None}:
        return "its limits are relative to different channels"
    if not sample.values:
        return "no unit has a number"
    return "" if sample.u else "no U was evaluated, so nothing is known of wrong decisions"


def _no_population(sample: _Sample) -> str:
    """What keeps the readings from standing for all units; empty where nothing does."""
    if not sample.sd:
        return "one value only" if len(sample.values) == 1 else "the readings do not spread"
    count = len(sample.values) + sample.bounds
    if sample.bounds > MOST_BOUNDS * count:
        return f"of {sample.bounds} of {count} units only a bound is known, so nobody knows how all of them spread"
    return ""


def _specific(sample: _Sample, tolerance: Interval, rule: Rule) -> tuple[list[Specific], list[Specific]]:
    """Each unit's own risk: of those that pass, and of the others."""
    passed: list[Specific] = []
    other: list[Specific] = []
    low, high = tolerance.ends
    for value, unit in zip(sample.values, sample.units, strict=True):
        if not unit.reading.u:
            continue
        inside = conformance_probability(value, unit.reading.u / COVERAGE, tolerance)
        if rule.decide(min(value - low, high - value), unit.reading.u) is Outcome.PASS:
            passed.append(Specific(1.0 - inside, unit.serial))
        else:
            other.append(Specific(inside, unit.serial))
    return passed, other


def _worst(risks: Sequence[Specific]) -> Specific | None:
    return max(risks, key=lambda each: each.risk, default=None)


def _doubts(values: Sequence[float], stated: int, bounds: int) -> Iterator[str]:
    count = len(values)
    if values and bounds:
        yield (
            f"{bounds} of {count + bounds} units are left out, of which only a bound is known: mean and spread are "
            "those of the others"
        )
    if 0 < stated < count:
        yield f"U is stated for {stated} of {count} units only"
    if 1 < count < ENOUGH_UNITS:
        known = 1.0 / math.sqrt(2.0 * (count - 1))
        yield f"fewer than {ENOUGH_UNITS} units: the spread is known to about {100 * known:.0f} % only"
    if count >= LEAST_FOR_CHECK and min(values) < max(values):
        # Centred first: frequencies in Hz would lose the digits that differ.
        p = float(shapiro([value - values[0] for value in values]).pvalue)
        if p < NOT_NORMAL:
            yield f"visibly not normal (Shapiro and Wilk, p = {p:.1g}): the risks may be far off"


def _is_number(reading: Reading) -> bool:
    return reading.value is not None and reading.claim is Claim.VALUE


def _ends(bound: NumberBound) -> list[Amount]:
    return [end for end in bound.amounts() if end is not None]


def _anchor(row: LimitRow) -> Frequency | None:
    """The first limit that is relative to a channel: readings are then taken from that channel."""
    ends = (end.value for _, bound in row.bounds if isinstance(bound, NumberBound) for end in _ends(bound))
    return next((end for end in ends if isinstance(end, Frequency) and end.anchor is not None), None)


def _value(unit: UnitReading, anchor: Frequency | None) -> float:
    value = unit.reading.value
    if value is None:
        raise ValueError(f"{unit.serial} has no reading of '{unit.reading.name}'")
    return value if anchor is None else value - (anchor.at(unit.channels) - anchor.offset_hz)


def _number(end: Amount | None) -> float | None:
    """In the unit of the values: of a frequency relative to a channel the distance from it."""
    if end is None:
        return None
    return end.value.offset_hz if isinstance(end.value, Frequency) else end.value


def _tolerance(bound: NumberBound) -> Interval:
    low, high = bound.amounts()
    return Interval(_number(low), _number(high))


def _words(bound: NumberBound) -> str:
    low, high = bound.amounts()
    if low is not None and high is not None:
        return f"between {low.text} and {high.text}"
    return f"at least {low.text}" if low is not None else f"at most {high.text if high else ''}"
