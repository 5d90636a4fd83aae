"""Producer's and consumer's risk against the published examples."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from limits.risk import Interval, Population, conformance_probability, global_risks

PUBLISHED = yaml.safe_load(
    (Path(__file__).parent.parent / "reference" / "conformity" / "risks.yaml").read_text()
)


@pytest.mark.parametrize("row", PUBLISHED["specific"])
def test_the_conformance_probability_is_the_published_one_at_either_limit(row: dict[str, float]) -> None:
    """JCGM 106 clause 7; to the nine digits it is told with."""
    upper = conformance_probability(10.0 - row["ratio"] * 0.25, 0.25, Interval(None, 10.0))
    lower = conformance_probability(10.0 + row["ratio"] * 0.25, 0.25, Interval(10.0, None))
    assert upper == pytest.approx(row["pc"], abs=1e-8)
    assert lower == pytest.approx(row["pc"], abs=1e-8)


def test_between_two_limits_the_probability_is_a_difference_of_tails() -> None:
    """Phi((TU - y)/u) - Phi((TL - y)/u), JCGM 106 clause 7."""
    found = conformance_probability(0.5, 0.5, Interval(-1.0, 1.0))
    assert found == pytest.approx(norm.cdf(1.0) - norm.cdf(-3.0), abs=1e-12)


@pytest.mark.parametrize("row", PUBLISHED["guard_bands"])
def test_the_specific_risk_at_the_acceptance_limit_is_that_of_the_rule(row: dict[str, Any]) -> None:
    """ILAC-G8: at most 50 % under simple acceptance, below 2.5 % for w = U = 2u."""
    tolerance = Interval(None, 1.8)
    accepted_last = tolerance.guarded(row["w"] * 0.05).high
    assert accepted_last is not None
    risk = 1 - conformance_probability(accepted_last, 0.05, tolerance)
    assert risk == pytest.approx(row["risk"], abs=1e-8)
    assert risk < row.get("published_below", 0.51)


def test_the_resistors_of_jcgm_106_have_the_published_risks() -> None:
    row = PUBLISHED["resistor"]
    found = global_risks(
        Population(**row["population"]), row["u"], Interval(*row["tolerance"]), Interval(*row["acceptance"])
    )
    for name, digits in (("conforming", 3), ("consumer", 2), ("producer", 2)):
        value = getattr(found, name)
        assert round(value, digits) == row["published"][name]
        assert value == pytest.approx(row["recomputed"][name], abs=6e-7)


@pytest.mark.parametrize("row", PUBLISHED["bivariate"])
def test_global_risks_agree_with_the_published_table_to_six_digits(row: dict[str, float]) -> None:
    """The published digits all; the recomputed ones within 2e-6, which is what that double integral was good for."""
    end = norm.isf((1 - row["in_tolerance"]) / 2)
    tolerance = Interval(-end, end)
    found = global_risks(Population(0.0, 1.0), 0.25, tolerance, tolerance)
    assert found.conforming == pytest.approx(row["in_tolerance"], abs=1e-12)
    assert 100 * found.consumer == pytest.approx(row["consumer"], rel=2e-6)
    assert 100 * found.consumer_of_accepted == pytest.approx(row["consumer_of_accepted"], rel=2e-6)
    if "published" in row:
        assert 100 * found.consumer == pytest.approx(row["published"], abs=6e-8)


@pytest.mark.parametrize("row", PUBLISHED["deaver"])
def test_guard_banded_examples_agree_where_the_published_value_was_computed(row: dict[str, Any]) -> None:
    """The third published value is off by 13 %, evidently read off a graph: our value stands beside it."""
    tolerance = Interval(-row["limit"], row["limit"])
    acceptance = tolerance.guarded((1 - row["guard"]) * row["limit"])
    found = global_risks(Population(0.0, 1.0), row["limit"] / (2 * row["ratio"]), tolerance, acceptance)
    ours = [found.consumer, found.producer][: len(row["recomputed"])]
    assert ours == pytest.approx(row["recomputed"], abs=6e-8)
    if "read_off_a_graph" in row:
        assert found.consumer / row["consumer"] == pytest.approx(1.13, abs=0.005)
    else:
        assert [round(risk, 3) for risk in ours] == [row["consumer"], row["producer"]]


def test_one_sided_risks_agree_with_a_count_of_units() -> None:
    """Four million simulated units against a single upper limit with a guard band: 4 standard errors."""
    rng = np.random.default_rng(106)
    true = rng.normal(1.6, 0.1, 4_000_000)
    measured = true + rng.normal(0.0, 0.02, true.size)
    found = global_risks(Population(1.6, 0.1), 0.02, Interval(None, 1.8), Interval(None, 1.8).guarded(0.02))
    wrong_pass, wrong_fail = (true > 1.8) & (measured <= 1.78), (true <= 1.8) & (measured > 1.78)
    for share, risk in ((wrong_pass.mean(), found.consumer), (wrong_fail.mean(), found.producer)):
        assert share == pytest.approx(risk, abs=4 * np.sqrt(risk / true.size))
    mirrored = global_risks(
        Population(-1.6, 0.1), 0.02, Interval(-1.8, None), Interval(-1.8, None).guarded(0.02)
    )
    assert mirrored.consumer == pytest.approx(found.consumer, rel=1e-9)


@given(mean=st.floats(-3, 3), sd=st.floats(0.05, 2), u=st.floats(1e-4, 1), guard=st.floats(-0.5, 0.5))
def test_what_conforms_and_is_accepted_is_one_share_seen_from_two_sides(
    mean: float, sd: float, u: float, guard: float
) -> None:
    tolerance = Interval(-1.0, 1.0)
    found = global_risks(Population(mean, sd), u, tolerance, tolerance.guarded(guard))
    assert found.conforming - found.producer == pytest.approx(found.accepted - found.consumer, abs=1e-9)
    assert min(found.consumer, found.producer) >= 0


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: Interval(1.0, 1.0), "an interval rises"),
        (lambda: Interval(-1.0, 1.0).guarded(1.0), "an interval rises"),
        (lambda: conformance_probability(0.0, 0.0, Interval(0.0, 1.0)), "standard uncertainty must be above zero"),
        (lambda: global_risks(Population(0.0, 0.0), 1.0, Interval(0, 1), Interval(0, 1)), "standard deviation"),
    ],
)  # fmt: skip
def test_what_has_no_risk_to_compute_is_refused(call: Any, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        call()
