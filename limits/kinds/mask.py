"""A curve must keep to its limit at every frequency of the mask's spans.

Where the curve has nothing to say, nothing is passed: a span it does not cover, a span without points, a wide
gap between points and a value that is not a number all leave the mask undecided, with a note that says where.
A point that is outside its limit fails the mask whatever else is missing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, ClassVar

import numpy as np
from numpy.typing import NDArray
from pydantic import AfterValidator, Field, RootModel, model_validator

from limits.kinds.bound import (
    DB,
    ROOT,
    Amount,
    Bound,
    Deciding,
    Weighed,
    by_margin_alone,
    nothing_said,
    unfit,
)
from limits.quantity import Channels, Span
from limits.reading import Curve, FloatArray, Reading
from limits.units import hertz_text, in_one_unit
from limits.verdict import LimitLine, Outcome
from limits.yamlfile import Form
from limits.yamltree import Loc

EDGE_HZ = 1.0
"""How far a point may miss the edge of a span and still be on it: analyzers keep frequencies to 1 Hz or better."""

WIDEST_STEP = 0.5
"""A step between points wider than this part of a span is a hole in it, whatever step was asked for."""


def _in_db(amount: Amount) -> Amount:
    if amount.unit != DB:
        raise ValueError(f"a mask is in dB, got '{amount}'")
    return amount


DbAmount = Annotated[Amount, AfterValidator(_in_db)]


class MaskRow(Form):
    """One stretch of a mask: the span it covers and its limit there, at_least or at_most."""

    over: Span
    at_least: DbAmount | None = None
    at_most: DbAmount | None = None

    @model_validator(mode="after")
    def _one_limit(self) -> MaskRow:
        if (self.at_least is None) == (self.at_most is None):
            raise ValueError("a stretch of a mask has either 'at_least' or 'at_most'")
        return self

    @property
    def limit(self) -> tuple[str, Amount, int]:
        """Its words, its amount, and the sign of what is inside: +1 above, -1 below."""
        if self.at_least is not None:
            return "at least", self.at_least, 1
        if self.at_most is not None:
            return "at most", self.at_most, -1
        raise ValueError("a stretch of a mask has either 'at_least' or 'at_most'")

    def margins(self, value: FloatArray, channels: Channels) -> FloatArray:
        """Distance to the limit of each value, positive inside."""
        _, amount, sign = self.limit
        return sign * (value - amount.at(channels))


class Mask(RootModel[Annotated[tuple[MaskRow, ...], Field(min_length=1)]]):
    """A limit over frequency: stretches, each with its span and its limit."""

    model_config = ROOT
    on_curve: ClassVar[bool] = True

    @property
    def unit(self) -> str:
        """Always dB."""
        return DB

    def words(self, channels: Channels) -> str:
        """E.g. `at least 70 dB from 157 to 158 MHz`, stretch by stretch."""
        return "; ".join(
            f"{row.limit[0]} {row.limit[1].words(channels)} from {_span_words(*row.over.at(channels))}"
            for row in self.root
        )

    def written(self) -> str:
        """As it stands in the table, stretch by stretch."""
        return "; ".join(f"{row.limit[0]} {row.limit[1]} over {row.over}" for row in self.root)

    def weigh(
        self, subject: Reading | Curve, channels: Channels, decide: Deciding = by_margin_alone
    ) -> Weighed:
        """The curve's worst point: by its outcome, among equals by its margin.

        No margin when no point is outside and something is missing.
        """
        if not isinstance(subject, Curve) or subject.unit != DB:
            return nothing_said(subject, (unfit(DB, self.on_curve, subject),))
        found = [_stretch(row, subject, channels, decide) for row in self.root]
        holes = [hole for stretch in found for hole in stretch.holes]
        worst = min((stretch for stretch in found if stretch.points), key=lambda s: s.badness, default=None)
        if worst is None or (holes and worst.margin >= 0):
            return nothing_said(subject, holes)
        return Weighed(replace(subject.at(worst.index), note="; ".join(holes)), worst.margin)

    def lines(self, reading: Reading, channels: Channels) -> tuple[LimitLine, ...]:
        """A level line for each stretch."""
        if reading.trace is None:
            return ()
        return tuple(
            LimitLine(row.over.at(channels), (amount.at(channels),) * 2, f"{sense} {amount.words(channels)}")
            for row in self.root
            for sense, amount, _ in (row.limit,)
        )

    def mistakes(self, channels: Channels) -> tuple[tuple[Loc, str], ...]:
        """The stretches whose ends cross for this unit."""
        crossed = enumerate(row.over.crossed(channels) for row in self.root)
        return tuple(((index, "over"), what) for index, what in crossed if what)

    def looser_than(self, other: Bound) -> bool:
        """Whether a stretch with the same span and sense has a surely looser limit."""
        if not isinstance(other, Mask):
            return False
        return any(_looser(row, its) for row in self.root for its in other.root)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """What a curve says of one stretch of a mask."""

    points: int
    """How many points could be judged."""

    index: int
    """The worst point."""

    badness: tuple[int, float]
    """The less, the worse: the place of its outcome, and its margin."""

    holes: tuple[str, ...]

    @property
    def margin(self) -> float:
        """Of the worst point."""
        return self.badness[1]


_WORST_FIRST = (Outcome.FAIL, Outcome.UNDECIDED, Outcome.PASS)


def _stretch(row: MaskRow, curve: Curve, channels: Channels, decide: Deciding) -> _Stretch:
    low, high = row.over.at(channels)
    inside = (curve.freq_hz >= low - EDGE_HZ) & (curve.freq_hz <= high + EDGE_HZ)
    margins = row.margins(curve.value, channels)
    settled = np.isfinite(curve.value)
    holes = list(_holes(curve, inside, low, high))
    if curve.at_least is not None:
        # A larger value would lie further inside of a lower limit, and further outside of an upper one.
        open_ = curve.at_least & (margins < 0 if row.limit[2] > 0 else margins >= 0)
        settled &= ~open_
        holes += _only_bounds(curve, inside & open_)
    judged = np.flatnonzero(inside & settled).tolist()
    if not judged:
        return _Stretch(0, 0, (0, 0.0), tuple(holes))
    badness = {index: _badness(float(margins[index]), _u(curve, index), decide) for index in judged}
    worst = min(judged, key=badness.__getitem__)
    return _Stretch(len(judged), worst, badness[worst], tuple(holes))


def _badness(margin: float, u: float | None, decide: Deciding) -> tuple[int, float]:
    return _WORST_FIRST.index(decide(margin, u)), margin


def _u(curve: Curve, index: int) -> float | None:
    return None if curve.u is None else float(curve.u[index])


def _only_bounds(curve: Curve, where: NDArray[np.bool_]) -> Iterator[str]:
    places = np.flatnonzero(where)
    if places.size:
        more = f" and {places.size - 1} more" if places.size > 1 else ""
        yield f"only a bound at {hertz_text(float(curve.freq_hz[places[0]]))}{more}, so its limit cannot be judged"


def _holes(curve: Curve, inside: NDArray[np.bool_], low: float, high: float) -> Iterator[str]:
    """Everything that keeps a curve from speaking for a whole span."""
    freq = curve.freq_hz[inside]
    if not np.all(np.diff(curve.freq_hz) > 0):
        yield "the curve's frequencies do not rise"
    elif not freq.size:
        yield f"not measured from {_span_words(low, high)}"
    else:
        edges = np.clip(np.concatenate(([low], freq, [high])), low, high)
        missing = np.diff(edges) > min(curve.step_hz, WIDEST_STEP * (high - low)) + EDGE_HZ
        missing[0] |= curve.freq_hz[0] > low + EDGE_HZ
        missing[-1] |= curve.freq_hz[-1] < high - EDGE_HZ
        for index in np.flatnonzero(missing):
            yield f"not measured from {_span_words(float(edges[index]), float(edges[index + 1]))}"
    lost = freq[~np.isfinite(curve.value[inside])]
    if lost.size:
        more = f" and {lost.size - 1} more" if lost.size > 1 else ""
        yield f"no number at {hertz_text(float(lost[0]))}{more}"


def _looser(mine: MaskRow, its: MaskRow) -> bool:
    (sense, amount, sign), (its_sense, its_amount, _) = mine.limit, its.limit
    if mine.over.ends != its.over.ends or sense != its_sense:
        return False
    return amount.surely_below(its_amount) if sign > 0 else its_amount.surely_below(amount)


def _span_words(low_hz: float, high_hz: float) -> str:
    return " to ".join(in_one_unit(hertz_text(low_hz), hertz_text(high_hz)))
