"""What every kind of limit can say, and what the kinds for a single number share.

A kind is a pydantic form with the methods of `Bound`; the judge, the table and the charts know nothing else of
it. Numbers are compared as they were measured, never rounded: 1.6000000000000003 is more than 1.6, and a
value exactly on its limit is inside.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import ClassVar, Protocol

from pydantic import ConfigDict

from limits.formwords import got
from limits.quantity import FREQUENCY_PATTERN, Channels, Expression, Frequency
from limits.reading import Claim, Curve, Reading
from limits.units import SIGNED, decibel, hertz_text, tidy
from limits.verdict import LimitLine, Outcome
from limits.yamltree import Loc

DB = "dB"
HZ = "Hz"
_LARGER = "the value may be larger, so this limit cannot be judged"
ROOT = ConfigDict(strict=True, frozen=True)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A subject set against a limit, before any rule is applied."""

    reading: Reading
    """What a decision is shown by; of a curve its worst point."""

    margin: float | None
    """Distance to the limit in the reading's unit, positive inside; None when nothing can be said."""


Deciding = Callable[[float, float | None], Outcome]
"""What a margin and the U of its reading mean under a decision rule."""


def by_margin_alone(margin: float, u: float | None) -> Outcome:
    """Simple acceptance."""
    return Outcome.PASS if margin >= 0 else Outcome.FAIL


class Bound(Protocol):
    """One limit of one characteristic, as it stands in a table."""

    on_curve: ClassVar[bool]
    """Whether it judges a Curve; else it judges a Reading."""

    @property
    def unit(self) -> str:
        """`dB` or `Hz`."""

    def words(self, channels: Channels) -> str:
        """E.g. `at most 1.6 dB`."""

    def written(self) -> str:
        """The same as it stands in the table, for units of any channels: `between rx ± 40 kHz`."""

    def weigh(
        self, subject: Reading | Curve, channels: Channels, decide: Deciding = by_margin_alone
    ) -> Weighed:
        """The subject against this limit for one unit. What does not fit the limit has no margin.

        Of a curve the point counts that `decide` says the worst of.
        """

    def lines(self, reading: Reading, channels: Channels) -> tuple[LimitLine, ...]:
        """The limit where a chart of the reading's trace can draw it; empty where it cannot."""

    def mistakes(self, channels: Channels) -> tuple[tuple[Loc, str], ...]:
        """What keeps it from judging one unit: where in the limit, and what; empty when it can be bound."""

    def looser_than(self, other: Bound) -> bool:
        """Whether this surely lets pass what `other` refuses. False where that depends on the channels."""


@dataclass(frozen=True, slots=True)
class Amount(Expression):
    """The number in a limit: dB, or a frequency, absolute or relative to a channel."""

    pattern = rf"{SIGNED}\s*dB|{FREQUENCY_PATTERN}"
    described = "A value, e.g. '1.5 dB' or 'rx - 20 kHz'."

    text: str
    """As it was written."""

    value: float | Frequency

    @classmethod
    def parse(cls, text: str) -> Amount:
        """Raises ValueError that says what was expected."""
        clean = tidy(text)
        if not re.search(r"[A-Za-z]", clean):
            raise ValueError(f"expected a value with its unit, like '1.5 dB' or '25 kHz', got {got(text)}")
        if re.search(r"^[A-Za-z]|hz$", clean, re.IGNORECASE):
            return cls(clean, Frequency.parse(clean))
        return cls(clean, decibel(clean))

    @property
    def unit(self) -> str:
        """`dB` or `Hz`."""
        return HZ if isinstance(self.value, Frequency) else DB

    def at(self, channels: Channels) -> float:
        """The number for one unit, in `unit`."""
        return self.value.at(channels) if isinstance(self.value, Frequency) else self.value

    def words(self, channels: Channels) -> str:
        """As it was written, save that a channel is named by its frequency."""
        if isinstance(self.value, Frequency) and self.value.anchor is not None:
            return hertz_text(self.value.at(channels))
        return re.sub(r" ?([A-Za-z]+)$", r" \1", self.text)

    def surely_below(self, other: Amount) -> bool:
        """Whether this is less than the other for every pair of channels."""
        mine, theirs = self.value, other.value
        if isinstance(mine, Frequency) and isinstance(theirs, Frequency):
            return mine.anchor == theirs.anchor and mine.offset_hz < theirs.offset_hz
        return isinstance(mine, float) and isinstance(theirs, float) and mine < theirs


