"""The study of the check standard, small: hardly an alarm without a fault, and none that stays; real faults found."""

from __future__ import annotations

from types import ModuleType

import pytest


def test_a_sound_bench_stays_in_control(study: ModuleType) -> None:
    """Of 40 checks; at full size about one in thirty alarms, and is resolved by measuring again."""
    of = study.plan()
    first, again = study.false_alarms(40, 7, of, study.laboratory(of))
    assert first <= 5
    assert again == 0


@pytest.mark.parametrize("number", [0, 1, 2])
def test_a_real_fault_is_caught_by_the_next_check(study: ModuleType, number: int) -> None:
    of = study.plan()
    fault = list(study.FAULTS)[number]
    assert study.caught(fault, 7, of, study.laboratory(of)), fault
