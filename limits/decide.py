"""Readings and a limit table in, a verdict out.

What a margin means is the decision rule's to say (`limits.rules`). Values are compared as measured and never rounded
first, so a certificate may print `1.5 dB` beside `at most 1.5 dB` and `fail`; rounding before judging would move
every limit by half a digit. What nobody measured, or what is not a number, is undecided and so never passes.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from limits.kinds.bound import Bound
from limits.quantity import Channels
from limits.reading import Curve, Reading
from limits.rules import Rule
from limits.table import LimitTable
from limits.verdict import Decision, Level, Outcome, Verdict


def judge(table: LimitTable, readings: Iterable[Reading | Curve], channels: Channels) -> Verdict:
    """One decision for every level of every row, in the table's order.

    Readings that have no limit are passed over. Raises ValueError when two carry the same name, since one of
    them would silently not be judged.
    """
    subjects: dict[str, Reading | Curve] = {}
    for subject in readings:
        if subject.name in subjects:
            raise ValueError(f"two readings are named '{subject.name}'")
        subjects[subject.name] = subject
    return Verdict(
        tuple(
            decide(
                subjects.get(row.name) or _not_measured(row.name, bound),
                level,
                bound,
                table.rules[level],
                channels,
            )
            for row in table.rows
            for level, bound in row.bounds
        )
    )


def decide(subject: Reading | Curve, level: Level, bound: Bound, rule: Rule, channels: Channels) -> Decision:
    """One reading or curve against one limit."""
    weighed = bound.weigh(subject, channels, rule.decide)
    reading, margin = weighed.reading, weighed.margin
    outcome = Outcome.UNDECIDED if margin is None else rule.decide(margin, reading.u)
    if margin is not None and outcome is Outcome.UNDECIDED:
        reading = replace(reading, note="; ".join(filter(None, (reading.note, rule.why_open(reading.u)))))
    return Decision(
        reading=reading,
        level=level,
        limit_text=bound.words(channels),
        rule=rule.name,
        outcome=outcome,
        margin=margin,
        lines=bound.lines(reading, channels),
    )


def _not_measured(name: str, bound: Bound) -> Reading:
    return Reading(name, title=name, unit=bound.unit, value=None, note="not measured")
