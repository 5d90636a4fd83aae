"""The verdict is derived from its decisions; a hole never passes."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from limits.reading import Reading
from limits.verdict import Decision, Level, Outcome, Verdict

_decisions = st.lists(
    st.builds(
        Decision,
        reading=st.just(Reading("x", "X", "dB", None)),
        level=st.sampled_from(Level),
        limit_text=st.just("at most 1 dB"),
        rule=st.just("simple acceptance"),
        outcome=st.sampled_from(Outcome),
        margin=st.none(),
    ),
    max_size=6,
).map(tuple)


@given(_decisions)
def test_fail_comes_before_undecided_before_pass(decisions: tuple[Decision, ...]) -> None:
    verdict = Verdict(decisions)
    outcomes = [decision.outcome for decision in decisions]
    if Outcome.FAIL in outcomes:
        assert verdict.outcome is Outcome.FAIL
    elif Outcome.UNDECIDED in outcomes or not outcomes:
        assert verdict.outcome is Outcome.UNDECIDED
    else:
        assert verdict.outcome is Outcome.PASS


@given(_decisions)
def test_the_specification_is_met_only_by_decisions_about_it(decisions: tuple[Decision, ...]) -> None:
    about = [decision.outcome for decision in decisions if decision.level is Level.SPECIFICATION]
    met = bool(about) and set(about) == {Outcome.PASS}
    assert Verdict(decisions).meets_specification is met
    assert Verdict(decisions).failed() == tuple(d for d in decisions if d.outcome is Outcome.FAIL)
