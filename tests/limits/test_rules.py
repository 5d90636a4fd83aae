"""Decision rules by name: what each decides, what it is called, and what it says."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from limits.rules import RULES, RuleKind, rule_named
from limits.verdict import Outcome

PASS, FAIL, UNDECIDED = Outcome.PASS, Outcome.FAIL, Outcome.UNDECIDED


@pytest.mark.parametrize(
    ("margin", "outcome"), [(0.1, PASS), (0.0, PASS), (-0.0, PASS), (-5e-324, FAIL), (-1.0, FAIL)]
)
def test_simple_acceptance_passes_what_is_on_the_limit_or_inside_whatever_u(
    margin: float, outcome: Outcome
) -> None:
    """ILAC-G8:09/2019 clause 4.2.1: no guard band, w = 0."""
    rule = rule_named("simple acceptance")
    assert {rule.decide(margin, u) for u in (None, 0.0, 0.5, 10.0)} == {outcome}
    assert rule.words == "A reading on or inside its limit passes; measurement uncertainty moves no limit."


@pytest.mark.parametrize(
    ("text", "u", "margin", "outcome"),
    [
        ("guarded acceptance", 0.5, 0.5, PASS),
        ("guarded acceptance", 0.5, 0.4999, UNDECIDED),
        ("guarded acceptance", 0.5, 0.0, UNDECIDED),
        ("guarded acceptance", 0.5, -1e-9, FAIL),
        ("guarded acceptance", 0.0, 0.0, PASS),
        ("guarded acceptance with w = 0.83 U", 1.0, 0.83, PASS),
        ("guarded acceptance with w = 0.83 U", 1.0, 0.829, UNDECIDED),
        ("guarded acceptance with w = 2 U", 1.0, 1.9, UNDECIDED),
        ("guarded rejection", 0.5, 0.0, PASS),
        ("guarded rejection", 0.5, -1e-9, UNDECIDED),
        ("guarded rejection", 0.5, -0.5, UNDECIDED),
        ("guarded rejection", 0.5, -0.5001, FAIL),
        ("guarded rejection with w = 2 U", 0.5, -0.9, UNDECIDED),
    ],
)
def test_between_what_passes_and_what_fails_lies_undecided(
    text: str, u: float, margin: float, outcome: Outcome
) -> None:
    """Acceptance limit = tolerance limit less w, w = r U (ILAC-G8:09/2019 clauses 4.2.2 and 4.2.3)."""
    assert rule_named(text).decide(margin, u) is outcome


@pytest.mark.parametrize(
    ("text", "margin", "outcome"),
    [
        ("guarded acceptance", 100.0, UNDECIDED),
        ("guarded acceptance", -0.1, FAIL),
        ("guarded rejection", 0.1, PASS),
        ("guarded rejection", -100.0, UNDECIDED),
    ],
)
def test_without_a_u_only_what_no_u_could_change_is_decided(
    text: str, margin: float, outcome: Outcome
) -> None:
    rule = rule_named(text)
    assert rule.decide(margin, None) is outcome
    assert rule.why_open(None) == "its uncertainty was not evaluated, so the guard band w = U is not known"


@given(
    st.sampled_from(RULES), st.floats(0.01, 10), st.floats(-10, 10), st.one_of(st.none(), st.floats(0, 10))
)
def test_nothing_outside_its_limit_ever_passes_and_nothing_inside_ever_fails(
    kind: RuleKind, factor: float, margin: float, u: float | None
) -> None:
    rule = rule_named(f"{kind.name} with w = {factor:.6f} U" if kind.is_guarded else kind.name)
    outcome = rule.decide(margin, u)
    assert not (outcome is PASS and margin < 0)
    assert not (outcome is FAIL and margin >= 0)


@pytest.mark.parametrize(
    ("written", "kept"),
    [
        ("simple acceptance", "simple acceptance"),
        ("guarded acceptance", "guarded acceptance with w = U"),
        ("guarded acceptance with w = 1 U", "guarded acceptance with w = U"),
        ("guarded  acceptance with w=0.830U", "guarded acceptance with w = 0.83 U"),
        ("guarded rejection with w = 1.25 U", "guarded rejection with w = 1.25 U"),
    ],
)
def test_a_rule_is_kept_under_one_text_that_says_its_guard_band_and_can_be_read_again(
    written: str, kept: str
) -> None:
    rule = rule_named(written)
    assert rule.name == str(rule) == kept
    assert rule_named(kept) == rule


def test_the_words_of_a_guarded_rule_tell_the_customer_the_guard_band() -> None:
    assert rule_named("guarded acceptance with w = 0.83 U").words == (
        "A reading passes only if it is inside its limit by the guard band w = 0.83 U or more, where U is its "
        "expanded uncertainty; outside its limit it fails; between the two it is undecided and does not pass."
    )
    assert rule_named("guarded acceptance").why_open(0.1) == "nearer to its limit than the guard band w = U"


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("simple aceptance", "did you mean 'simple acceptance'"),
        ("guarded aceptance with w = U", "did you mean 'guarded acceptance'"),
        ("by gut", "valid are simple acceptance, guarded acceptance, guarded rejection"),
        ("simple acceptance with w = U", "no guard band; write 'simple acceptance' alone"),
        ("guarded acceptance with w = 0.83", "expected a rule like 'guarded acceptance with w = U' or"),
        ("guarded acceptance with w = 0 U", "expected a rule like"),
        ("guarded acceptance with w = -1 U", "expected a rule like"),
        ("guarded acceptance with w = 0,83 U", "expected a rule like"),
        ("guarded acceptance, w = U", "expected a rule like"),
        ("guarded acceptance with w = 83 % U", "expected a rule like"),
        (f"guarded acceptance with w = {'9' * 400} U", "expected a rule like"),
        ("", "unknown decision rule ''"),
    ],
)
def test_what_is_no_rule_is_refused_with_what_to_write(written: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        rule_named(written)


def test_every_rule_is_in_the_catalogue_once_and_names_its_clause() -> None:
    assert len({rule.name for rule in RULES}) == len(RULES)
    assert all("JCGM 106" in rule.clauses and "ILAC-G8" in rule.clauses for rule in RULES)


@pytest.mark.parametrize(
    ("rule", "margin", "enough"),
    [
        ("guarded acceptance with w = U", 0.02, 0.02),
        ("guarded acceptance with w = 0.5 U", 0.02, 0.04),
        ("guarded rejection with w = U", -0.03, 0.03),
        ("guarded acceptance with w = U", 0.0, 0.0),
    ],
)
def test_an_open_margin_is_decided_once_u_is_small_enough(rule: str, margin: float, enough: float) -> None:
    named = rule_named(rule)
    assert named.enough_u(margin) == pytest.approx(enough)
    if enough:
        assert named.decide(margin, 1.01 * enough) is Outcome.UNDECIDED
        assert named.decide(margin, 0.99 * enough) is not Outcome.UNDECIDED
