"""Readings near the noise floor: as they are, corrected, or bounds; against noise drawn at random."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import yaml

from limits.decide import decide
from limits.kinds.at_least import AtLeast
from limits.kinds.at_most import AtMost
from limits.kinds.bound import Amount
from limits.kinds.mask import Mask
from limits.quantity import Channels
from limits.reading import Claim, Curve, Reading
from limits.rules import rule_named
from limits.verdict import Level, Outcome
from limits.yamlfile import parse
from station.measurements.budget import budget_of, with_uncertainty
from station.measurements.catalog import MEASURES
from station.measurements.characteristic import Characteristic
from station.measurements.figures import Figures
from station.measurements.floor import Floor, above_floor
from station.measurements.measure import Place
from station.measurements.sweep import HOOKUPS, Hookup, Stretch, Sweep, SweepSettings
from station.measurements.view import View, decibels_down, look

SweepOf = Callable[[Hookup, np.ndarray, np.ndarray], Sweep]
NOISE = 10 ** (-115 / 20)
FREQ_HZ = np.arange(157.0e6, 157.2e6, 5e3)
STATED = """\
noise_floor: -115 dBm at 1 kHz
trace_noise: 0.002 dB
connector_repeatability: 0.02 dB
drift: 0.02 dB
directivity: 44 dB
port_match: 40 dB
load_match: 44 dB
leakage: 140 dB
"""


@pytest.fixture
def figures() -> Figures:
    return parse(STATED, Figures, "bench.yaml").value


def noise(rng: np.random.Generator, *shape: int) -> np.ndarray:
    return NOISE * math.sqrt(0.5) * (rng.standard_normal(shape) + 1j * rng.standard_normal(shape))


def view_of(wave: np.ndarray) -> View:
    return View("TX-RX", "TX to RX", 1e6 + np.arange(len(wave), dtype=float), decibels_down(wave))


def told(wave: np.ndarray, sweep_of: SweepOf, floor: Floor) -> View:
    """Each point by itself: a place where only one point is near the floor has the whole risk for it."""
    sweep = sweep_of(HOOKUPS[2], FREQ_HZ, np.zeros((len(FREQ_HZ), 2, 2), dtype=complex))
    parts = [above_floor(view_of(each[None]), sweep, lambda settings: floor) for each in wave]
    bound = [False if part.bound is None else bool(part.bound[0]) for part in parts]
    return View(
        "", "", np.arange(len(wave), dtype=float), np.array([p.db[0] for p in parts]), np.array(bound)
    )


def test_20_db_above_the_floor_a_reading_stays_as_it_is(sweep_of: SweepOf) -> None:
    wave = NOISE * 10 ** (np.array([20.001, 30.0, 80.0]) / 20)
    assert told(wave + 0j, sweep_of, Floor(NOISE)).db == pytest.approx(decibels_down(wave), abs=1e-12)


@pytest.mark.parametrize("above_db", [12.0, 15.0, 18.0])
def test_between_10_and_20_db_the_power_of_the_noise_is_taken_out(above_db: float, sweep_of: SweepOf) -> None:
    """As read the mean power is 10 log10(1 + 10^(-X/10)) dB too strong; corrected it is the wave's own."""
    rng = np.random.default_rng(3)
    wave = NOISE * 10 ** (above_db / 20)
    read = wave + noise(rng, 4000)
    inside = (np.abs(read) > NOISE * 10**0.5) & (np.abs(read) < NOISE * 10)
    mean_power = np.mean(10 ** (-told(read[inside], sweep_of, Floor(NOISE)).db / 10))
    assert mean_power == pytest.approx(np.mean(np.abs(read[inside]) ** 2) - NOISE**2, rel=1e-9)
    if inside.all():
        assert mean_power == pytest.approx(wave**2, rel=4 * math.sqrt(2 * 10 ** (-above_db / 10) / 4000))


@pytest.mark.parametrize("above_db", [-20.0, -3.0, 0.0, 3.0, 6.0, 9.0])
@pytest.mark.parametrize("leak_db", [-60.0, 0.0])
def test_a_bound_is_true_with_the_confidence_it_states(
    above_db: float, leak_db: float, sweep_of: SweepOf
) -> None:
    """Of 2,000 readings at least 95 % less three standard deviations of the count."""
    rng = np.random.default_rng(5)
    wave = NOISE * 10 ** (above_db / 20)
    leak = NOISE * 10 ** (leak_db / 20)
    phase = np.exp(2j * np.pi * rng.random(2000))
    view = told(wave + leak * phase + noise(rng, 2000), sweep_of, Floor(NOISE, leak))
    assert view.bound is not None
    true_db = float(decibels_down(np.array([wave]))[0])
    assert np.mean(view.db[view.bound] <= true_db) >= 0.95 - 3 * math.sqrt(0.05 * 0.95 / view.bound.sum())


