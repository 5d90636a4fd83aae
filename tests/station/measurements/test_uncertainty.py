"""Uncertainty budgets against the worked examples of the guides, to their printed digits."""

from __future__ import annotations

import cmath
import csv
import math
from itertools import combinations
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from station.measurements.uncertainty import (
    Budget,
    Contribution,
    Correlation,
    Distribution,
    Kind,
    correlation,
    coverage_factors,
    from_readings,
    vector_error,
    vector_error_limits_db,
)

REFERENCE = Path(__file__).parents[2] / "reference" / "uncertainty"
EXAMPLES = yaml.safe_load((REFERENCE / "examples.yaml").read_text())
with (REFERENCE / "mismatch.csv").open() as stream:
    MISMATCH = list(csv.DictReader(line for line in stream if not line.startswith("#")))


def normal(name: str, u: float, sensitivity: float = 1.0, degrees: float = math.inf) -> Contribution:
    return Contribution(
        name, Kind.B, Distribution.NORMAL, u, sensitivity=sensitivity, degrees_of_freedom=degrees
    )


def test_the_end_gauge_of_the_guide_has_its_printed_uncertainty() -> None:
    """JCGM 100 H.1; 16.7 is printed for 16.75, cut off and not rounded."""
    given = EXAMPLES["end_gauge"]
    lines = [
        normal(f"line {place}", u, degrees=degrees)
        for place, (u, degrees) in enumerate(
            zip(given["contributions"], given["degrees_of_freedom"], strict=True)
        )
    ]
    for name in ("delta_alpha", "delta_theta"):
        part = given[name]
        line = normal(name, part["u"], part["sensitivity"], part["degrees_of_freedom"])
        assert line.share == pytest.approx(part["share"], abs=0.1)
        lines.append(normal(name, part["share"], degrees=part["degrees_of_freedom"]))
    budget = Budget("nm", tuple(lines))
    assert round(budget.combined) == given["combined"]
    assert budget.combined == pytest.approx(31.67, abs=0.005)
    assert math.floor(10 * budget.effective_degrees_of_freedom) / 10 == given["effective"]
    assert budget.effective_degrees_of_freedom == pytest.approx(16.75, abs=0.005)
    assert round(budget.coverage_factor(0.95), 2) == given["k95"]
    assert round(budget.coverage_factor(0.99), 2) == given["k99"]
    # Printed from the rounded 32 nm: 2.92 x 32 = 93; unrounded it is 92.5.
    assert budget.expanded_for(0.99) == pytest.approx(given["U99"], abs=0.6)
    assert round(budget.coverage_factor(0.99) * given["combined"]) == given["U99"]


def impedance() -> tuple[dict[str, float], dict[str, Budget], dict[str, Contribution]]:
    """R, X and Z from the readings of H.2, each with its budget in the same three inputs."""
    given = EXAMPLES["impedance"]
    seen = {"V": given["V"], "I": [milli / 1e3 for milli in given["I_mA"]], "phi": given["phi"]}
    v, i, phi = (float(np.mean(readings)) for readings in seen.values())
    z = v / i
    result = {"R": z * math.cos(phi), "X": z * math.sin(phi), "Z": z}
    slope = {"R": -result["X"], "X": result["R"], "Z": 0.0}
    correlations = tuple(
        Correlation(one, other, float(np.corrcoef(seen[one], seen[other])[0, 1]))
        for one, other in combinations(seen, 2)
    )
    budgets = {}
    for name, value in result.items():
        sensitivities = {"V": value / v, "I": -value / i, "phi": slope[name]}
        lines = tuple(from_readings(key, seen[key], sensitivities[key]) for key in seen)
        budgets[name] = Budget("ohm", lines, correlations)
    return result, budgets, {line.name: line for line in budgets["R"].contributions}


