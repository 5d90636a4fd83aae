"""Decision rules by name."""

from __future__ import annotations

import pytest

from limits.rules import RULES, rule_named
from limits.verdict import Outcome


@pytest.mark.parametrize(
    ("margin", "outcome"),
    [
        (0.1, Outcome.PASS),
        (0.0, Outcome.PASS),
        (-0.0, Outcome.PASS),
        (-5e-324, Outcome.FAIL),
        (-1.0, Outcome.FAIL),
    ],
)
def test_simple_acceptance_passes_what_is_on_the_limit_or_inside_whatever_u(
    margin: float, outcome: Outcome
) -> None:
    """JCGM 106:2012 clause 8.2 and ILAC-G8:09/2019 clause 4.2.1, from memory: no guard band, w = 0."""
    rule = rule_named("simple acceptance")
    assert {rule.decide(margin, u) for u in (None, 0.0, 0.5, 10.0)} == {outcome}
    assert rule.words == "A reading on or inside its limit passes; measurement uncertainty moves no limit."


def test_an_unknown_rule_names_the_nearest_or_all() -> None:
    with pytest.raises(ValueError, match="did you mean 'simple acceptance'"):
        rule_named("simple aceptance")
    with pytest.raises(ValueError, match="valid is simple acceptance"):
        rule_named("by gut")
    assert len({rule.name for rule in RULES}) == len(RULES)
