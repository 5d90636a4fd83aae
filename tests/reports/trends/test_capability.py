"""Capability: published examples, known distributions, and what is said instead of an index."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import yaml
from scipy.stats import johnsonsb, johnsonsu, norm

from limits.risk import Interval
from reports.trends.capability import capability, df_of_ranges, nearer, two_sided
from reports.trends.johnson import through
from reports.trends.normality import normality, p_of
from reports.trends.stability import order_p

PUBLISHED = yaml.safe_load(
    (Path(__file__).parents[2] / "reference" / "trends" / "capability.yaml").read_text(encoding="utf-8")
)
BOTH, BELOW, ABOVE = Interval(8.0, 20.0), Interval(8.0, None), Interval(None, 20.0)


def scored(count: int, mean: float, sd: float) -> list[float]:
    """Values with exactly this mean and standard deviation, spread normally, in an order without drift."""
    scores = np.random.default_rng(3).permutation(norm.ppf((np.arange(count) + 0.5) / count))
    return [*(mean + sd * (scores - scores.mean()) / scores.std(ddof=1))]


def test_the_indices_are_the_published_ones() -> None:
    expected = PUBLISHED["e_handbook"]
    values = scored(200, expected["mean"], expected["sd"])
    both = capability(values, Interval(expected["low"], expected["high"]))
    assert f"{both.pp.value:.1f}" == expected["cp"]
    assert f"{both.ppk.value:.4f}" == expected["cpk"]
    assert f"{capability(values, ABOVE).ppk.value:.4f}" == expected["upper"]
    assert f"{capability(values, BELOW).ppk.value:.4f}" == expected["lower"]


def test_a_limit_with_one_end_has_no_index_of_both() -> None:
    for limits in (ABOVE, BELOW):
        found = capability(scored(50, 16.0, 2.0), limits)
        assert found.cp is None
        assert found.pp is None
        assert found.cpk is not None


def test_twenty_bottles_have_the_published_index() -> None:
    expected = PUBLISHED["strength"]
    shuffled = np.random.default_rng(1).permutation(expected["values"]).tolist()
    assert f"{capability(shuffled, Interval(expected['low'], None)).ppk.value:.5f}" == expected["lower"]


def test_intervals_are_the_published_ones() -> None:
    expected = PUBLISHED["intervals"]
    df = expected["n"] - 1
    cp, cpk = two_sided(expected["cp"]["value"], df), nearer(expected["cpk"]["value"], expected["n"], df)
    assert (f"{cp.low:.3f}", f"{cp.high:.3f}") == (expected["cp"]["low"], expected["cp"]["high"])
    assert (f"{cpk.low:.2f}", f"{cpk.high:.2f}") == (expected["cpk"]["low"], expected["cpk"]["high"])


def test_intervals_hold_the_truth_as_often_as_they_say() -> None:
    """200 drawings of 40: 95 % and three standard deviations of that, 181 at least."""
    random = np.random.default_rng(11)
    inside = dict.fromkeys(("cp", "cpk", "pp", "ppk"), 0)
    for values in random.normal(16.0, 2.0, (200, 40)):
        overall, ranges = values.std(ddof=1), np.abs(np.diff(values)).mean() / 1.128
        for names, sd, df in ((("pp", "ppk"), overall, 39), (("cp", "cpk"), ranges, df_of_ranges(40))):
            both = two_sided(12.0 / (6.0 * sd), df)
            near = nearer((20.0 - values.mean()) / (3.0 * sd), 40, df)
            inside[names[0]] += both.low <= 1.0 <= both.high
            inside[names[1]] += near.low <= 2.0 / 3.0 <= near.high
    assert min(inside.values()) >= 181, inside


def test_the_spread_of_moving_ranges_is_as_uncertain_as_drawn() -> None:
    """Relative variance 1 / (2 df), from 20,000 drawings known to 3 %."""
    drawn = np.random.default_rng(2).normal(0.0, 1.0, (20_000, 30))
    sds = np.abs(np.diff(drawn, axis=1)).mean(axis=1) * np.sqrt(np.pi) / 2.0
    assert df_of_ranges(30) == pytest.approx(1.0 / (2.0 * sds.var()), rel=0.04)


@pytest.mark.parametrize("p", PUBLISHED["normality"]["critical"])
def test_the_test_of_normality_has_the_published_critical_values(p: str) -> None:
    assert p_of(PUBLISHED["normality"]["critical"][p]) == pytest.approx(float(p), rel=0.02)


def test_normal_readings_pass_the_test_as_often_as_they_should() -> None:
    """p is uniform: of 400 samples of 30, 5 % and three standard deviations lie below 0.05: 7 to 33."""
    drawn = np.random.default_rng(4).normal(1e9, 3.0, (400, 30))
    assert 7 <= sum(normality([*row]).p < 0.05 for row in drawn) <= 33


def test_too_few_readings_are_not_called_normal() -> None:
    assert normality([1.0, 2.0, 3.0]) is None
    assert "too few readings to tell" in " ".join(capability([1.0, 3.0, 2.0], ABOVE).doubts)


@pytest.mark.parametrize(
    "curve", [johnsonsu(1.3, 1.7, loc=2.0, scale=3.0), johnsonsb(-0.6, 1.2, loc=2.0, scale=3.0)]
)
@pytest.mark.parametrize("spacing", [0.3, 0.5, 1.0])
def test_exact_percentiles_of_a_johnson_curve_give_its_percentiles_back(curve, spacing: float) -> None:
    found = through(lambda scores: curve.ppf(norm.cdf(scores)), spacing)
    for score in (-3.0, 0.0, 3.0):
        assert found.value(score) == pytest.approx(float(curve.ppf(norm.cdf(score))), rel=1e-6)


@pytest.mark.parametrize("count", [300, 2000])
def test_skew_readings_are_judged_by_percentiles(count: int) -> None:
    """Against the true percentiles of the lognormal curve they were drawn from."""
    values = np.random.default_rng(8).lognormal(0.0, 0.5, count)
    found = capability([*values], Interval(0.05, 6.0))
    lowest, highest = np.exp(-1.5), np.exp(1.5)
    assert "percentiles" in found.method
    assert (found.cp, found.cpk) == (None, None)
    assert any(doubt.startswith("not normal") for doubt in found.doubts)
    true = min((6.0 - 1.0) / (highest - 1.0), (1.0 - 0.05) / (1.0 - lowest))
    assert found.ppk.low <= true <= found.ppk.high
    assert found.pp.low <= 5.95 / (highest - lowest) <= found.pp.high


def test_readings_that_no_curve_fits_have_no_index_but_words() -> None:
    values = np.random.default_rng(8).permutation([1.0] * 40 + [2.0] * 40).tolist()
    found = capability(values, Interval(0.0, 3.0))
    assert (found.pp, found.ppk) == (None, None)
    assert "no curve fits" in found.why


def test_an_unstable_process_has_no_index_without_saying_so() -> None:
    steady = scored(60, 16.0, 1.0)
    assert capability(steady, BOTH).stable
    for moved in ([*steady[:30], *(value + 2.0 for value in steady[30:])], [*steady[:-1], 30.0]):
        found = capability(moved, BOTH)
        assert not found.stable
        assert found.doubts[0].startswith("not stable")


def test_a_stable_process_is_seldom_called_drifting() -> None:
    """1 % of 2,000, and three standard deviations of that: 34 at most, 6 at least."""
    drawn = np.random.default_rng(6).normal(0.0, 1.0, (2000, 30))
    assert 6 <= sum(order_p(row) < 0.01 for row in drawn) <= 34


def test_readings_that_are_only_bounds_are_counted_and_never_calculated_with() -> None:
    values = scored(98, 16.0, 2.0)
    some = capability(values, BELOW, bounds=2)
    assert some.mean == pytest.approx(16.0)
    assert some.bounds == 2
    assert any("2 of 100 units are left out" in doubt for doubt in some.doubts)
    many = capability(values, BELOW, bounds=20)
    assert (many.cpk, many.ppk) == (None, None)
    assert "20 of 118" in many.why


@pytest.mark.parametrize(
    ("values", "why"), [([], "fewer than three"), ([1.0, 2.0], "fewer"), ([1.0] * 5, "spread")]
)
def test_what_has_no_spread_has_no_index(values: list[float], why: str) -> None:
    assert why in capability(values, BOTH).why
