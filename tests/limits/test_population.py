"""Risks of a model's limits from what its units read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from limits import table as tables
from limits.population import CharacteristicRisk, UnitReading, assess
from limits.quantity import Channels
from limits.reading import Claim, Reading
from limits.risk import Interval, Population, conformance_probability, global_risks, guard_for

TABLE = """\
limit_table: M
revision: A
model: M
decision_rule: {specification: guarded acceptance with w = U, works: simple acceptance}
limits:
  loss:
    specification: {at_most: 1.80 dB}
    works: {at_most: 1.70 dB}
  notch:
    specification: {between: rx ± 50 kHz}
  shape:
    specification: {mask: [{over: tx ± 1 MHz, at_least: 40 dB}]}
"""
WEIGHTS = (148.0, 154.0, 158.0, 160.0, 161.0, 162.0, 166.0, 170.0, 182.0, 195.0, 236.0)
"""Of eleven men, the example of Shapiro and Wilk (1965): W = 0.79, beyond the 1 % point (from memory)."""


@pytest.fixture
def table(tmp_path: Path) -> tables.LimitTable:
    (tmp_path / "M.yaml").write_text(TABLE)
    return tables.load(tmp_path / "M.yaml")


def unit(
    place: int, value: float | None, u: float | None = 0.04, claim: Claim = Claim.VALUE, rx_hz: float = 161e6
) -> UnitReading:
    reading = Reading("loss", "Loss", "dB", value, u=u, claim=claim)
    return UnitReading(f"S-{place}", Channels(156e6, rx_hz), reading)


def risks(
    table: tables.LimitTable, name: str, units: list[UnitReading], at_most: float | None = None
) -> CharacteristicRisk:
    row = next(row for row in table.rows if row.name == name)
    return assess(row, table.rules, units, at_most)


def spread(count: int = 30, seed: int = 1) -> list[UnitReading]:
    return [
        unit(place, float(value))
        for place, value in enumerate(np.random.default_rng(seed).normal(1.65, 0.06, count))
    ]


def test_the_risks_are_those_of_the_readings_population_under_the_rule_of_each_level(
    table: tables.LimitTable,
) -> None:
    units = spread()
    found = risks(table, "loss", units)
    values = [each.reading.value for each in units]
    assert (found.values, found.bounds, found.missing, found.u) == (30, 0, 0, 0.04)
    assert found.mean == pytest.approx(np.mean(values))  # type: ignore[arg-type]
    assert found.sd == pytest.approx(np.std(values, ddof=1))  # type: ignore[arg-type]
    assert found.mean is not None and found.sd is not None
    made = Population(found.mean, found.sd)
    specification, works = found.levels
    assert specification.risks == global_risks(made, 0.02, Interval(None, 1.80), Interval(None, 1.76))
    assert works.risks == global_risks(made, 0.02, Interval(None, 1.70), Interval(None, 1.70))
    assert found.doubts == ()


def test_a_unit_is_named_that_passes_or_does_not_at_the_largest_risk_of_its_own(
    table: tables.LimitTable,
) -> None:
    units = [unit(1, 1.60), unit(2, 1.69), unit(3, 1.71), unit(4, 1.75)]
    works = risks(table, "loss", units).levels[1]
    assert works.worst_passed is not None and works.worst_other is not None
    assert (works.worst_passed.serial, works.worst_other.serial) == ("S-2", "S-3")
    inside = conformance_probability(1.69, 0.02, Interval(None, 1.70))
    assert works.worst_passed.risk == pytest.approx(1.0 - inside)
    assert works.worst_other.risk == pytest.approx(conformance_probability(1.71, 0.02, Interval(None, 1.70)))


def test_a_bound_and_a_hole_are_counted_and_never_averaged(table: tables.LimitTable) -> None:
    units = [unit(1, 1.6), unit(2, 1.7), unit(3, 9.0, claim=Claim.AT_LEAST), unit(4, None, None)]
    found = risks(table, "loss", units)
    assert (found.values, found.bounds, found.missing) == (2, 1, 1)
    assert found.mean == pytest.approx(1.65)


@pytest.mark.parametrize(("bounds", "told"), [(1, True), (3, False)])
def test_bounds_cut_the_sample_off_which_is_said_and_many_of_them_leave_no_risk(
    table: tables.LimitTable, bounds: int, *, told: bool
) -> None:
    units = [*spread(), *(unit(100 + place, 9.0, claim=Claim.AT_LEAST) for place in range(bounds))]
    found = risks(table, "loss", units)
    (doubt,) = found.doubts
    assert doubt.startswith(f"{bounds} of {30 + bounds} units are left out")
    for limit in found.levels:
        assert (limit.risks is not None, limit.why == "") == (told, told)
        assert limit.worst_passed is not None


def test_limits_relative_to_a_channel_are_met_by_readings_taken_from_it(table: tables.LimitTable) -> None:
    units = []
    for place, (rx_hz, off_hz) in enumerate(((161e6, -10e3), (159e6, 4e3), (163e6, 12e3))):
        reading = Reading("notch", "Notch", "Hz", rx_hz + off_hz, u=2e3)
        units.append(UnitReading(f"S-{place}", Channels(156e6, rx_hz), reading))
    found = risks(table, "notch", units)
    assert (found.channel, found.mean) == ("rx", pytest.approx(2e3))
    assert found.levels[0].limit == "between rx - 50 kHz and rx + 50 kHz"
    assert found.levels[0].risks is not None and found.levels[0].risks.accepted > 0.99


@pytest.mark.parametrize(
    ("units", "why"),
    [
        ([unit(1, 1.6, None), unit(2, 1.7, None)], "no U was evaluated"),
        ([unit(1, 1.6)], "one value only"),
        ([unit(1, 1.6), unit(2, 1.6)], "the readings do not spread"),
        ([unit(1, 1.6, claim=Claim.AT_LEAST)], "no unit has a number"),
    ],
)
def test_where_no_risk_can_be_told_it_is_said_why(
    table: tables.LimitTable, units: list[UnitReading], why: str
) -> None:
    for limit in risks(table, "loss", units).levels:
        assert limit.risks is None
        assert why in limit.why


def test_a_guard_band_wider_than_the_tolerance_leaves_nothing_that_passes(table: tables.LimitTable) -> None:
    units = [
        UnitReading(f"S-{off}", Channels(156e6, 161e6), Reading("notch", "Notch", "Hz", 161e6 + off, u=60e3))
        for off in (1, 9)
    ]
    assert "leave nothing that passes" in risks(table, "notch", units).levels[0].why


def test_a_mask_has_no_population(table: tables.LimitTable) -> None:
    found = risks(table, "shape", spread())
    assert (found.mean, found.sd) == (None, None)
    assert "worst point has no normal population" in found.levels[0].why


def test_few_units_missing_u_and_a_skew_population_are_told_as_doubts(table: tables.LimitTable) -> None:
    few = risks(table, "loss", [*spread(6), unit(7, 1.6, None)]).doubts
    assert few == (
        "U is stated for 6 of 7 units only",
        "fewer than 20 units: the spread is known to about 29 % only",
    )
    skew = risks(table, "loss", [unit(place, weight) for place, weight in enumerate(WEIGHTS)]).doubts
    assert "visibly not normal (Shapiro and Wilk, p = 0.007)" in skew[-1]


def test_a_guard_band_holds_the_consumers_risk_at_what_was_asked_for(table: tables.LimitTable) -> None:
    found = risks(table, "loss", spread(), 0.001)
    assert found.mean is not None and found.sd is not None
    made, tolerance = Population(found.mean, found.sd), Interval(None, 1.70)
    guard = found.levels[1].guard
    assert guard is not None and guard > 0.0
    assert global_risks(made, 0.02, tolerance, tolerance.guarded(guard)).consumer == pytest.approx(
        0.001, rel=1e-3
    )


def test_no_guard_band_is_needed_where_the_risk_is_small_already_and_a_closed_tolerance_bears_any() -> None:
    made = Population(0.0, 1.0)
    assert guard_for(made, 0.1, Interval(-9.0, 9.0), 0.01) == 0.0
    tolerance = Interval(-0.5, 0.5)
    guard = guard_for(made, 0.8, tolerance, 1e-4)
    assert 0.0 < guard < 0.5
    assert global_risks(made, 0.8, tolerance, tolerance.guarded(guard)).consumer <= 1.001e-4
    with pytest.raises(ValueError, match="between 0 and 1"):
        guard_for(made, 0.1, tolerance, 1.0)
