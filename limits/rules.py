"""Decision rules: from a margin, and the uncertainty of the reading, to pass, fail or undecided.

A limit table names its rule, for guarded rules with the guard band w in units of U; every decision keeps that
text and the certificate prints it. Clauses of ILAC-G8:09/2019 as read in a public copy of its page 9 and 10,
clauses of JCGM 106:2012 from memory.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final

from limits.formwords import got, suggest
from limits.quantity import Expression
from limits.units import NUMBER, tidy
from limits.verdict import Outcome


@dataclass(frozen=True, slots=True)
class RuleKind:
    """One row of the catalogue."""

    name: str
    """As written in a limit table and printed."""

    pass_from: float
    """The least margin that passes, in guard bands."""

    fail_below: float
    """The margin below which a reading fails, in guard bands; what lies between the two is undecided."""

    words: str
    """What it means, as a customer reads it; {w} is the guard band."""

    clauses: str
    """Where it is laid down."""

    @property
    def is_guarded(self) -> bool:
        """Whether U has a say."""
        return self.pass_from != self.fail_below


RULES: tuple[RuleKind, ...] = (
    RuleKind(
        "simple acceptance",
        0.0,
        0.0,
        "A reading on or inside its limit passes; measurement uncertainty moves no limit.",
        "JCGM 106:2012 clause 8.2; ILAC-G8:09/2019 clause 4.2.1",
    ),
    RuleKind(
        "guarded acceptance",
        1.0,
        0.0,
        "A reading passes only if it is inside its limit by the guard band {w} or more, where U is its expanded "
        "uncertainty; outside its limit it fails; between the two it is undecided and does not pass.",
        # There everything that does not pass is rejected; here what lies in the guard band is measured better.
        "JCGM 106:2012 clause 8.3.2; ILAC-G8:09/2019 clause 4.2.2",
    ),
    RuleKind(
        "guarded rejection",
        0.0,
        -1.0,
        "A reading on or inside its limit passes; it fails only if it is outside by more than the guard band {w}, "
        "where U is its expanded uncertainty; between the two it is undecided and does not pass.",
        # There everything that is not rejected is accepted; here nothing outside its limit passes.
        "JCGM 106:2012 clause 8.3.3; ILAC-G8:09/2019 clause 4.2.3",
    ),
)
SIMPLE: Final = RULES[0]
_BAND = rf"w\s*=\s*(?P<factor>{NUMBER})?\s*U"


@dataclass(frozen=True, slots=True)
class Rule(Expression):
    """A rule of the catalogue with its guard band: `simple acceptance`, `guarded acceptance with w = 0.83 U`."""

    pattern = (
        f"{SIMPLE.name}|({'|'.join(kind.name for kind in RULES[1:])})"
        rf"(\s+with\s+w\s*=\s*({NUMBER}\s*)?U)?"
    )
    described = "A decision rule, e.g. 'simple acceptance' or 'guarded acceptance with w = 0.83 U'."

    text: str
    """The whole rule, as it is stored and printed."""

    kind: RuleKind
    factor: float
    """The guard band w in units of U; without a meaning under simple acceptance."""

    @classmethod
    def parse(cls, text: str) -> Rule:
        """Raises ValueError that names the valid rules, or says what a guard band looks like."""
        clean = tidy(text)
        head = re.split(r"\s*[,(]|\s+(?:with|w)\b", clean, maxsplit=1)[0]
        kind = next((kind for kind in RULES if kind.name == head), None)
        if kind is None:
            raise ValueError(
                f"unknown decision rule {got(clean)}{suggest(head, [kind.name for kind in RULES])}"
            )
        rest = clean[len(head) :]
        if not kind.is_guarded:
            if rest:
                raise ValueError(
                    f"{kind.name} has no guard band; write '{kind.name}' alone, got {got(clean)}"
                )
            return cls(kind.name, kind, 0.0)
        band = re.fullmatch(rf"(?: with {_BAND})?", rest)
        factor = float(band["factor"] or 1.0) if band else 0.0
        if not 0.0 < factor < math.inf:
            like = f"'{kind.name} with w = U' or '{kind.name} with w = 0.83 U'"
            raise ValueError(f"expected a rule like {like}, got {got(clean)}")
        return cls(f"{kind.name} with {_band_words(factor)}", kind, factor)

    @property
    def name(self) -> str:
        """The same as `text`: what a decision and a certificate call it."""
        return self.text

    @property
    def words(self) -> str:
        """What it means, as a customer reads it."""
        return self.kind.words.format(w=_band_words(self.factor))

    def decide(self, margin: float, u: float | None) -> Outcome:
        """Takes margin and expanded uncertainty U (None where it was not evaluated), both in the reading's unit.

        Without a U only what every U would leave as it is is decided; the rest is undecided.
        """
        guard = None if u is None else self.factor * u
        if _reaches(margin, self.kind.pass_from, guard):
            return Outcome.PASS
        if _falls_short(margin, self.kind.fail_below, guard):
            return Outcome.FAIL
        return Outcome.UNDECIDED

    def enough_u(self, margin: float) -> float:
        """The largest U at which it decides a margin that it left undecided; zero where none would do."""
        return max(0.0, margin / (self.factor * (self.kind.pass_from or self.kind.fail_below)))

    def why_open(self, u: float | None) -> str:
        """Why it left a margin undecided."""
        band = f"the guard band {_band_words(self.factor)}"
        if u is None:
            return f"its uncertainty was not evaluated, so {band} is not known"
        return f"nearer to its limit than {band}"


def rule_named(text: str) -> Rule:
    """The rule that a limit table or a stored decision names. Raises ValueError that names the valid ones."""
    return Rule.parse(text)


def _reaches(margin: float, bands: float, guard: float | None) -> bool:
    if bands == 0.0:
        return margin >= 0.0
    return guard is not None and margin >= bands * guard


def _falls_short(margin: float, bands: float, guard: float | None) -> bool:
    if bands == 0.0:
        return margin < 0.0
    return guard is not None and margin < bands * guard


def _band_words(factor: float) -> str:
    return "w = U" if factor == 1.0 else f"w = {factor:.12g} U"
