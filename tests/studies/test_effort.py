"""The study of effort, small: the same verdicts in a third of the time; and it refuses what falls short of that."""

from __future__ import annotations

from dataclasses import replace
from types import ModuleType

import pytest

from limits.verdict import Outcome


def test_a_small_season_is_decided_as_with_care_in_at_most_a_third_of_the_time(study: ModuleType) -> None:
    tallies = study.study(30, seed=3)
    assert list(tallies) == list(study.RULES)
    for tally in tallies.values():
        assert tally.units == 30
        assert 0 < tally.truly["fail"] < 15, "a season has good units and bad ones"
        assert (tally.time() <= study.MOST_TIME).all()
        for name in (*study.WRONG, "undecided"):
            assert tally.counts[name, "effort only"] == 0


def compared(study: ModuleType, truth: Outcome, careful: Outcome, effort: Outcome, share: float) -> object:
    careful_s = study.np.array([2.0, 4.0])
    return study.Compared(study.RULES[0], truth, careful, effort, careful_s, share * careful_s)


def test_the_study_refuses_a_recipe_that_decides_worse(study: ModuleType) -> None:
    """Ten false passes more among a thousand units: half as many as that would be too many."""
    sound, tally = study.Tally(), study.Tally()
    for number in range(1000):
        good = compared(study, Outcome.FAIL, Outcome.FAIL, Outcome.FAIL, 0.2)
        sound.add(good)
        tally.add(replace(good, effort=Outcome.PASS) if number < 10 else good)
    assert tally.counts["false pass", "effort only"] == 10
    gap, half = tally.difference("false pass")
    assert gap == pytest.approx(0.01)
    assert half == pytest.approx(1.96 * (10 - 0.1) ** 0.5 / 1000)
    assert not tally.is_good()
    # a thousand without any difference say no more than three in a thousand
    assert sound.difference("false pass") == (0.0, 0.003)


def test_the_study_refuses_a_recipe_that_leaves_more_undecided(study: ModuleType) -> None:
    """Twenty more among four thousand are five in a thousand at the best guess, and may be more; five are not."""
    tallies = {more: study.Tally() for more in (5, 20)}
    for more, tally in tallies.items():
        for number in range(4000):
            good = compared(study, Outcome.PASS, Outcome.PASS, Outcome.PASS, 0.2)
            tally.add(replace(good, effort=Outcome.UNDECIDED) if number < more else good)
    assert tallies[5].is_good()
    assert not tallies[20].is_good()


def test_the_study_refuses_a_recipe_that_takes_too_long(study: ModuleType) -> None:
    tallies = {share: study.Tally() for share in (0.2, 0.4)}
    for share, tally in tallies.items():
        for _ in range(5000):
            tally.add(compared(study, Outcome.PASS, Outcome.PASS, Outcome.PASS, share))
    assert tallies[0.2].is_good()
    assert not tallies[0.4].is_good()