def test_the_impedance_of_the_guide_has_its_printed_values_with_correlated_inputs() -> None:
    """JCGM 100 H.2, tables H.2 to H.4: every printed digit but one; u(X) is 0.2956 and printed as 0.295."""
    given = EXAMPLES["impedance"]
    result, budgets, inputs = impedance()
    for name in ("R", "X", "Z"):
        assert round(result[name], 3) == given["result"][name]
        assert budgets[name].combined == pytest.approx(given["u_result"][name], abs=6e-4)
        assert math.floor(1000 * budgets[name].combined) / 1000 == given["u_result"][name]
    for name, digits in (("V", 4), ("I", 7), ("phi", 5)):
        assert round(inputs[name].standard, digits) == given["u"][name]
        assert (inputs[name].kind, inputs[name].degrees_of_freedom) == (Kind.A, 4)
    for pair in budgets["R"].correlations:
        assert round(pair.coefficient, 2) == given["correlation"][f"{pair.first} {pair.second}"]
    for one, other in combinations("RXZ", 2):
        expected = given["correlation_result"][f"{one} {other}"]
        assert round(correlation(budgets[one], budgets[other]), 2) == pytest.approx(expected, abs=1e-9)


def test_working_out_each_set_of_readings_gives_the_printed_impedance_too() -> None:
    """JCGM 100 H.2.4, the second way; here u(X) rounds to the printed 0.295."""
    given = EXAMPLES["impedance"]
    z = np.array(given["V"]) / (np.array(given["I_mA"]) / 1e3)
    sets = {"R": z * np.cos(given["phi"]), "X": z * np.sin(given["phi"]), "Z": z}
    for name, values in sets.items():
        assert round(from_readings(name, list(values)).standard, 3) == given["u_result"][name]


def test_leaving_out_correlations_gives_what_the_guide_warns_of() -> None:
    _, budgets, _ = impedance()
    for name, expected in EXAMPLES["impedance"]["independent"].items():
        bare = Budget("ohm", budgets[name].contributions)
        assert bare.combined == pytest.approx(expected, abs=6e-5)
    with pytest.raises(ValueError, match="independent inputs only"):
        _ = budgets["R"].effective_degrees_of_freedom


def test_four_equal_inputs_add_as_the_supplement_prints() -> None:
    """JCGM 101 clause 9.2: 3.92 for four normals; for rectangular ones the budget is 1 % above the exact end."""
    budget = Budget("1", tuple(normal(name, 1.0) for name in "abcd"))
    assert round(budget.expanded_for(0.95), 2) == EXAMPLES["sum_of_four"]["normal_95"]
    half = math.sqrt(3)
    flat = Budget("1", tuple(Contribution(name, Kind.B, Distribution.RECTANGULAR, half) for name in "abcd"))
    assert flat.combined == pytest.approx(2.0)
    exact = EXAMPLES["sum_of_four"]["rectangular_95_exact"]
    assert 1.0 < flat.expanded_for(0.95) / exact < 1.011


@pytest.mark.parametrize("row", EXAMPLES["comparison_loss"])
def test_the_comparison_loss_has_the_interval_of_a_linear_budget(row: dict[str, float]) -> None:
    """JCGM 101 clause 9.4: a line through the square, which at x1 = 0 would say nothing."""
    x1 = row["x1"]
    half = Budget("1", (normal("x1", 0.005, 2 * x1), normal("x2", 0.005, 0.0))).expanded_for(0.95)
    assert [round(x1**2 - half, 6), round(x1**2 + half, 6)] == [
        pytest.approx(row["low"]), pytest.approx(row["high"]),
    ]  # fmt: skip


def test_the_step_attenuator_has_its_printed_budget() -> None:
    given = EXAMPLES["step_attenuator"]
    scatter = from_readings("readings", given["readings"])
    assert round(scatter.standard, 4) == given["u_readings"]
    lines = [scatter]
    for row in given["lines"]:
        shape = Distribution(row["distribution"])
        if "half_width" in row:
            line = Contribution(row["name"], Kind.B, shape, row["half_width"], degrees_of_freedom=50)
            assert round(line.standard, 4) == 0.0025
        else:
            line = Contribution(row["name"], Kind.B, shape, row["u"], divisor=1.0)
        lines.append(line)
    budget = Budget("dB", tuple(lines))
    assert round(budget.combined, 4) == given["combined"]
    assert math.floor(budget.effective_degrees_of_freedom) == pytest.approx(given["effective"], abs=1)
    assert round(budget.expanded(), 3) == given["U_k2"]


