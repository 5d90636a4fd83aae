"""From readings to decisions to the verdict of a unit. The verdict is derived from its parts, never typed in.

A verdict is `fail` when any decision fails, else `undecided` when any is undecided or there is none at all,
else `pass`: a hole never passes.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from limits.reading import Reading


class Outcome(StrEnum):
    """The three things a decision, and so a verdict, can say."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


class Level(StrEnum):
    """Whose limit it is."""

    SPECIFICATION = "specification"
    """What the customer was promised; the only level a certificate shows."""

    WORKS = "works limit"
    """The tighter limit a unit must meet to leave the works."""


@dataclass(frozen=True, slots=True)
class LimitLine:
    """A limit as a line over frequency, for charts."""

    freq_hz: tuple[float, ...]
    value: tuple[float, ...]
    """Same length as `freq_hz`, in the reading's unit."""

    words: str
    """What is written beside it, e.g. `at most 1.6 dB`."""


@dataclass(frozen=True, slots=True)
class Decision:
    """One reading against one limit under the decision rule."""

    reading: Reading
    level: Level
    limit_text: str
    """The limit in words, e.g. `at most 1.6 dB`."""

    rule: str
    """The decision rule by name, e.g. `simple acceptance`."""

    outcome: Outcome
    margin: float | None
    """Distance to the limit in the reading's unit, positive inside; None when there is no value."""

    lines: tuple[LimitLine, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """What the decisions say of the unit."""

    decisions: tuple[Decision, ...]

    @property
    def outcome(self) -> Outcome:
        """Fail before undecided before pass; undecided when nothing was judged."""
        return _overall(self.decisions)

    @property
    def meets_specification(self) -> bool:
        """Whether every decision against the customer's specification passed, and there was one."""
        return _overall(self.at(Level.SPECIFICATION)) is Outcome.PASS

    def at(self, level: Level) -> tuple[Decision, ...]:
        """The decisions against one level of limits, in the table's order."""
        return tuple(decision for decision in self.decisions if decision.level is level)

    def failed(self) -> tuple[Decision, ...]:
        """The decisions that failed, in the table's order."""
        return tuple(decision for decision in self.decisions if decision.outcome is Outcome.FAIL)


def _overall(decisions: tuple[Decision, ...]) -> Outcome:
    outcomes = {decision.outcome for decision in decisions}
    if Outcome.FAIL in outcomes:
        return Outcome.FAIL
    if Outcome.UNDECIDED in outcomes or not outcomes:
        return Outcome.UNDECIDED
    return Outcome.PASS
