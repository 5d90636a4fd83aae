"""The judgement on a check standard."""

from __future__ import annotations

import pytest

from limits.check import RULE_KNOWN, RULE_OWN, History, judge_check
from limits.known import KnownValue
from limits.reading import Claim, Reading
from limits.verdict import Decision, Level, Outcome

KNOWN = {"loss": KnownValue.parse("6.00 dB ± 0.03 dB")}
NONE_YET = History({}, enough=5)
QUIET = History({"loss": [6.01] * 8}, enough=5)
ALTERNATING = History({"loss": [6.00, 6.10] * 6}, enough=5)
"""Mean 6.05, mean moving range 0.1."""


def loss(value: float | None, u: float | None = 0.04, claim: Claim = Claim.VALUE) -> Reading:
    return Reading("loss", "TX to ANT loss", "dB", value, u=u, at_hz=160e6, claim=claim)


def judged(reading: Reading, history: History = NONE_YET) -> tuple[Decision, ...]:
    return judge_check(KNOWN, [reading], history).decisions


@pytest.mark.parametrize(
    ("value", "outcome"),
    [(6.05, Outcome.PASS), (5.95, Outcome.PASS), (6.0501, Outcome.FAIL), (5.9499, Outcome.FAIL)],
)
def test_a_reading_may_be_off_by_both_uncertainties_together(value: float, outcome: Outcome) -> None:
    """E_n = 1 at sqrt(0.04^2 + 0.03^2) = 0.05 dB."""
    (decision,) = judged(loss(value - 1e-12 if value > 6 else value + 1e-12))
    assert (decision.level, decision.rule) == (Level.SPECIFICATION, RULE_KNOWN)
    assert decision.outcome is outcome


def test_without_a_stated_u_the_known_values_own_uncertainty_is_all_that_is_allowed() -> None:
    assert judged(loss(6.029, u=None))[0].outcome is Outcome.PASS
    assert judged(loss(6.031, u=None))[0].outcome is Outcome.FAIL


@pytest.mark.parametrize("count", [0, 1, 4])
def test_a_short_history_sets_no_limits(count: int) -> None:
    history = History({"loss": [6.01] * count}, enough=5)
    assert [decision.rule for decision in judged(loss(6.0), history)] == [RULE_KNOWN]


def test_a_change_within_the_uncertainty_is_seen_by_the_own_history() -> None:
    """0.035 dB away from the known value says nothing; 0.025 dB from eight quiet checks does."""
    decisions = judged(loss(6.035), QUIET)
    assert [(each.rule, each.outcome) for each in decisions] == [
        (RULE_KNOWN, Outcome.PASS),
        (RULE_OWN, Outcome.FAIL),
    ]


def test_a_quiet_history_allows_a_standard_uncertainty() -> None:
    assert judged(loss(6.029), QUIET)[1].outcome is Outcome.PASS


def test_a_history_that_scatters_sets_wide_limits_which_are_kept_with_the_decision() -> None:
    own = judged(loss(6.03), ALTERNATING)[1]
    assert own.outcome is Outcome.PASS
    assert own.lines[0].value == pytest.approx((6.05 - 0.26596, 6.05, 6.05 + 0.26596), abs=1e-5)
    assert (own.lines[0].words, own.limit_text) == ("from 12 checks", "5.784 to 6.316 dB")


def test_a_bound_confirms_nothing_and_has_no_own_limits() -> None:
    decisions = judged(loss(5.0, u=None, claim=Claim.AT_LEAST), QUIET)
    assert [each.outcome for each in decisions] == [Outcome.UNDECIDED]
    assert "only a bound" in decisions[0].reading.note


def test_a_bound_above_the_known_value_contradicts_it() -> None:
    (decision,) = judged(loss(7.0, u=None, claim=Claim.AT_LEAST))
    assert decision.outcome is Outcome.FAIL


@pytest.mark.parametrize("readings", [[], [loss(None)]])
def test_what_was_not_measured_never_passes(readings: list[Reading]) -> None:
    assert judge_check(KNOWN, readings, QUIET).outcome is Outcome.UNDECIDED
