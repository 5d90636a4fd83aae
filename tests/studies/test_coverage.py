"""The study of coverage, small: on every kind of bench U holds, and no unit passes that is outside by more than U."""

from __future__ import annotations

from types import ModuleType


def test_on_every_kind_of_bench_most_true_values_lie_within_u(study: ModuleType) -> None:
    """Of 19 characteristics of 12 units on 6 days: 90 to 100 % of all, as so few days tell no better."""
    found = study.study(6, 2, seed=5, kinds=study.benches.KINDS)
    assert len(found) == len(study.benches.KINDS)
    for kind, one in found.items():
        assert len(one.tallies) == 19
        numbers = sum(tally.numbers for tally in one.tallies.values())
        inside = sum(tally.inside for tally in one.tallies.values())
        assert numbers > 150, kind
        assert inside / numbers >= 0.90, kind
        assert sum(passed.passed_far for passed in one.passed.values()) == 0, kind


def test_days_that_processes_share_are_counted_as_by_one(study: ModuleType) -> None:
    one, shared = (study.study(5, 1, 5, ["two ports, loads known"], processes) for processes in (1, 2))
    assert one == shared
    assert sum(tally.numbers for tally in one["two ports, loads known"].tallies.values()) > 50
