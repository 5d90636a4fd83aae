"""Gauge study: how much of the spread of readings is the measurement's own.

Parts are measured by operators in repeated trials; the crossed analysis of variance separates the repeatability of
the equipment, the reproducibility of operators, and the parts. The interaction of parts and operators is pooled into
the repeatability where it is not significant (practice of the trade).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import f

from reports.trends.components import CONFIDENCE, Deviation, MeanSquare, deviation

POOLED_ABOVE = 0.05
"""The interaction is pooled where its p is above this."""

STUDY_SIGMAS = 6.0
"""Width of the spread that is compared with the tolerance, in standard deviations."""

CATEGORIES = 1.41
"""Square root of 2, as practice of the trade writes it."""

SHORT = "a gauge study needs two parts, two operators and two trials of each at least"


@dataclass(frozen=True, slots=True)
class Source:
    """One line of the analysis of variance."""

    name: str
    ss: float
    df: int
    f: float | None = None
    """Over the interaction, or over the pooled repeatability; None for that itself and for the total."""

    p: float | None = None

    @property
    def ms(self) -> float:
        """Mean square."""
        return self.ss / self.df

    @property
    def mean_square(self) -> MeanSquare:
        """With its degrees of freedom."""
        return MeanSquare(self.ms, self.df)


@dataclass(frozen=True, slots=True)
class Component:
    """One part of the spread."""

    name: str
    sd: Deviation
    contribution: float
    """Its share of the variance, from 0 to 1."""

    study: float
    """Its standard deviation over that of all, from 0 to 1."""

    tolerance: float | None
    """Its six standard deviations over the tolerance; None without one."""


@dataclass(frozen=True, slots=True)
class GaugeStudy:
    """What came of it."""

    parts: int
    operators: int
    trials: int
    sources: tuple[Source, ...]
    """`part`, `operator`, `interaction`, `repeatability`, `total`; with the F that the model before pooling has."""

    pooled: bool
    """Whether the interaction was pooled into the repeatability."""

    components: tuple[Component, ...]
    """`repeatability`, `reproducibility` (with the interaction where it stands), `gauge` (both), `part`, `total`."""

    categories: int
    """How many groups of parts the gauge can tell apart: 1.41 part / gauge, cut off; 1 at least."""

    def component(self, name: str) -> Component:
        """By name."""
        return next(each for each in self.components if each.name == name)

    def source(self, name: str) -> Source:
        """By name."""
        return next(each for each in self.sources if each.name == name)


def gauge_study(
    table: pd.DataFrame, tolerance: float | None = None, confidence: float = CONFIDENCE
) -> GaugeStudy:
    """Evaluate readings with the columns `part`, `operator` and `value`, one row for each trial.

    `tolerance` is the width between two limits, in the readings' unit. Raises ValueError where trials are missing
    (each operator measures each part equally often), or nothing spreads.
    """
    cube = _cube(table)
    parts, operators, trials = cube.shape
    sources = _sources(cube)
    part, operator, interaction, equipment, _ = sources
    pooled = interaction.p is None or interaction.p > POOLED_ABOVE
    if pooled:
        error = MeanSquare(
            (interaction.ss + equipment.ss) / (interaction.df + equipment.df), interaction.df + equipment.df
        )
        between = error
    else:
        error, between = equipment.mean_square, interaction.mean_square
    deviations = _deviations(
        part.mean_square, operator.mean_square, between, error, cube.shape, confidence, pooled=pooled
    )
    total = deviations["total"].value
    components = tuple(_component(name, sd, total, tolerance) for name, sd in deviations.items())
    return GaugeStudy(parts, operators, trials, sources, pooled, components, _categories(deviations))


def _cube(table: pd.DataFrame) -> NDArray[np.float64]:
    """The readings as parts x operators x trials, taken from their mean so that no digits are lost."""
    counts = table.groupby(["part", "operator"]).size().unstack(fill_value=0)
    trials = int(counts.to_numpy().max()) if len(table) else 0
    if trials < 2 or min(counts.shape) < 2:
        raise ValueError(SHORT)
    for row, column in np.argwhere(counts.to_numpy() < trials):
        part, operator, found = (
            str(counts.index[row]),
            str(counts.columns[column]),
            int(counts.to_numpy()[row, column]),
        )
        raise ValueError(f"{operator} measured {part} {found} times, others {trials} times")
    ordered = table.sort_values(["part", "operator"], kind="stable")["value"].to_numpy(dtype=np.float64)
    if not np.isfinite(ordered).all():
        raise ValueError("a trial has no number")
    if ordered.min() == ordered.max():
        raise ValueError("all readings are the same, so nothing can be told apart")
    cube = ordered.reshape(*counts.shape, trials)
    cube = cube - cube.flat[0]
    return np.asarray(cube - cube.mean(), dtype=np.float64)


def _sources(cube: NDArray[np.float64]) -> tuple[Source, ...]:
    parts, operators, trials = cube.shape
    by_part, by_operator, cells = cube.mean(axis=(1, 2)), cube.mean(axis=(0, 2)), cube.mean(axis=2)
    mixed = cells - by_part[:, None] - by_operator[None, :]
    interaction = Source("interaction", float(trials * (mixed**2).sum()), (parts - 1) * (operators - 1))
    equipment = Source(
        "repeatability", float(((cube - cells[:, :, None]) ** 2).sum()), parts * operators * (trials - 1)
    )
    part = Source("part", float(operators * trials * (by_part**2).sum()), parts - 1)
    operator = Source("operator", float(parts * trials * (by_operator**2).sum()), operators - 1)
    total = Source("total", float((cube**2).sum()), cube.size - 1)
    return (
        _tested(part, interaction),
        _tested(operator, interaction),
        _tested(interaction, equipment),
        equipment,
        total,
    )


def _tested(source: Source, against: Source) -> Source:
    if against.ss <= 0.0:
        return source
    ratio = source.ms / against.ms
    return Source(source.name, source.ss, source.df, ratio, float(f.sf(ratio, source.df, against.df)))


def _deviations(
    part: MeanSquare,
    operator: MeanSquare,
    between: MeanSquare,
    error: MeanSquare,
    shape: tuple[int, ...],
    confidence: float,
    *,
    pooled: bool,
) -> Mapping[str, Deviation]:
    """By the expected mean squares of the random model; `between` is the interaction, or the pooled error.

    A component that comes out negative counts as zero in itself and in the sums it belongs to.
    """
    parts, operators, trials = shape
    of_operator, of_part, of_cell = 1.0 / (parts * trials), 1.0 / (operators * trials), 1.0 / trials
    added, taken = [(of_operator, operator)], [(of_operator, between)]
    if operator.value < between.value:
        added, taken = [], []
    if not pooled:
        added.append((of_cell, between))
        taken.append((of_cell, error))
    own = deviation([(1.0, error)], confidence=confidence)
    repro = (
        deviation(_merged(added, taken), _merged(taken, added), confidence) if added else Deviation(0, 0, 0)
    )
    added = [*added, (1.0, error)]
    gauge = deviation(_merged(added, taken), _merged(taken, added), confidence)
    parted = deviation([(of_part, part)], [(of_part, between)], confidence)
    if part.value > between.value:
        added, taken = [*added, (of_part, part)], [*taken, (of_part, between)]
    total = deviation(_merged(added, taken), _merged(taken, added), confidence)
    return {
        "repeatability": own,
        "reproducibility": repro,
        "gauge": gauge,
        "part": parted,
        "total": total,
    }


def _merged(
    these: list[tuple[float, MeanSquare]], others: list[tuple[float, MeanSquare]]
) -> list[tuple[float, MeanSquare]]:
    """What is left of `these` when the same mean squares among `others` are taken off them."""
    weights: dict[MeanSquare, float] = {}
    for weight, each in these:
        weights[each] = weights.get(each, 0.0) + weight
    for weight, each in others:
        if each in weights:
            weights[each] -= weight
    return [(weight, each) for each, weight in weights.items() if weight > 0.0]


def _component(name: str, sd: Deviation, total: float, tolerance: float | None) -> Component:
    return Component(
        name,
        sd,
        (sd.value / total) ** 2,
        sd.value / total,
        STUDY_SIGMAS * sd.value / tolerance if tolerance else None,
    )


def _categories(deviations: Mapping[str, Deviation]) -> int:
    gauge, part = deviations["gauge"].value, deviations["part"].value
    return max(1, math.floor(CATEGORIES * part / gauge)) if gauge > 0.0 else 1