def test_averages_of_power_make_bounds_deeper_but_never_hide_the_noise(sweep_of: SweepOf) -> None:
    rng = np.random.default_rng(6)
    wave = NOISE
    read = np.sqrt(np.mean(np.abs(wave + noise(rng, 1000, 16)) ** 2, axis=1))
    view = told(read + 0j, sweep_of, Floor(NOISE, averaged=16))
    assert view.bound is not None and view.bound.all()
    assert np.mean(view.db <= -20 * math.log10(wave)) >= 0.95
    once = told(read + 0j, sweep_of, Floor(NOISE))
    assert (view.db > once.db).all()


def test_the_deepest_of_many_points_near_the_floor_is_told_with_the_confidence_of_all(
    sweep_of: SweepOf, figures: Figures
) -> None:
    """A notch of which 40 points are equally deep, 3 dB above the floor: the luckiest of them bounds it rightly."""
    depth = item("notch depth")
    rng, wave, right = np.random.default_rng(8), NOISE * 10 ** (3 / 20), 0
    for _ in range(400):
        reading = depth.read(swept(wave + noise(rng, len(FREQ_HZ)), sweep_of), figures)
        assert isinstance(reading, Reading) and reading.claim is Claim.AT_LEAST and reading.value is not None
        right += reading.value <= -20 * math.log10(wave)
    assert right / 400 >= 0.95 - 3 * math.sqrt(0.05 * 0.95 / 400)


def item(measure: str, at_hz: float | None = None) -> Characteristic:
    found = next(row for row in MEASURES if row.name == measure)
    span = None if at_hz else (float(FREQ_HZ[0]), float(FREQ_HZ[-1]))
    return Characteristic("x", "X", found, HOOKUPS[2], "RX", "TX", Place(at_hz, span), 5e3)


def swept(wave: np.ndarray, sweep_of: SweepOf) -> dict[Hookup, Sweep]:
    s = np.zeros((len(FREQ_HZ), 2, 2), dtype=complex)
    s[:, 1, 0] = s[:, 0, 1] = wave
    others = np.full_like(s, 1e-4)
    return {hookup: sweep_of(hookup, FREQ_HZ, s if hookup == HOOKUPS[2] else others) for hookup in HOOKUPS}


AT_HZ = float(FREQ_HZ[7])


@pytest.mark.parametrize("measure", ["isolation", "worst isolation", "notch depth"])
def test_a_reading_near_the_floor_says_at_least(measure: str, sweep_of: SweepOf, figures: Figures) -> None:
    what = item(measure, AT_HZ if measure == "isolation" else None)
    sweeps = swept(np.full(len(FREQ_HZ), 1.5 * NOISE), sweep_of)
    reading = with_uncertainty(what, what.read(sweeps, figures), sweeps, figures)
    assert isinstance(reading, Reading) and reading.value is not None
    assert (reading.claim, reading.note) == (
        Claim.AT_LEAST, "at least so much, with 95% confidence: too near the noise floor to tell more",
    )  # fmt: skip
    assert reading.value < -20 * math.log10(1.5 * NOISE)
    budget = budget_of(what, reading, sweeps, figures)
    assert budget is not None
    names = {line.name for line in budget.contributions}
    assert not {"noise floor", "leakage"} & names, "they are in the bound"
    assert {"drift", "source match"} <= names
    assert reading.u is not None and 0 < reading.u < 2


def test_without_figures_nothing_is_known_of_a_floor(sweep_of: SweepOf) -> None:
    reading = item("isolation", AT_HZ).read(swept(np.full(len(FREQ_HZ), NOISE), sweep_of))
    assert isinstance(reading, Reading) and reading.claim is Claim.VALUE


def test_points_swept_again_with_care_have_the_floor_of_that_sweep(
    sweep_of: SweepOf, figures: Figures
) -> None:
    sweep = swept(np.full(len(FREQ_HZ), 1.5 * NOISE), sweep_of)[HOOKUPS[2]]
    careful = Stretch(AT_HZ, AT_HZ, SweepSettings(bandwidth_hz=1.0, averages=1, power_dbm=0.0))
    view = above_floor(look(sweep, "RX", "TX"), replace(sweep, again=(careful,)), figures.floor)
    assert view.bound is not None
    assert np.flatnonzero(~view.bound).tolist() == [7]


