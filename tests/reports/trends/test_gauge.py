"""Gauge study, linearity and bias, held against the published examples to their printed digits."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml

from reports.trends.components import MeanSquare, deviation
from reports.trends.gauge import gauge_study
from reports.trends.linearity import bias_of, linearity

FOLDER = Path(__file__).parents[2] / "reference" / "trends" / "gauge"
PUBLISHED = yaml.safe_load((FOLDER / "published.yaml").read_text(encoding="utf-8"))
CROSSED = PUBLISHED["crossed"]


# 0.3023715 from the data: the published value was rounded on the way. The total is printed with four decimals.
SD_WITHIN = {"gauge": 1.5e-6, "total": 0.5e-4}


def crossed() -> pd.DataFrame:
    return pd.read_csv(FOLDER / "crossed_10x3x3.csv").rename(columns={"appraiser": "operator"})


def digits(value: float, printed: str) -> str:
    """The value with as many decimals as were printed."""
    return f"{value:.{len(printed.partition('.')[2])}f}"


def test_the_analysis_of_variance_is_the_published_one() -> None:
    found = gauge_study(crossed())
    for name, printed in CROSSED["ss"].items():
        assert digits(found.source(name).ss, printed) == printed
        assert found.source(name).df == CROSSED["df"][name]
    for name, printed in CROSSED["f"].items():
        assert digits(found.source(name).f, printed) == printed
    assert digits(found.source("interaction").p, CROSSED["p_interaction"]) == CROSSED["p_interaction"]


def test_the_parts_of_the_spread_are_the_published_ones() -> None:
    found = gauge_study(crossed(), tolerance=CROSSED["tolerance"])
    assert found.pooled
    for name, printed in CROSSED["sd"].items():
        assert found.component(name).sd.value == pytest.approx(
            float(printed), abs=SD_WITHIN.get(name, 0.5e-6)
        )
    for name, printed in CROSSED["contribution"].items():
        assert digits(100 * found.component(name).contribution, printed) == printed
    for name, printed in CROSSED["study"].items():
        assert digits(100 * found.component(name).study, printed) == printed
    of_tolerance = 100 * found.component("gauge").tolerance
    assert digits(of_tolerance, CROSSED["tolerance_of_gauge"]) == CROSSED["tolerance_of_gauge"]
    assert found.categories == CROSSED["categories"]


def test_the_interval_of_the_repeatability_is_the_published_one() -> None:
    found = gauge_study(crossed(), confidence=0.90).component("repeatability").sd
    low, high = CROSSED["repeatability_90"]
    assert (digits(found.low, low), digits(found.high, high)) == (low, high)


def test_a_common_offset_changes_nothing() -> None:
    """A frequency in Hz spreads by parts in a million of itself."""
    plain, far = (
        gauge_study(crossed()),
        gauge_study(crossed().assign(value=lambda table: table["value"] + 1e8)),
    )
    assert far.component("gauge").sd.value == pytest.approx(plain.component("gauge").sd.value, rel=1e-6)


def drawn(seed: int, interaction: float = 0.0) -> pd.DataFrame:
    random = np.random.default_rng(seed)
    part, operator = random.normal(0, 2.0, 10), random.normal(0, 0.5, 5)
    mixed = random.normal(0, interaction, (10, 5)) if interaction else np.zeros((10, 5))
    rows = [
        {
            "part": f"P{i}",
            "operator": f"O{j}",
            "value": part[i] + operator[j] + mixed[i, j] + random.normal(0, 0.3),
        }
        for i in range(10)
        for j in range(5)
        for _ in range(3)
    ]
    return pd.DataFrame(rows).sample(frac=1.0, random_state=seed)


@pytest.mark.parametrize("interaction", [0.0, 0.8])
def test_intervals_hold_the_truth_as_often_as_they_say(interaction: float) -> None:
    """Drawn from known spreads: 95 % of 60 studies, within three standard deviations of that: 52 at least."""
    truth = {
        "repeatability": 0.3,
        "reproducibility": np.hypot(0.5, interaction),
        "gauge": np.sqrt(0.3**2 + 0.5**2 + interaction**2),
        "part": 2.0,
    }
    inside = dict.fromkeys(truth, 0)
    for seed in range(60):
        found = gauge_study(drawn(seed, interaction))
        for name, true in truth.items():
            sd = found.component(name).sd
            inside[name] += sd.low <= true <= sd.high
    assert all(count >= 52 for count in inside.values()), inside


def test_an_interaction_that_stands_belongs_to_the_reproducibility() -> None:
    found = gauge_study(drawn(2, interaction=0.8))
    assert not found.pooled
    assert found.source("operator").f > 1.0
    ms = {name: found.source(name).ms for name in ("part", "operator", "interaction", "repeatability")}
    between = (ms["operator"] - ms["interaction"]) / 30 + (ms["interaction"] - ms["repeatability"]) / 3
    assert found.component("reproducibility").sd.value ** 2 == pytest.approx(between)
    assert found.component("repeatability").sd.value ** 2 == pytest.approx(ms["repeatability"])


def test_operators_that_agree_too_well_count_as_alike() -> None:
    alike = crossed().assign(value=lambda t: t["value"] - t.groupby("operator")["value"].transform("mean"))
    found = gauge_study(alike)
    assert found.component("reproducibility").sd.value == 0.0
    assert found.component("gauge").sd.value == pytest.approx(found.component("repeatability").sd.value)


@pytest.mark.parametrize(
    ("table", "words"),
    [
        (crossed().iloc[1:], "measured 1 2 times, others 3 times"),
        (crossed().query("operator == 'A'"), "two operators"),
        (crossed().query("trial == 1"), "two trials"),
        (crossed().iloc[:0], "two parts"),
        (crossed().assign(value=1.5), "all readings are the same"),
    ],
)
def test_what_is_no_crossed_study_is_refused_in_words(table: pd.DataFrame, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        gauge_study(table)


def test_the_interval_of_one_mean_square_is_exact() -> None:
    """Chi-square, as for any spread: e.g. 0.8 to 1.2 times for 50 degrees of freedom (tables: 32.357, 71.420)."""
    found = deviation([(1.0, MeanSquare(4.0, 50))])
    assert found.low == pytest.approx(2.0 * (50 / 71.420) ** 0.5, rel=1e-5)
    assert found.high == pytest.approx(2.0 * (50 / 32.357) ** 0.5, rel=1e-5)


def test_linearity_is_the_published_one() -> None:
    expected = PUBLISHED["linearity"]
    found = linearity(pd.read_csv(FOLDER / "linearity.csv"))
    for name in ("slope", "intercept", "t_slope", "t_intercept", "r_squared"):
        assert digits(getattr(found, name), expected[name]) == expected[name]
    assert found.df == expected["df"]
    assert [
        digits(each.bias, printed) for each, printed in zip(found.biases, expected["biases"], strict=True)
    ] == (expected["biases"])
    assert found.p_slope < 1e-6, "the published conclusion: significant"


def test_a_bias_is_the_published_one() -> None:
    expected = PUBLISHED["bias"]
    found = bias_of(expected["count"], expected["mean"], expected["sd"], expected["reference"])
    assert digits(found.t, expected["t"]) == expected["t"]
    assert found.low < 0 < found.high
