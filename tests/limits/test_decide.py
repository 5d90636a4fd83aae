"""From readings and a table to a verdict; a hole never passes."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from limits.decide import judge
from limits.quantity import Channels
from limits.reading import Claim, Curve, Reading
from limits.table import LimitTable
from limits.verdict import Level, Outcome

MakeTable = Callable[[str], LimitTable]
ROWS = (
    "  loss:\n    specification: {at_most: 1.7 dB}\n    works: {at_most: 1.5 dB}\n"
    "  notch: {works: {between: rx ± 10 kHz}}\n"
    "  isolation: {specification: {mask: [{over: tx ± 100 kHz, at_least: 70 dB}]}}\n"
)
PAIR = Channels(156.45e6, 157.05e6)


def loss(value: float | None) -> Reading:
    return Reading("loss", "Loss", "dB", value, trace="TX-ANT", span_hz=(156.4e6, 156.5e6))


def notch(value: float | None) -> Reading:
    return Reading("notch", "Notch", "Hz", value)


def isolation(level: float) -> Curve:
    freq = np.linspace(156e6, 157e6, 101)
    return Curve("isolation", "Isolation", "dB", freq, np.full(freq.shape, level), 10e3, "TX-RX")


def test_there_is_one_decision_for_each_level_of_each_row_in_the_tables_order(table: MakeTable) -> None:
    verdict = judge(table(ROWS), [isolation(80.0), notch(157.05e6), loss(1.6)], PAIR)
    assert [(d.reading.name, d.level, d.limit_text, d.outcome) for d in verdict.decisions] == [
        ("loss", Level.SPECIFICATION, "at most 1.7 dB", Outcome.PASS),
        ("loss", Level.WORKS, "at most 1.5 dB", Outcome.FAIL),
        ("notch", Level.WORKS, "between 157.04 and 157.06 MHz", Outcome.PASS),
        ("isolation", Level.SPECIFICATION, "at least 70 dB from 156.35 to 156.55 MHz", Outcome.PASS),
    ]
    assert {d.rule for d in verdict.decisions} == {"simple acceptance"}
    assert verdict.outcome is Outcome.FAIL
    assert verdict.meets_specification
    assert verdict.decisions[0].lines[0].value == (1.7, 1.7)


def test_a_unit_inside_every_limit_passes(table: MakeTable) -> None:
    verdict = judge(table(ROWS), [loss(1.5), notch(157.06e6), isolation(70.0)], PAIR)
    assert verdict.outcome is Outcome.PASS
    assert [d.margin for d in verdict.decisions] == [pytest.approx(0.2), 0.0, 0.0, 0.0]


def test_what_nobody_measured_is_undecided(table: MakeTable) -> None:
    verdict = judge(table(ROWS), [loss(1.4), isolation(80.0)], PAIR)
    missing = verdict.decisions[2]
    assert missing.reading == Reading("notch", "notch", "Hz", None, note="not measured")
    assert (missing.outcome, missing.margin) == (Outcome.UNDECIDED, None)
    assert verdict.outcome is Outcome.UNDECIDED


def test_a_missing_value_is_undecided_and_says_why(table: MakeTable) -> None:
    reading = Reading("notch", "Notch", "Hz", None, note="no notch found")
    decision = judge(table(ROWS), [loss(1.4), reading, isolation(80.0)], PAIR).decisions[2]
    assert (decision.reading, decision.outcome, decision.margin) == (reading, Outcome.UNDECIDED, None)


def test_a_curve_with_a_hole_is_undecided(table: MakeTable) -> None:
    seen = isolation(80.0)
    seen.value[45] = np.nan
    decision = judge(table(ROWS), [loss(1.4), notch(157.05e6), seen], PAIR).decisions[3]
    assert (decision.outcome, decision.reading.note) == (Outcome.UNDECIDED, "no number at 156.45 MHz")


def test_a_reading_of_the_wrong_sort_never_passes(table: MakeTable) -> None:
    wrong = [Reading("loss", "Loss", "Hz", 1.0), notch(157.05e6), Reading("isolation", "I", "dB", 80.0)]
    verdict = judge(table(ROWS), wrong, PAIR)
    assert [d.outcome for d in verdict.decisions] == [
        Outcome.UNDECIDED, Outcome.UNDECIDED, Outcome.PASS, Outcome.UNDECIDED,
    ]  # fmt: skip


def test_a_reading_without_a_limit_is_passed_over(table: MakeTable) -> None:
    readings = [loss(1.4), notch(157.05e6), isolation(80.0), Reading("other", "Other", "dB", 1e6)]
    assert judge(table(ROWS), readings, PAIR).outcome is Outcome.PASS


def test_two_readings_of_one_name_are_refused(table: MakeTable) -> None:
    """The second would hide the first from the judge."""
    with pytest.raises(ValueError, match="two readings are named 'loss'"):
        judge(table(ROWS), [loss(9.9), loss(1.0)], PAIR)


def test_the_same_table_moves_with_the_units_channels(table: MakeTable) -> None:
    turned = Channels(157.05e6, 156.45e6)
    readings = [loss(1.4), notch(156.45e6), isolation(80.0)]
    assert judge(table(ROWS), readings, turned).decisions[2].outcome is Outcome.PASS
    assert judge(table(ROWS), readings, PAIR).decisions[2].outcome is Outcome.FAIL


GUARDED = (
    "limit_table: T\nrevision: A\nmodel: M\n"
    "decision_rule: {specification: guarded acceptance with w = 0.5 U, works: simple acceptance}\n"
    "limits:\n  loss: {specification: {at_most: 1.7 dB}, works: {at_most: 1.5 dB}}\n"
    "  width: {specification: {at_least: 50 kHz}}\n"
)


@pytest.mark.parametrize(
    ("value", "u", "outcomes", "note"),
    [
        (1.45, 0.2, ["pass", "pass"], ""),
        (1.45, None, ["undecided", "pass"],
         "its uncertainty was not evaluated, so the guard band w = 0.5 U is not known"),
        (1.65, 0.2, ["undecided", "fail"], "nearer to its limit than the guard band w = 0.5 U"),
        (1.75, 0.2, ["fail", "fail"], ""),
    ],
)  # fmt: skip
def test_each_level_is_judged_by_its_own_rule_and_an_open_point_says_why(
    table_file: MakeTable, value: float, u: float | None, outcomes: list[str], note: str
) -> None:
    reading = Reading("loss", "Loss", "dB", value, u)
    verdict = judge(table_file(GUARDED), [reading, Reading("width", "Width", "Hz", 70e3, 5e3)], PAIR)
    decisions = verdict.decisions[:2]
    assert [d.outcome.value for d in decisions] == outcomes
    assert [d.rule for d in decisions] == ["guarded acceptance with w = 0.5 U", "simple acceptance"]
    assert [d.reading.note for d in decisions] == [note, ""]


@pytest.mark.parametrize(
    ("value", "u", "outcome", "note"),
    [
        (53e3, 6e3, Outcome.PASS, "open above"),
        (52e3, 6e3, Outcome.UNDECIDED, "open above; nearer to its limit than the guard band w = 0.5 U"),
        (48e3, 6e3, Outcome.UNDECIDED, "open above; the value may be larger, so this limit cannot be judged"),
        (90e3, None, Outcome.UNDECIDED,
         "open above; its uncertainty was not evaluated, so the guard band w = 0.5 U is not known"),
    ],
)  # fmt: skip
def test_a_bound_passes_a_guarded_limit_only_from_beyond_the_guard_band(
    table_file: MakeTable, value: float, u: float | None, outcome: Outcome, note: str
) -> None:
    width = Reading("width", "Width", "Hz", value, u, note="open above", claim=Claim.AT_LEAST)
    verdict = judge(table_file(GUARDED), [Reading("loss", "Loss", "dB", 1.0, 0.1), width], PAIR)
    assert (verdict.decisions[2].outcome, verdict.decisions[2].reading.note) == (outcome, note)


_maybe = st.one_of(st.none(), st.floats(0, 3))


# The table is frozen, so that one for all examples is as good as one for each.
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    subjects=st.tuples(
        st.one_of(st.none(), st.builds(loss, _maybe)),
        st.one_of(st.none(), st.builds(notch, st.one_of(st.none(), st.floats(157.03e6, 157.07e6)))),
        st.one_of(st.none(), st.builds(isolation, st.one_of(st.floats(60, 80), st.just(float("nan"))))),
    )
)
def test_a_hole_never_passes_and_the_margins_sign_is_the_outcome(
    table: MakeTable, subjects: tuple[Reading | Curve | None, ...]
) -> None:
    verdict = judge(table(ROWS), [s for s in subjects if s is not None], PAIR)
    assert len(verdict.decisions) == 4
    for decision in verdict.decisions:
        if decision.margin is None:
            assert decision.outcome is Outcome.UNDECIDED
            assert decision.reading.note
        else:
            assert decision.outcome is (Outcome.PASS if decision.margin >= 0 else Outcome.FAIL)
    holes = any(s is None or (isinstance(s, Reading) and s.value is None) for s in subjects)
    holes = holes or any(isinstance(s, Curve) and np.isnan(s.value).any() for s in subjects)
    if holes:
        assert verdict.outcome is not Outcome.PASS
