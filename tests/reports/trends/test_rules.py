"""Run rules against their definitions and against published average run lengths."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml

from reports.trends import shewhart
from reports.trends.rules import RULES, WESTERN_ELECTRIC, alarms, signals

FOLDER = Path(__file__).parents[2] / "reference" / "trends" / "charts"
CASES = yaml.safe_load((FOLDER / "run_rules.yaml").read_text(encoding="utf-8"))["boundary_cases_for_tests"]
WE = pd.read_csv(FOLDER / "we_arl.csv")
CHARTS, POINTS = 1_000, 1_000


def run_length(spoken: np.ndarray) -> tuple[float, float]:
    """Mean points until the first signal and its standard error; a chart without one counts its points alone."""
    some = spoken.any(axis=1)
    lengths = np.where(some, spoken.argmax(axis=1) + 1, spoken.shape[1])
    mean = lengths.sum() / some.sum()
    return mean, mean / np.sqrt(some.sum())


def drawn(seed: int, shift: float = 0.0, points: int = POINTS) -> np.ndarray:
    return np.random.default_rng(seed).normal(shift, 1.0, (CHARTS, points))


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['rule']} {len(case['z'])} {case['signal']}")
def test_a_rule_speaks_where_its_definition_says(case: dict) -> None:
    found = alarms(np.array(case["z"], float), [case["rule"]])
    assert bool(found) is case["signal"]


@pytest.mark.parametrize("shift", [0, 0.5, 1, 2])
def test_all_western_electric_rules_alarm_as_seldom_and_as_soon_as_published(shift: float) -> None:
    """91.75 points where nothing changed (Champ and Woodall 1987), the others by an exact Markov chain."""
    z = drawn(11, shift)
    spoken = np.any([signals(RULES[name], z) for name in WESTERN_ELECTRIC], axis=0)
    mean, error = run_length(spoken)
    row = WE[(WE["shift_sigma"] == shift) & (WE["rules"] == "1+2+3+4")].iloc[0]
    assert mean == pytest.approx(row["arl_computed"], abs=4 * error)


@pytest.mark.parametrize(("name", "expected"), [("WE1", 370.4), ("N2", 511.0), ("N3", 421.5), ("N6", 292.2)])
def test_one_rule_alone_alarms_as_seldom_as_it_should(name: str, expected: float) -> None:
    """WE1 and N2 exactly; N3 and N6 by a simulation with another program."""
    mean, error = run_length(signals(RULES[name], drawn(12)))
    assert mean == pytest.approx(expected, abs=4 * error)


@pytest.mark.parametrize(("shift", "published"), [(0, 168), (0.5, 26.6), (1, 8.38), (2, 3.34)])
def test_cumulative_sums_alarm_as_published(shift: float, published: float) -> None:
    """Lucas and Crosier 1982, k = 0.5, h = 4."""
    up, down = shewhart.cusum(drawn(13, shift), 0.0, 1.0, interval=4.0)
    mean, error = run_length((up.value > up.high) | (down.value < down.low))
    assert mean == pytest.approx(published, abs=4 * error + 0.005 * published)


def test_a_head_start_finds_a_shift_sooner_as_published() -> None:
    """Lucas and Crosier 1982, half of h = 4, a shift of one sigma: 5.29."""
    up, down = shewhart.cusum(drawn(14, 1.0, 200), 0.0, 1.0, interval=4.0, head_start=2.0)
    mean, error = run_length((up.value > up.high) | (down.value < down.low))
    assert mean == pytest.approx(5.29, abs=4 * error)


@pytest.mark.parametrize(("shift", "published"), [(0.5, 88.8), (1, 17.5), (2, 3.63)])
def test_a_moving_average_alarms_as_published(shift: float, published: float) -> None:
    """Lucas and Saccucci 1990, Table 3: weight 0.5, width 3.071, settled limits."""
    chart = shewhart.ewma(drawn(15, shift), 0.0, 1.0, 0.5, 3.071, settled=True)
    mean, error = run_length((chart.value > chart.high) | (chart.value < chart.low))
    assert mean == pytest.approx(published, abs=4 * error)


def test_an_alarm_names_its_rule_and_its_points_once_for_as_long_as_it_lasts() -> None:
    z = np.array([-1.0, 2.5, 0.0, 2.5, 2.5, -1.0, 0.0, -1.0])
    (alarm,) = alarms(z, ["WE2"])
    assert (alarm.rule, alarm.at, alarm.points) == ("WE2", 3, (1, 3, 4))


def test_a_trend_takes_in_the_point_it_started_from() -> None:
    (alarm,) = alarms(np.array([0.5, 0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.0]), ["N3"])
    assert alarm.points == (1, 2, 3, 4, 5, 6, 7)
    (turns,) = alarms(np.array([1.0, 2.0] * 7), ["N4"])
    assert turns.points == tuple(range(14))


def test_only_rules_that_are_asked_for_speak() -> None:
    z = np.array([4.0, *[0.5] * 9])
    assert {alarm.rule for alarm in alarms(z, ["WE1", "N2"])} == {"WE1", "N2"}
    assert {alarm.rule for alarm in alarms(z, ["N2"])} == {"N2"}


def test_points_of_which_nothing_was_expected_break_every_run() -> None:
    assert alarms(np.array([0.5] * 4 + [np.nan] + [0.5] * 4), ["WE4"]) == ()
