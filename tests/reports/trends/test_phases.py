"""Charts cut at recorded changes, bounds left out, shifts dated: on tables of known making."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from limits.reading import Claim
from reports.trends.attributes import Attribute, attribute_chart, by_order
from reports.trends.charting import Kind, Wish, chart
from reports.trends.phases import phases
from reports.trends.readings import table_of
from reports.trends.shifts import shift
from reports.trends.steps import step

BEGIN = datetime(2026, 11, 2, 8, tzinfo=UTC)


def series(values, **columns) -> pd.DataFrame:
    """One reading an hour; columns are one value for all, or one for each."""
    plain = {
        "order": "SKO-1", "operator": "Astrid Holm", "station": "final test 1", "recipe": "SK-V4 A",
        "recipe_digest": "a", "calibration": 1, "title": "TX loss", "unit": "dB", "claim": Claim.VALUE.value,
    }  # fmt: skip
    rows = []
    for row, value in enumerate(values):
        own = {key: each if isinstance(each, str | int) else each[row] for key, each in columns.items()}
        when = BEGIN + timedelta(hours=row)
        rows.append(
            {"run": row + 1, "started": when, "serial": f"SKV-{row:04}", "value": value, **plain, **own}
        )
    return table_of(rows)


def drawn(*parts: tuple[int, float], seed: int = 5) -> np.ndarray:
    random = np.random.default_rng(seed)
    return np.concatenate([random.normal(mean, 0.1, count) for count, mean in parts])


def test_a_new_recipe_begins_a_phase_with_limits_of_its_own() -> None:
    digests = ["a"] * 30 + ["b"] * 30
    names = ["SK-V4 A"] * 30 + ["SK-V4 B"] * 30
    table = series(drawn((30, 1.0), (30, 2.0)), recipe_digest=digests, recipe=names)
    found = chart(table, Wish(rules=("WE1",)))
    assert [(phase.start, phase.stop) for phase in found.phases] == [(0, 30), (30, 60)]
    (why,) = found.phases[1].why
    assert (why.key, why.old, why.new, why.lasts) == ("recipe", "SK-V4 A", "SK-V4 B", True)
    values = [each for each in found.drawn if each.chart.what == "individual values"]
    assert [each.chart.centre[0] for each in values] == pytest.approx([1.0, 2.0], abs=0.1)
    assert not values[0].alarms and not values[1].alarms
    whole = chart(table, Wish(split=(), rules=("WE1",)))
    assert len(whole.phases) == 1
    assert whole.drawn[0].alarms, "without the cut the step alarms"


def test_every_kind_of_change_is_a_place_to_cut_and_two_at_once_are_one() -> None:
    table = series(
        drawn((6, 1.0)),
        operator=["A", "A", "B", "B", "A", "A"],
        station=["1", "1", "2", "2", "2", "2"],
        calibration=[1, 1, 1, 2, 2, 2],
    )
    assert [phase.start for phase in phases(table, ("operator", "station"))] == [0, 2, 4]
    assert [phase.start for phase in phases(table, ("calibration",))] == [0, 3]
    back = phases(table, ("operator",))[1].why[0]
    assert not back.lasts, "the old operator came again"
    assert phases(table.iloc[:0], ("operator",)) == ()


def test_a_baseline_sets_the_limits_of_what_comes_after_it() -> None:
    table = series(drawn((40, 1.0), (10, 1.6)))
    found = chart(table, Wish(baseline=40, rules=("WE1",)))
    values = found.drawn[0]
    assert values.chart.centre[-1] == pytest.approx(np.mean(table["value"][:40]))
    (alarm,) = values.alarms
    assert alarm.at >= 40
    assert values.rows[alarm.at] == (alarm.at,)


def test_bounds_are_left_out_and_counted_and_enter_no_number() -> None:
    values = drawn((40, 1.0))
    claims = [Claim.VALUE.value] * 40
    plain = chart(series(values), Wish(rules=("WE1",)))
    with_bounds = chart(
        series(
            [*values[:20], 99.0, *values[20:], None],
            claim=[*claims[:20], Claim.AT_LEAST.value, *claims[20:], "value"],
        ),
        Wish(rules=("WE1",)),
    )
    assert (with_bounds.bounds, with_bounds.holes) == (1, 1)
    assert with_bounds.drawn[0].chart.high == pytest.approx(plain.drawn[0].chart.high)
    assert with_bounds.readings["value"].max() < 2


def test_where_more_than_a_tenth_are_bounds_there_are_words_and_no_chart() -> None:
    claims = [Claim.AT_LEAST.value] * 5 + [Claim.VALUE.value] * 40
    table = series(drawn((45, 1.0)), claim=claims)
    found = chart(table, Wish())
    assert found.drawn == ()
    assert "5 of 45 readings only say 'at least'" in found.notes[0]
    told = shift(table, np.random.default_rng(1))
    assert told.step is None
    assert "at least" in told.note
    assert chart(table.iloc[1:], Wish()).drawn, "4 of 44 are few enough"


@pytest.mark.parametrize("kind", [Kind.MEAN_SD, Kind.MEAN_RANGE])
def test_an_order_that_is_off_alarms_with_all_its_units(kind: Kind) -> None:
    orders = [f"SKO-{row // 5}" for row in range(125)]
    found = chart(series(drawn((120, 1.0), (5, 1.4)), order=orders), Wish(kind, rules=("WE1",), baseline=24))
    means = found.drawn[0]
    (alarm,) = means.alarms
    assert alarm.at == 24
    assert means.rows[24] == (120, 121, 122, 123, 124)


def test_orders_of_one_unit_have_no_spread_and_are_told() -> None:
    found = chart(series(drawn((5, 1.0)), order=["A", "A", "B", "C", "C"]), Wish(Kind.MEAN_SD))
    assert "1 orders of one unit are left out" in found.notes[0]
    assert found.drawn[0].rows == ((0, 1), (3, 4))


@pytest.mark.parametrize("kind", [Kind.EWMA, Kind.CUSUM])
def test_a_slow_chart_finds_a_shift_of_one_sigma_that_no_single_point_tells(kind: Kind) -> None:
    table = series(drawn((50, 1.0), (25, 1.1), seed=7))
    alone = chart(table, Wish(baseline=50, rules=("WE1",))).drawn[0].alarms
    slow = [alarm for each in chart(table, Wish(kind, baseline=50)).drawn for alarm in each.alarms]
    assert not [alarm for alarm in alone if alarm.at >= 50]
    assert [alarm for alarm in slow if alarm.at >= 50]


def test_a_phase_too_short_for_limits_says_so() -> None:
    found = chart(series(drawn((3, 1.0)), recipe_digest=["a", "a", "b"]), Wish())
    assert {each.phase for each in found.drawn} == {0}
    assert found.notes == ("phase 1: limits from 2 points only", "phase 2: too few points for limits")


def test_a_shift_is_dated_and_what_changed_then_is_named() -> None:
    table = series(
        drawn((60, 1.0), (40, 1.6)),
        operator=["Astrid Holm"] * 60 + ["Jon Vik"] * 40,
        calibration=[1] * 20 + [2] * 80,
    )
    found = shift(table, np.random.default_rng(1))
    assert found.step.at == 60
    assert found.step.between[0] <= 60 <= found.step.between[1]
    assert found.step.p == 0.001
    assert found.step.size == pytest.approx(0.6, abs=0.06)
    assert [(change.key, change.old, change.new, change.at) for change in found.changes] == [
        ("operator", "Astrid Holm", "Jon Vik", 60)
    ]


def test_chance_alone_seldom_looks_like_a_shift() -> None:
    """A share of p at or below 5 % in 5 % of series, within four standard errors."""
    random = np.random.default_rng(2)
    found = [step(random.normal(size=40), random, permutations=99).p for _ in range(400)]
    assert np.mean(np.array(found) <= 0.05) == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 400))


def test_the_places_of_a_step_hold_the_true_one_nearly_always() -> None:
    random = np.random.default_rng(3)
    held = 0
    for _ in range(300):
        low, high = step(
            np.concatenate([random.normal(0, 1, 40), random.normal(2, 1, 40)]), random, 1
        ).between
        held += low <= 40 <= high
    assert 0.93 <= held / 300 < 1.0


@pytest.mark.parametrize("values", [[1.0, 2.0] * 4, [0.1] * 30])
def test_too_few_or_equal_values_have_no_shift(values: list[float]) -> None:
    assert step(np.array(values), np.random.default_rng(1)) is None


def test_failures_by_order_become_shares_and_defects() -> None:
    counts = pd.DataFrame(
        {
            "order": ["B", "A", "B", "C"],
            "day": ["2026-11-03", "2026-11-02", "2026-11-04", "2026-11-05"],
            "first": [6, 10, 4, 0],
            "first_passed": [5, 9, 3, 0],
        }
    )
    failed = pd.DataFrame({"order": ["B", "B", "B", "A"]})
    orders = by_order(counts, failed)
    assert orders.to_dict("list") == {
        "order": ["A", "B"], "day": ["2026-11-02", "2026-11-03"], "units": [10, 10], "failed": [1, 2],
        "defects": [1, 3],
    }  # fmt: skip
    assert attribute_chart(orders, Attribute.FAILED).value == pytest.approx([0.1, 0.2])
    per_unit = attribute_chart(orders, Attribute.DEFECTS, baseline=1)
    assert per_unit.value == pytest.approx([0.1, 0.3])
    assert per_unit.centre == pytest.approx([0.1, 0.1])