def test_the_equivalent_reflection_has_its_printed_real_and_imaginary_part() -> None:
    """NIST TN 1900 E15, eight inputs in magnitude and phase, linear in real and imaginary part."""
    given = EXAMPLES["equivalent_reflection"]
    s = {name: cmath.rect(given[name]["mag"], given[name]["arg"]) for name in ("S22", "S12", "S23", "S13")}
    drop = s["S12"] * s["S23"] / s["S13"]
    slope = {"S22": s["S22"], "S12": -drop, "S23": -drop, "S13": drop}
    parts: dict[str, list[Contribution]] = {"re": [], "im": []}
    for name, along in slope.items():
        moved = {"mag": along / given[name]["mag"], "arg": 1j * along}
        for what, change in moved.items():
            u = given[name][f"u_{what}"]
            parts["re"].append(normal(f"{name} {what}", u, change.real))
            parts["im"].append(normal(f"{name} {what}", u, change.imag))
    found = s["S22"] - drop
    re, im = (Budget("1", tuple(parts[part])) for part in ("re", "im"))
    result = given["result"]
    assert (round(found.real, 4), round(found.imag, 4)) == (result["re"], result["im"])
    assert (round(re.combined, 4), round(im.combined, 4)) == (result["u_re"], result["u_im"])
    # Printed from a simulation: its fourth digit is its own.
    assert correlation(re, im) == pytest.approx(result["correlation"], abs=0.005)


@pytest.mark.parametrize("row", MISMATCH)
def test_mismatch_is_that_of_the_published_table(row: dict[str, str]) -> None:
    source, load = ((vswr - 1) / (vswr + 1) for vswr in (float(row["vswr_source"]), float(row["vswr_load"])))
    low, high = vector_error_limits_db(source * load)
    assert high == pytest.approx(float(row["upper_db"]), abs=6e-7)
    assert low == pytest.approx(float(row["lower_db"]), abs=6e-7)
    line = vector_error("mismatch", source * load, "both stated")
    assert line.standard == pytest.approx(float(row["std_u_db_ushape"]), abs=6e-7)
    power = 100 * (10 ** (high / 10) - 1)
    assert power == pytest.approx(float(row["power_limit_pct"]), abs=6e-5)
    if row["pub_power_limit_pct"]:
        assert round(power, 2) == float(row["pub_power_limit_pct"])


@pytest.mark.parametrize("row", EXAMPLES["directivity"])
def test_directivity_moves_a_return_loss_as_told(row: dict[str, float]) -> None:
    low, high = vector_error_limits_db(10 ** ((row["return_loss"] - row["directivity"]) / 20))
    # A return loss reads high where the level is lowered.
    assert (round(-low, 4), round(-high, 4)) == (row["high"], row["low"])


def test_an_error_as_large_as_what_is_measured_has_no_lower_limit() -> None:
    assert vector_error_limits_db(1.0) == (-math.inf, pytest.approx(6.0206, abs=1e-4))
    with pytest.raises(ValueError, match="not negative"):
        vector_error_limits_db(-0.1)


def test_a_stated_expanded_uncertainty_is_divided_by_its_own_k() -> None:
    line = Contribution("certificate", Kind.B, Distribution.NORMAL, 0.05, divisor=2.0)
    assert Budget("dB", (line,)).combined == pytest.approx(0.025)
    assert Budget("dB", (line,)).expanded() == pytest.approx(0.05)
    assert Budget("dB", (line,)).coverage_factor(0.95) == pytest.approx(1.959964, abs=1e-6)


def bounded(name: str, distribution: Distribution, standard: float) -> Contribution:
    return Contribution(name, Kind.B, distribution, standard, divisor=1.0)


@pytest.mark.parametrize(
    ("distribution", "k"),
    [
        (Distribution.RECTANGULAR, 1.65),  # EA-4/02 supplement 1, S9.14: printed so
        (Distribution.ARCSINE, 1.41),  # the sine of 0.9545 of a quarter turn, times the root of 2
        (Distribution.TRIANGULAR, 1.93),  # the root of 6, times 1 less the root of 0.0455
        (Distribution.NORMAL, 2.0),
    ],
)
def test_one_contribution_alone_has_the_coverage_factor_of_its_distribution(
    distribution: Distribution, k: float
) -> None:
    assert coverage_factors(np.array([[0.3]]), [distribution]) == pytest.approx([k])


