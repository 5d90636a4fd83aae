"""Control charts against the constants and examples that are in print."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import yaml

from reports.trends import shewhart
from reports.trends.constants import c4, d2, d3
from reports.trends.rules import WESTERN_ELECTRIC

FOLDER = Path(__file__).parents[2] / "reference" / "trends" / "charts"
PUBLISHED = yaml.safe_load((FOLDER / "published.yaml").read_text(encoding="utf-8"))
PRINTED_D2 = 0.0006
"""Share by which limits move where d2 is taken as 1.128, as print does, instead of 1.12838."""


def table(name: str) -> pd.DataFrame:
    return pd.read_csv(FOLDER / f"{name}.csv", comment="#")


def column(name: str, which: str) -> np.ndarray:
    return table(name)[which].to_numpy(dtype=float)


@pytest.mark.parametrize("row", table("01_control_chart_constants").to_dict("records"), ids=lambda r: r["n"])
def test_the_constants_are_those_in_print(row: dict[str, float]) -> None:
    """d3 to one in the last printed place, where eight printed entries are rounded otherwise."""
    n = int(row["n"])
    for own, name, places in ((d2(n), "d2", 3), (c4(n), "c4", 4), (d3(n), "d3", 3)):
        assert own == pytest.approx(row[name], abs=1e-9)
        assert own == pytest.approx(row[f"pub_{name}"], abs=(1.01 if name == "d3" else 0.501) * 10**-places)


def test_flow_rates_have_the_published_limits_and_no_signal() -> None:
    values, ranges = shewhart.individuals(column("nist_flowrate_individuals", "flow_rate"))
    published = PUBLISHED["nist_flowrate_individuals"]
    assert round(float(values.centre[0]), 2) == published["mean"]
    assert round(float(values.high[0]), 4) == published["ucl"]
    assert round(float(values.low[0]), 4) == published["lcl"]
    assert ranges.value[1:] == pytest.approx(published["moving_ranges"], abs=1e-9)
    assert round(float(ranges.centre[0]), 4) == published["mr_bar"]
    assert ranges.high[0] == pytest.approx(published["mr_ucl_D4"] * published["mr_bar"], rel=PRINTED_D2)
    assert values.alarms(WESTERN_ELECTRIC) == ranges.alarms(WESTERN_ELECTRIC) == ()


def test_viscosities_have_the_limits_that_their_first_twenty_batches_set() -> None:
    read = table("montgomery_viscosity")
    first = int((read["phase"] == "I").sum())
    values, _ = shewhart.individuals(read["viscosity"].to_numpy(float), slice(first))
    published = PUBLISHED["montgomery_viscosity"]
    assert values.centre[-1] == pytest.approx(published["center"], abs=1e-9)
    assert round(float(values.low[-1]), 5) == published["moving_range"]["lcl"]
    assert round(float(values.high[-1]), 5) == published["moving_range"]["ucl"]


def piston_rings() -> list[np.ndarray]:
    read = table("montgomery_piston_rings")
    return [group["diameter_mm"].to_numpy(float) for _, group in read[read["phase"] == "I"].groupby("sample")]


def test_piston_rings_have_the_published_means_and_ranges() -> None:
    means, ranges = shewhart.by_group(piston_rings(), "range")
    published = PUBLISHED["montgomery_piston_rings"]
    assert round(float(means.centre[0]), 5) == published["xbar_R"]["center"]
    # Print divides by 2.326.
    assert means.sigma[0] * np.sqrt(5) * d2(5) / 2.326 == pytest.approx(
        published["xbar_R"]["sigma_R"], abs=5e-10
    )
    assert means.low[0] == pytest.approx(published["xbar_R"]["lcl"], abs=5e-6)
    assert means.high[0] == pytest.approx(published["xbar_R"]["ucl"], abs=5e-5)
    assert ranges.centre[0] == pytest.approx(published["R"]["center"], abs=1e-9)
    assert ranges.low[0] == published["R"]["lcl"]
    # The printed limit comes from a rounded d3.
    assert ranges.high[0] == pytest.approx(published["R"]["ucl"], abs=1e-6)


def test_piston_rings_have_the_published_standard_deviations() -> None:
    _, deviations = shewhart.by_group(piston_rings(), "sd")
    published = PUBLISHED["montgomery_piston_rings"]["S"]
    assert deviations.centre[0] == pytest.approx(published["center"], abs=5e-10)
    assert deviations.high[0] == pytest.approx(published["ucl"], abs=5e-8)
    sigma = deviations.centre[0] / c4(5)
    assert sigma == pytest.approx(published["sigma_S"], abs=5e-10)


def test_hard_baked_resist_has_the_published_limits() -> None:
    groups = list(table("montgomery_hard_bake").drop(columns="sample").to_numpy(float))
    means, ranges = shewhart.by_group(groups, "range")
    published = PUBLISHED["montgomery_hard_bake"]
    assert round(float(means.centre[0]), 3) == published["xbar"]["center"]
    assert means.high[0] == pytest.approx(published["xbar"]["ucl"], abs=5e-4)
    assert means.low[0] == pytest.approx(published["xbar"]["lcl"], abs=5e-4)
    assert ranges.centre[0] == pytest.approx(published["R"]["center"], abs=5e-5)
    # Print multiplies rounded constants, 2.114 or 2.115 for 2.1145.
    assert ranges.high[0] == pytest.approx(published["R"]["ucl"], abs=2.5e-4)
    assert means.alarms(WESTERN_ELECTRIC) == ()


def test_orange_juice_cans_have_the_published_shares() -> None:
    read = table("montgomery_orange_juice_p").query("phase == 'I'")
    chart = shewhart.share(read["nonconforming"].to_numpy(float), read["n"].to_numpy(float))
    published = PUBLISHED["montgomery_orange_juice_p"]["p"]
    assert round(float(chart.centre[0]), 7) == published["center"]
    assert round(float(chart.low[0]), 8) == published["lcl"]
    assert round(float(chart.high[0]), 7) == published["ucl"]


def test_circuit_boards_have_the_published_defects_and_the_two_bad_samples_are_told() -> None:
    """The c chart of samples of 100 boards is the u chart of a board, a hundred times as large."""
    read = table("montgomery_circuit_c").query("phase == 'I'")
    chart = shewhart.per_unit(
        read["nonconformities"].to_numpy(float), read["boards_inspected"].to_numpy(float)
    )
    published = PUBLISHED["montgomery_circuit_c"]["all_phase_I"]
    assert 100 * chart.centre[0] == pytest.approx(published["center"], abs=5e-6)
    assert 100 * chart.low[0] == pytest.approx(published["lcl"], abs=5e-6)
    assert 100 * chart.high[0] == pytest.approx(published["ucl"], abs=1e-5)
    assert [read["sample"].iloc[alarm.at] for alarm in chart.alarms(["WE1"])] == [6, 20]


def test_a_moving_average_is_the_published_one() -> None:
    read, published = table("nist_ewma"), PUBLISHED["nist_ewma"]
    chart = shewhart.ewma(
        read["x"].to_numpy(float), published["start"], published["s"], published["lambda"], 3, settled=True
    )
    assert chart.value == pytest.approx(read["ewma_published_2dp"].to_numpy(float), abs=0.0051)
    assert chart.high[0] == pytest.approx(published["ucl_asymptotic"], abs=5e-5)
    assert chart.low[0] == pytest.approx(published["lcl_asymptotic"], abs=1e-4)
    assert chart.alarms(()) == ()


def test_a_moving_average_is_the_one_of_pandas() -> None:
    drawn = np.random.default_rng(8).normal(size=200)
    own = shewhart.ewma(drawn, 0.0, 1.0, 0.2).value
    theirs = pd.Series([0.0, *drawn]).ewm(alpha=0.2, adjust=False).mean()[1:]
    assert own == pytest.approx(theirs.to_numpy(), abs=1e-12)


def test_limits_of_a_moving_average_widen_from_the_first_point_on() -> None:
    published = PUBLISHED["tiny_arithmetic_checks"]["ewma"]
    chart = shewhart.ewma(
        np.array(published["x"], float), published["center"], published["sd"], published["lambda"]
    )
    assert chart.value == pytest.approx(published["z"])
    assert chart.sigma == pytest.approx(published["sigma_z"])


def test_a_small_shift_is_found_where_the_textbook_finds_it() -> None:
    values, published = (
        column("montgomery_table9_1_ewma_cusum", "x"),
        PUBLISHED["montgomery_table9_1_ewma_cusum"],
    )
    average = shewhart.ewma(values, 10, 1, 0.1, 2.7)
    assert average.value[:3] == pytest.approx(published["ewma"]["z_first"], abs=1e-9)
    assert average.value[28:] == pytest.approx(
        [published["ewma"]["z_29"], published["ewma"]["z_30"]], abs=5e-5
    )
    (alarm,) = average.alarms(())
    assert [point + 1 for point in alarm.points] == published["ewma"]["signals"]
    up, down = shewhart.cusum(values, 10, 1)
    assert up.value[28:] == pytest.approx([5.28, 5.30], abs=5e-3)
    (alarm,) = up.alarms(())
    assert [point + 1 for point in alarm.points] == published["cusum"]["signals_upper"]
    assert down.alarms(()) == ()


def test_cumulative_sums_are_the_published_ones() -> None:
    read, published = table("nist_cusum"), PUBLISHED["nist_cusum"]
    sigma = published["sigma_xbar"]
    up, down = shewhart.cusum(
        read["x"].to_numpy(float), published["target"], sigma, published["k"] / sigma, published["h"] / sigma
    )
    assert up.value == pytest.approx(read["s_hi_published"].to_numpy(float), abs=0.0051)
    assert -down.value == pytest.approx(read["s_lo_published"].to_numpy(float), abs=0.0051)
    (alarm,) = up.alarms(())
    assert [point + 1 for point in alarm.points] == published["upper_signal_groups"]
    assert down.alarms(()) == ()


def test_a_process_without_spread_alarms_at_its_first_change() -> None:
    values, _ = shewhart.individuals(np.array([1.0, 1.0, 1.0, 1.5, 1.0]), slice(3))
    assert [alarm.at for alarm in values.alarms(["WE1"])] == [3]


def test_a_group_of_one_has_no_spread() -> None:
    with pytest.raises(ValueError, match="two values at least"):
        shewhart.by_group([np.array([1.0])])


def test_groups_of_any_size_have_limits_of_their_own_and_alarm_as_rarely_as_promised() -> None:
    """0.27 % of means outside, where the groups are of three sizes."""
    drawn = np.random.default_rng(4)
    means, deviations = shewhart.by_group([drawn.normal(size=n) for n in (4, 8, 16) * 7_000], "sd")
    assert np.mean(np.abs(means.z) > 3) == pytest.approx(0.0027, abs=0.0011)
    assert deviations.centre[:3] == pytest.approx([c4(4), c4(8), c4(16)], rel=0.01)
