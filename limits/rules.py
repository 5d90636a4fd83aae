"""Decision rules: from a margin, and the uncertainty of the reading, to pass, fail or undecided.

A limit table names its rule and the certificate prints that name. The clause numbers are from memory; the
documents themselves were not at hand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from limits.formwords import suggest
from limits.verdict import Outcome


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the catalogue."""

    name: str
    """As written in a limit table and printed."""

    words: str
    """What it means, as a customer reads it."""

    decide: Callable[[float, float | None], Outcome]
    """Takes margin and expanded uncertainty U (None where it was not evaluated), both in the reading's unit."""


def _simple_acceptance(margin: float, u: float | None) -> Outcome:
    """Inside passes, and on the limit is inside; U is reported beside the reading and moves no limit.

    JCGM 106:2012 clause 8.2; ILAC-G8:09/2019 clause 4.2.1.
    """
    return Outcome.PASS if margin >= 0 else Outcome.FAIL


RULES: tuple[Rule, ...] = (
    Rule(
        "simple acceptance",
        "A reading on or inside its limit passes; measurement uncertainty moves no limit.",
        _simple_acceptance,
    ),
)


def rule_named(name: str) -> Rule:
    """Raises ValueError that names the valid rules."""
    for rule in RULES:
        if rule.name == name:
            return rule
    raise ValueError(f"unknown decision rule '{name}'{suggest(name, [rule.name for rule in RULES])}")