def test_vectors_whose_lengths_are_known_as_an_rms_need_more() -> None:
    """Half of them 1.18, half of them 0.77 as long: 0.0909 of the longer ones reach beyond."""
    budget = Budget("dB", (bounded("load", Distribution.ARCSINE, 0.3),))
    assert budget.k == pytest.approx(math.sqrt(2.8) * math.sin((1 - 0.091) * math.pi / 2), abs=0.01)


def test_a_multimeter_whose_resolution_leads_has_the_printed_u() -> None:
    """EA-4/02 supplement 1, S9, from memory: U is 0.05 V there, from 1.65 for the resolution alone."""
    lines = (
        bounded("resolution", Distribution.RECTANGULAR, 0.029),
        bounded("calibrator", Distribution.NORMAL, 0.001),
        bounded("its drift", Distribution.RECTANGULAR, 0.0064),
    )
    budget = Budget("V", lines)
    assert 1.65 < budget.k < 1.75
    assert round(budget.stated, 2) == 0.05


LEADING = [
    ("arcsine leads", {Distribution.ARCSINE: [1.0], Distribution.NORMAL: [0.5]}),
    ("rectangular leads", {Distribution.RECTANGULAR: [1.0], Distribution.NORMAL: [0.3]}),
    ("two alike", {Distribution.ARCSINE: [1.0, 1.0]}),
    (
        "of every kind",
        {Distribution.ARCSINE: [1.0, 0.6], Distribution.RECTANGULAR: [0.4], Distribution.NORMAL: [0.2]},
    ),
]


@pytest.mark.parametrize("shares", [shares for _, shares in LEADING], ids=[name for name, _ in LEADING])
def test_the_coverage_factor_is_that_of_drawn_values(shares: dict[Distribution, list[float]]) -> None:
    rng = np.random.default_rng(7)
    draw = {
        Distribution.NORMAL: lambda: rng.standard_normal(400_000),
        Distribution.RECTANGULAR: lambda: rng.uniform(-math.sqrt(3), math.sqrt(3), 400_000),
        Distribution.EITHER: lambda: rng.choice((-1.0, 1.0), 400_000),
        Distribution.ARCSINE: lambda: math.sqrt(2) * np.cos(rng.uniform(0, 2 * math.pi, 400_000)),
    }
    lines = [(kind, share) for kind, several in shares.items() for share in several]
    drawn = sum(share * draw[kind]() for kind, share in lines)
    (k,) = coverage_factors(np.array([[share] for _, share in lines]), [kind for kind, _ in lines])
    assert k * np.std(drawn) == pytest.approx(np.quantile(np.abs(drawn), math.erf(math.sqrt(2))), rel=0.006)


def test_where_no_bounded_contribution_leads_k_is_2() -> None:
    lines = (*(bounded(f"v{n}", Distribution.ARCSINE, 1.0) for n in range(4)), normal("n", 1.5))
    assert Budget("dB", lines).k == 2.0
    assert Budget("dB", (normal("n", 0.0),)).k == 2.0
    assert Budget("dB", ()).k == 2.0


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda: normal("a", -1.0), "is no uncertainty"),
        (lambda: normal("a", math.nan), "is no uncertainty"),
        (lambda: normal("a", 1.0, degrees=0.0), "above zero"),
        (lambda: Contribution("a", Kind.B, Distribution.NORMAL, 1.0, divisor=0.0), "above zero"),
        (lambda: Budget("dB", (normal("a", 1.0), normal("a", 1.0))), "bear one name"),
        (lambda: Budget("dB", (normal("a", 1.0),), (Correlation("a", "b", 0.1),)), "not two inputs"),
        (
            lambda: Budget("dB", (normal("a", 1.0), normal("b", 1.0)), (Correlation("a", "b", 1.1),)),
            "between -1 and 1",
        ),
        (lambda: from_readings("a", [1.0]), "two readings or more"),
    ],
)
def test_what_makes_no_budget_is_refused(make: Any, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        make()