@pytest.mark.parametrize(
    ("limit", "rule", "outcome"),
    [
        (AtLeast(Amount.parse("75 dB")), "simple acceptance", Outcome.PASS),
        (AtLeast(Amount.parse("75 dB")), "guarded acceptance with w = U", Outcome.PASS),
        (AtLeast(Amount.parse("109.5 dB")), "simple acceptance", Outcome.PASS),
        (AtLeast(Amount.parse("109.5 dB")), "guarded acceptance with w = U", Outcome.UNDECIDED),
        (AtLeast(Amount.parse("120 dB")), "simple acceptance", Outcome.UNDECIDED),
        (AtLeast(Amount.parse("120 dB")), "guarded rejection with w = U", Outcome.UNDECIDED),
        (AtMost(Amount.parse("120 dB")), "simple acceptance", Outcome.UNDECIDED),
    ],
)
def test_a_bound_may_pass_a_limit_but_never_fails_one_that_it_leaves_open(
    limit: AtLeast | AtMost, rule: str, outcome: Outcome
) -> None:
    reading = Reading("x", "X", "dB", 110.0, u=0.8, at_hz=AT_HZ, claim=Claim.AT_LEAST)
    made = decide(reading, Level.WORKS, limit, rule_named(rule), Channels(157e6, 158e6))
    assert made.outcome is outcome


MASK = "- {over: 157.0 MHz to 157.19 MHz, at_least: 100 dB}"


def mask_of(text: str) -> Mask:
    return Mask.model_validate(tuple(yaml.safe_load(text)))


def judged(curve: Curve, rule: str) -> tuple[Outcome, str]:
    made = decide(curve, Level.WORKS, mask_of(MASK), rule_named(rule), Channels(157e6, 158e6))
    return made.outcome, made.reading.note


def test_a_curve_has_its_u_at_every_point_and_says_which_points_are_bounds(
    sweep_of: SweepOf, figures: Figures
) -> None:
    wave = np.full(len(FREQ_HZ), 1e-4)
    wave[7] = 1.5 * NOISE
    what, sweeps = item("isolation curve"), swept(wave, sweep_of)
    curve = with_uncertainty(what, what.read(sweeps, figures), sweeps, figures)
    assert isinstance(curve, Curve) and curve.u is not None and curve.at_least is not None
    assert np.flatnonzero(curve.at_least).tolist() == [7]
    level = with_uncertainty(item("isolation", float(FREQ_HZ[3])), curve.at(3), sweeps, figures)
    assert isinstance(level, Reading) and level.u is not None
    assert curve.u[3] == pytest.approx(level.u, rel=1e-9)
    assert curve.at(7).claim is Claim.AT_LEAST


def curve_of(value: np.ndarray, u: np.ndarray | None, at_least: np.ndarray | None = None) -> Curve:
    return Curve("x", "X", "dB", FREQ_HZ[:39], value, 5e3, u=u, at_least=at_least)


def test_a_mask_is_judged_under_guarded_rules_by_the_u_of_each_point() -> None:
    """The point nearest to its limit is not the worst one where its U is small."""
    value, u = np.full(39, 110.0), np.full(39, 0.5)
    value[4], u[4] = 101.0, 0.4
    value[9], u[9] = 103.0, 4.0
    assert judged(curve_of(value, u), "simple acceptance")[0] is Outcome.PASS
    outcome, note = judged(curve_of(value, u), "guarded acceptance with w = U")
    assert (outcome, note) == (Outcome.UNDECIDED, "nearer to its limit than the guard band w = U")
    assert judged(curve_of(value, u), "guarded acceptance with w = 0.5 U")[0] is Outcome.PASS
    assert judged(curve_of(value, None), "guarded acceptance with w = U")[0] is Outcome.UNDECIDED
    value[20] = 99.9
    assert judged(curve_of(value, u), "guarded acceptance with w = U")[0] is Outcome.FAIL
    assert judged(curve_of(value, u), "guarded rejection with w = U")[0] is Outcome.UNDECIDED


def test_a_point_that_is_only_a_bound_leaves_a_mask_open_where_it_settles_nothing() -> None:
    value, bounds = np.full(39, 110.0), np.zeros(39, dtype=bool)
    bounds[5] = True
    assert judged(curve_of(value, None, bounds), "simple acceptance")[0] is Outcome.PASS
    value[5] = 98.0
    outcome, note = judged(curve_of(value, None, bounds), "simple acceptance")
    assert outcome is Outcome.UNDECIDED
    assert note == "only a bound at 157.025 MHz, so its limit cannot be judged"