class NumberBound(ABC):
    """The shared part of the kinds that judge one number: they differ in their two ends and their words."""

    on_curve: ClassVar[bool] = False

    @abstractmethod
    def written(self) -> str:
        """As it stands in the table."""

    @abstractmethod
    def amounts(self) -> tuple[Amount | None, Amount | None]:
        """The lower and the upper end as written; None where it is open."""

    def ends(self, channels: Channels) -> tuple[float | None, float | None]:
        """The lower and the upper end for one unit."""
        low, high = self.amounts()
        return low.at(channels) if low else None, high.at(channels) if high else None

    @property
    def unit(self) -> str:
        """`dB` or `Hz`."""
        return next(amount.unit for amount in self.amounts() if amount)

    def weigh(
        self, subject: Reading | Curve, channels: Channels, decide: Deciding = by_margin_alone
    ) -> Weighed:
        """The number against the nearer end.

        A bound ("at least so much") has a margin only where every value above it lies on the same side of the limit:
        it may pass, and where the limit is an upper one fail, but what it leaves open is never held against a unit.
        """
        if isinstance(subject, Curve) or subject.unit != self.unit:
            return nothing_said(subject, (unfit(self.unit, self.on_curve, subject),))
        if subject.value is None:
            return nothing_said(subject, (subject.note or "no value",))
        low, high = self.ends(channels)
        if subject.claim is Claim.AT_LEAST and not _settled(subject.value, low, high):
            return nothing_said(subject, (subject.note, _LARGER))
        room = [subject.value - low] if low is not None else []
        room += [high - subject.value] if high is not None else []
        return Weighed(subject, min(room))

    def lines(self, reading: Reading, channels: Channels) -> tuple[LimitLine, ...]:
        """A level line for each end over what the reading looks at, on a chart in dB."""
        if reading.trace is None or reading.span_hz is None or self.unit != DB:
            return ()
        span_hz = reading.span_hz
        senses = zip(("at least", "at most"), self.amounts(), self.ends(channels), strict=True)
        return tuple(
            LimitLine(span_hz, (end, end), f"{sense} {amount.words(channels)}")
            for sense, amount, end in senses
            if amount is not None and end is not None
        )

    def mistakes(self, channels: Channels) -> tuple[tuple[Loc, str], ...]:
        """None: a single end fits every unit."""
        return ()

    def looser_than(self, other: Bound) -> bool:
        """Whether an end of the other is surely passed by this one's, or left open."""
        if not isinstance(other, NumberBound) or other.unit != self.unit:
            return False
        (low, high), (its_low, its_high) = self.amounts(), other.amounts()
        open_below = its_low is not None and (low is None or low.surely_below(its_low))
        open_above = its_high is not None and (high is None or its_high.surely_below(high))
        return open_below or open_above


def _settled(value: float, low: float | None, high: float | None) -> bool:
    """Whether every value from this one upward lies on the same side of the limit."""
    return value > high if high is not None else low is not None and value >= low


def unfit(unit: str, on_curve: bool, subject: Reading | Curve) -> str:
    """Why a limit cannot judge this subject."""
    if on_curve != isinstance(subject, Curve):
        wanted = "a curve over frequency" if on_curve else "one number"
        return f"the limit is for {wanted}, which this is not"
    return f"the limit is in {unit}, this is in {subject.unit}"


def nothing_said(subject: Reading | Curve, notes: Iterable[str]) -> Weighed:
    """No margin, and why."""
    note = "; ".join(filter(None, notes))
    if isinstance(subject, Reading):
        return Weighed(replace(subject, note=note), None)
    reading = Reading(subject.name, subject.title, subject.unit, None, trace=subject.trace, note=note)
    return Weighed(reading, None)
