"""The budget of a reading: its lines against closed forms, and its U against errors drawn at random."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from fixtures_sim.units import build_unit
from limits.errors import BadInput
from limits.reading import Reading
from limits.yamlfile import parse
from station.measurements.budget import budget_of, with_uncertainty
from station.measurements.calibration import Standards, correct_s, error_terms
from station.measurements.catalog import MEASURES
from station.measurements.characteristic import Characteristic
from station.measurements.error_source import ErrorSource, Excerpt, vector
from station.measurements.figures import Figures
from station.measurements.floor import Floor
from station.measurements.kit import KitForm, Reflect, make_kit
from station.measurements.measure import Place
from station.measurements.noise import MeasuredNoise
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Port, Sweep, SweepSettings
from station.measurements.uncertainty import DB_PER_NEPER, Distribution

SweepOf = Callable[[Hookup, np.ndarray, np.ndarray], Sweep]
STATED = """\
noise_floor: -115 dBm at 1 kHz
trace_noise: 0.002 dB
connector_repeatability: 0.02 dB
drift: 0.02 dB
directivity: 44 dB
port_match: 40 dB
load_match: 44 dB
"""
KIT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps}
"""
TX_HZ, RX_HZ = 156.6e6, 157.4e6
FREQ_HZ = np.array([TX_HZ - 100.0, TX_HZ, TX_HZ + 100.0, RX_HZ - 100.0, RX_HZ, RX_HZ + 100.0])


@pytest.fixture
def figures() -> Figures:
    return parse(STATED, Figures, "bench.yaml").value


@pytest.fixture(scope="module")
def true_s() -> np.ndarray:
    """S of a simulated VHF unit, shape (n, 3, 3)."""
    return build_unit("SK-V4", "SKV-0001", TX_HZ, RX_HZ, 1).s(FREQ_HZ, 23.0)


def item(measure: str, hookup: Hookup, to: Port, source: Port, at_hz: float) -> Characteristic:
    found = next(row for row in MEASURES if row.name == measure)
    return Characteristic("x", "X", found, hookup, to, source, Place(at_hz=at_hz), 1e3)


ITEMS = {
    "TX loss": item("loss", HOOKUPS[0], "ANT", "TX", TX_HZ),
    "RX loss": item("loss", HOOKUPS[1], "RX", "ANT", RX_HZ),
    "isolation at TX": item("isolation", HOOKUPS[2], "RX", "TX", TX_HZ),
    "isolation at RX": item("isolation", HOOKUPS[2], "RX", "TX", RX_HZ),
    "TX return loss": item("return loss", HOOKUPS[0], "TX", "TX", TX_HZ),
    "ANT return loss at TX": item("return loss", HOOKUPS[0], "ANT", "ANT", TX_HZ),
    "ANT return loss at RX, other hook-up": item("return loss", HOOKUPS[0], "ANT", "ANT", RX_HZ),
}


def reduced(s: np.ndarray, hookup: Hookup, load: complex) -> np.ndarray:
    """A three-port with a load on its idle port, exactly."""
    used, idle = [PORTS.index(hookup.first), PORTS.index(hookup.second)], PORTS.index(hookup.idle)
    through = load / (1 - load * s[:, idle, idle])
    return (
        s[:, used][:, :, used]
        + through[:, None, None] * s[:, used, idle][:, :, None] * s[:, idle, used][:, None, :]
    )


def sweeps_of(s: np.ndarray, sweep_of: SweepOf) -> dict[Hookup, Sweep]:
    return {hookup: sweep_of(hookup, FREQ_HZ, reduced(s, hookup, 0j)) for hookup in HOOKUPS}


class Errors:
    """One draw of everything the figures state, put on a reading by formulas of its own."""

    def __init__(self, rng: np.random.Generator, trials: int) -> None:
        self._rng, self._n = rng, trials

    def vector(self, down_db: float) -> np.ndarray:
        return 10 ** (-down_db / 20) * np.exp(2j * np.pi * self._rng.random(self._n))

    def normal(self, sd: float, points: int = 1) -> np.ndarray:
        return sd * self._rng.standard_normal(self._n * points)

    def seen(self, s: np.ndarray, what: Characteristic) -> np.ndarray:
        """The measured S of one characteristic, shape (trials,), from S of shape (3, 3).

        Or with one trial, shape (points,) from S of shape (points, 3, 3): noise alone is new at each point.
        """
        i, j, k = (PORTS.index(port) for port in (what.to, what.source, what.hookup.idle))
        each = 0.02 / math.sqrt(2) * math.log(10) / 20
        load = self.vector(44.0) + (self.normal(each) + 1j * self.normal(each)) / math.sqrt(2)

        def m(to: int, source: int) -> np.ndarray:
            return s[..., to, source] + load / (1 - load * s[..., k, k]) * s[..., to, k] * s[..., k, source]

        points = s.size // 9
        here, there = self.vector(40.0), self.vector(40.0)
        gain = 10 ** ((self._rng.uniform(-0.02, 0.02, self._n)) / 20)
        lost = self.normal(each) + self.normal(each)
        near, far = (self.normal(each) + 1j * self.normal(each) for _ in range(2))
        half = math.sqrt(0.5)
        noise = 10 ** (-115 / 20) * (self.normal(half, points) + 1j * self.normal(half, points))
        scatter = 1 + self.normal(0.002 * math.log(10) / 20, points)
        if i == j:
            o = next(p for p in range(3) if p not in (i, k))
            bent = m(i, i) + there * m(o, i) * m(i, o) / (1 - there * m(o, o))
            mated = (near + far * m(o, i) * m(i, o)) / math.sqrt(2)
            return (self.vector(44.0) + gain * bent / (1 - here * bent) + mated) * scatter + noise
        loops = (1 - here * m(j, j)) * (1 - there * m(i, i))
        mated = 1 + lost + near * m(j, j) + far * m(i, i)
        return gain * m(i, j) / loops * mated * scatter + noise


@pytest.mark.parametrize("name", ITEMS)
def test_errors_drawn_from_the_stated_figures_stay_within_u_as_often_as_it_says(
    name: str, figures: Figures, true_s: np.ndarray, sweep_of: SweepOf
) -> None:
    """20,000 draws: their rms is u within 5 %, and 93 to 99 % lie within U."""
    what = ITEMS[name]
    sweeps = sweeps_of(true_s, sweep_of)
    reading = what.read(sweeps)
    assert isinstance(reading, Reading) and reading.value is not None
    budget = budget_of(what, reading, sweeps, figures)
    assert budget is not None
    place = int(np.argmin(abs(FREQ_HZ - what.place.freq_hz)))
    seen = Errors(np.random.default_rng(100), 20_000).seen(true_s[place], what)
    error_db = -20 * np.log10(np.abs(seen)) - reading.value
    assert float(np.sqrt(np.mean(error_db**2))) == pytest.approx(budget.combined, rel=0.05)
    assert 0.93 <= np.mean(np.abs(error_db) <= budget.stated) <= 0.99


@pytest.mark.parametrize(
    ("bandwidth_hz", "averages", "power_dbm", "above_db"),
    [(1e3, 1, 0.0, 35.0), (100.0, 1, 0.0, 45.0), (100.0, 10, 0.0, 55.0), (1e3, 1, -10.0, 25.0)],
)
def test_noise_follows_bandwidth_averages_and_power(
    figures: Figures, sweep_of: SweepOf, bandwidth_hz: float, averages: int, power_dbm: float, above_db: float
) -> None:
    """8.686 / sqrt(2 * 10^(X/10)) dB, X dB above the floor; -115 dBm at 1 kHz, a path of 80 dB."""
    s = np.full((6, 3, 3), 1e-4, dtype=complex)
    what = ITEMS["isolation at TX"]
    settings = SweepSettings(bandwidth_hz, averages, power_dbm)
    sweeps = {key: replace(sweep, settings=settings) for key, sweep in sweeps_of(s, sweep_of).items()}
    reading = what.read(sweeps)
    assert isinstance(reading, Reading)
    budget = budget_of(what, reading, sweeps, figures)
    assert budget is not None
    lines = {line.name: line for line in budget.contributions}
    assert lines["noise floor"].standard == pytest.approx(8.685889638 / math.sqrt(2 * 10 ** (above_db / 10)))
    assert f"{above_db:.1f} dB above it" in lines["noise floor"].source
    assert lines["trace noise"].standard == pytest.approx(0.002 * math.sqrt(bandwidth_hz / 1e3 / averages))


def test_the_connector_on_the_third_port_counts_by_what_the_unit_passes_that_way(
    figures: Figures, sweep_of: SweepOf
) -> None:
    """0.02 dB of two connectors; 0.3 times 0.4 pass by the third port beside 0.02, half of their power along it."""
    s = np.zeros((6, 3, 3), dtype=complex)
    s[:, 2, 0] = s[:, 0, 2] = 0.02
    s[:, 1, 0] = s[:, 0, 1] = 0.3j
    s[:, 2, 1] = s[:, 1, 2] = 0.4
    what, sweeps = ITEMS["isolation at TX"], sweeps_of(s, sweep_of)
    reading = what.read(sweeps)
    assert isinstance(reading, Reading)
    budget = budget_of(what, reading, sweeps, figures)
    assert budget is not None
    line = next(line for line in budget.contributions if line.name == "connectors")
    assert line.share == pytest.approx(0.02 / math.sqrt(2) * math.sqrt(2 + (0.12 / 0.02) ** 2 / 2))


def test_a_load_of_30_db_moves_isolation_by_the_known_amount(
    figures: Figures, true_s: np.ndarray, sweep_of: SweepOf
) -> None:
    """At the channels the antenna port is matched and passes all: the load's whole reflection, 0.28 dB at most."""
    what = ITEMS["isolation at TX"]
    sweeps = sweeps_of(true_s, sweep_of)
    poor = figures.model_copy(update={"load_match": 30.0})
    reading = what.read(sweeps)
    assert isinstance(reading, Reading)
    budget = budget_of(what, reading, sweeps, poor)
    assert budget is not None
    line = next(line for line in budget.contributions if line.name == "load on the idle port")
    assert line.value == pytest.approx(8.686 * 10 ** (-30 / 20), rel=0.1)


def test_a_hook_up_that_was_not_swept_counts_with_the_most_a_unit_can_pass(
    figures: Figures, true_s: np.ndarray, sweep_of: SweepOf
) -> None:
    what = ITEMS["TX loss"]
    every = sweeps_of(true_s, sweep_of)
    alone = {what.hookup: every[what.hookup]}
    reading = what.read(alone)
    shares = []
    for sweeps in (every, alone):
        found = with_uncertainty(what, reading, sweeps, figures)
        assert isinstance(found, Reading) and found.u is not None
        shares.append(found.u)
    assert shares[1] > shares[0]


def test_the_error_of_one_load_standard_counts_once_with_its_sign(
    figures: Figures, sweep_of: SweepOf
) -> None:
    """Calibrated by a load of 46 dB, an analyzer tells (S - G)(1 - G S)^-1 of two ports; G is real."""
    m = np.array([[-0.9 + 0.1j, 0.01], [0.01, -0.8 - 0.2j]])
    gamma = 10 ** (-46 / 20)
    told = (m - gamma * np.eye(2)) @ np.linalg.inv(np.eye(2) - gamma * m)
    sweeps = {HOOKUPS[0]: sweep_of(HOOKUPS[0], FREQ_HZ, np.tile(m, (len(FREQ_HZ), 1, 1)))}
    stated = figures.model_copy(update={"load_standard": 46.0})
    for what, seen in ((ITEMS["TX loss"], (1, 0)), (ITEMS["TX return loss"], (0, 0))):
        reading = what.read(sweeps)
        assert isinstance(reading, Reading)
        budget = budget_of(what, reading, sweeps, stated)
        assert budget is not None
        line = next(line for line in budget.contributions if line.name == "load standard")
        moved_db = abs(20 * math.log10(abs(told[seen]) / abs(m[seen])))
        assert line.share == pytest.approx(moved_db, rel=0.05)


@pytest.mark.parametrize("freq_hz", [156e6, 455e6, 1.2e9])
def test_the_error_of_a_load_standard_is_turned_by_the_other_standards(
    freq_hz: float, figures: Figures, sweep_of: SweepOf
) -> None:
    """A perfect analyzer, calibrated with a load of 46 dB that the kit says is none: its lines within 5 % of it."""
    kit = make_kit(parse(KIT, KitForm, "kit.yaml"), lambda name: ("", name))
    gamma, at_hz = 10 ** (-46 / 20), freq_hz + np.array([-1e5, 0.0, 1e5])
    read: dict[tuple[Reflect, int], np.ndarray] = {}
    for port in (1, 2):
        read["load", port] = np.full(3, gamma + 0j)
        read["open", port], read["short", port] = (
            kit.reflection("open", at_hz),
            kit.reflection("short", at_hz),
        )
    terms = error_terms(Standards(at_hz, read, {(1, 2): kit.through(at_hz)}), kit, 2e5)
    m = np.tile(np.array([[-0.3 + 0.8j, 0.01], [0.01, 0.1 - 0.7j]]), (3, 1, 1))
    told = correct_s(m, terms)[1]
    stated = figures.model_copy(update={"load_standard": 46.0}).calibrated_by(kit)
    for what, seen in (
        (item("loss", HOOKUPS[0], "ANT", "TX", freq_hz), (1, 0)),
        (item("return loss", HOOKUPS[0], "TX", "TX", freq_hz), (0, 0)),
    ):
        sweeps = {HOOKUPS[0]: sweep_of(HOOKUPS[0], at_hz, m)}
        reading = what.read(sweeps)
        assert isinstance(reading, Reading)
        budget = budget_of(what, reading, sweeps, stated)
        assert budget is not None
        line = next(line for line in budget.contributions if line.name == "load standard")
        moved_db = abs(20 * math.log10(abs(told[seen]) / abs(m[1][seen])))
        assert line.share == pytest.approx(moved_db, rel=0.05)


def test_what_is_left_of_a_load_that_was_taken_out_is_normal(
    figures: Figures, true_s: np.ndarray, sweep_of: SweepOf
) -> None:
    """Both parts of a measured reflection are off by themselves; the share is that of a wave of unknown phase."""
    what = ITEMS["isolation at TX"]
    lines = []
    for loads_out in (False, True):
        sweeps = {
            key: replace(each, loads_out=loads_out) for key, each in sweeps_of(true_s, sweep_of).items()
        }
        reading = what.read(sweeps)
        assert isinstance(reading, Reading)
        budget = budget_of(what, reading, sweeps, figures)
        assert budget is not None
        lines.append(next(line for line in budget.contributions if line.name == "load on the idle port"))
    unknown, known = lines
    assert (unknown.distribution, known.distribution) == (Distribution.ARCSINE, Distribution.NORMAL)
    assert known.share == pytest.approx(unknown.share)


def test_a_stretch_that_a_dip_nearly_parts_has_a_u_that_says_so(figures: Figures, sweep_of: SweepOf) -> None:
    freq_hz = TX_HZ + np.arange(-400e3, 400.1e3, 5e3)
    what = NO_LEVELS["TX match bandwidth"]
    found = []
    for dip_db in (0.05, 6.0):
        return_loss_db = 30.0 - 15.0 * (np.abs(freq_hz - TX_HZ) / 200e3) ** 4
        return_loss_db[np.abs(freq_hz - TX_HZ - 60e3) < 1e3] = 20.0 + dip_db
        s = np.zeros((len(freq_hz), 2, 2), dtype=complex)
        s[:, 0, 0] = 10 ** (-return_loss_db / 20)
        sweeps = {HOOKUPS[0]: sweep_of(HOOKUPS[0], freq_hz, s)}
        reading = with_uncertainty(what, what.read(sweeps), sweeps, figures)
        assert isinstance(reading, Reading) and reading.u is not None
        found.append(reading.u)
    assert found[0] > 100e3 > 20e3 > found[1], "the dip stands 120 kHz before the far edge"


def test_without_a_value_or_without_figures_there_is_no_u(
    figures: Figures, true_s: np.ndarray, sweep_of: SweepOf
) -> None:
    sweeps: Mapping[Hookup, Sweep] = sweeps_of(true_s, sweep_of)
    what = ITEMS["TX loss"]
    level = what.read(sweeps)
    assert isinstance(level, Reading)
    nothing = replace(level, value=None, note="none")
    assert with_uncertainty(what, nothing, sweeps, figures) is nothing
    assert with_uncertainty(what, level, sweeps, None) is level


WIDE_HZ = np.unique(
    np.concatenate(
        [
            np.arange(-2.5e6, 3.3e6, 25e3),
            np.arange(-200e3, 200.1e3, 5e3),
            np.arange(-12.5e3, 12.6e3, 2.5e3),
            0.8e6 + np.arange(-200e3, 200.1e3, 5e3),
        ]
    ).round()
)
"""The points a recipe sweeps a VHF unit at, from the TX channel."""


def spanning(measure: str, hookup: Hookup, to: Port, source: Port, *where: float | None) -> Characteristic:
    """With a frequency, half the width of its span and a level."""
    at_hz, half_hz, level_db = where
    found = next(row for row in MEASURES if row.name == measure)
    assert at_hz is not None and half_hz is not None
    place = Place(at_hz, (at_hz - half_hz, at_hz + half_hz), level_db)
    return Characteristic("x", "X", found, hookup, to, source, place, 1e3)


class OneWave:
    """A bench with a single error: a wave of 1 % of the one that is measured, of this phase beside it."""

    def __init__(self, phase: float) -> None:
        self._effect = 0.01 * np.exp(1j * phase)

    def sources(self, excerpt: Excerpt) -> tuple[ErrorSource, ...]:
        return (vector("wave", np.full(len(excerpt.freq_hz), self._effect), "1 %"),)

    def floor(self, settings: SweepSettings) -> Floor:
        return Floor(1e-9)


@pytest.mark.parametrize("half_hz", [1e6, 6.25e6, 12.5e6, 25e6])
@pytest.mark.parametrize("phase", [0.0, math.pi / 4, math.pi / 2, 3 * math.pi / 4])
def test_an_error_of_unknown_phase_counts_alike_at_the_edge_of_a_span(
    phase: float, half_hz: float, sweep_of: SweepOf
) -> None:
    """Half of its power lies along the wave, however wide the span and wherever in it the worst is found."""
    freq_hz = TX_HZ + np.linspace(-half_hz, half_hz, 101)
    s = np.zeros((101, 2, 2), dtype=complex)
    s[:, 1, 0] = np.geomspace(0.001, 0.1, 101)
    what = spanning("worst isolation", HOOKUPS[2], "RX", "TX", TX_HZ, half_hz, None)
    sweeps = {HOOKUPS[2]: sweep_of(HOOKUPS[2], freq_hz, s)}
    reading = what.read(sweeps)
    assert isinstance(reading, Reading) and reading.at_hz == pytest.approx(freq_hz[-1])
    budget = budget_of(what, reading, sweeps, OneWave(phase))
    assert budget is not None
    assert budget.combined == pytest.approx(DB_PER_NEPER * 0.01 / math.sqrt(2), rel=0.01)


NO_LEVELS = {
    "TX ripple": spanning("ripple", HOOKUPS[0], "ANT", "TX", TX_HZ, 12.5e3, None),
    "TX match bandwidth": spanning("match bandwidth", HOOKUPS[0], "TX", "TX", TX_HZ, 400e3, 20.0),
    "TX notch frequency": spanning("notch frequency", HOOKUPS[0], "ANT", "TX", RX_HZ, 200e3, None),
}


@pytest.mark.parametrize("name", NO_LEVELS)
def test_a_ripple_a_width_and_a_frequency_stay_within_their_u_too(
    name: str, figures: Figures, sweep_of: SweepOf
) -> None:
    """2,000 draws of the same errors over the points of a recipe: their rms is u within 15 %, as noise is drawn."""
    freq_hz = TX_HZ + WIDE_HZ
    s = build_unit("SK-V4", "SKV-0001", TX_HZ, RX_HZ, 1).s(freq_hz, 23.0)
    what = NO_LEVELS[name]
    sweeps = {hookup: sweep_of(hookup, freq_hz, reduced(s, hookup, 0j)) for hookup in HOOKUPS}
    reading = what.read(sweeps)
    assert isinstance(reading, Reading) and reading.value is not None
    budget = budget_of(what, reading, sweeps, figures)
    assert budget is not None
    low_hz, high_hz = what.span_hz
    part = (freq_hz >= low_hz) & (freq_hz <= high_hz)
    rng, errors = np.random.default_rng(7), []
    for _ in range(2000):
        seen = Errors(rng, 1).seen(s[part], what)
        m = np.zeros((int(part.sum()), 2, 2), dtype=complex)
        m[:] = seen[:, None, None]
        again = what.read({what.hookup: sweep_of(what.hookup, freq_hz[part], m)})
        assert isinstance(again, Reading) and again.value is not None
        errors.append(again.value - reading.value)
    assert float(np.sqrt(np.mean(np.square(errors)))) == pytest.approx(budget.combined, rel=0.15)
    assert np.mean(np.abs(errors) <= budget.stated) >= 0.93


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("-115 dBm at 1 kHz", "-115 dB at 1 kHz", "dB"),
        ("-115 dBm at 1 kHz", "-115 dBm", "expected a noise floor like '-115 dBm at 1 kHz'"),
        ("0.002 dB", "0", "no unit"),
        ("44 dB", "-44 dB", "expected more than 0"),
        ("drift: 0.02 dB\n", "", "'drift' is missing here"),
        ("drift:", "drfit:", "did you mean 'drift'"),
    ],
)
def test_figures_are_given_all_and_with_their_units(old: str, new: str, said: str) -> None:
    with pytest.raises(BadInput, match=said):
        parse(STATED.replace(old, new), Figures, str(Path("bench.yaml")))


def test_what_a_calibration_measured_takes_the_place_of_what_is_stated(figures: Figures) -> None:
    stated = figures.model_copy(update={"leakage": 132.0, "drift_per_day": 0.01})
    quiet = MeasuredNoise(1e3, -113.0, 0.003)
    wide = MeasuredNoise(1e4, -101.0, 0.006)
    found = stated.as_measured((quiet, wide)).aged(3.0)
    assert (found.noise_floor.power_dbm, found.noise_floor.bandwidth_hz) == (-101.0, 1e4)
    assert found.trace_noise == pytest.approx(0.003 * math.sqrt(10))
    assert found.leakage == 132.0, "what drowned in noise was not measured"
    assert found.drift == pytest.approx(0.05)
    assert stated.as_measured((replace(quiet, leakage_db=112.5),)).leakage == 112.5
    assert stated.as_measured(()) is stated


def test_the_temperature_of_the_unit_counts_alike_however_long_the_line_in_front_of_it(
    figures: Figures, true_s: np.ndarray, sweep_of: SweepOf
) -> None:
    """A phase that turns all of S leaves every size, and so what half a kelvin does to it, as it was."""
    warm = figures.model_copy(update={"unit_temperature": 0.5, "tuning_drift": 8e-6})
    loss = item("loss", HOOKUPS[0], "ANT", "TX", TX_HZ)

    def line_of(turned: complex) -> float:
        sweeps = sweeps_of(true_s * turned, sweep_of)
        budget = budget_of(loss, loss.read(sweeps), sweeps, warm)
        line = next(line for line in budget.contributions if line.name == "temperature of the unit")
        return line.value * line.sensitivity

    plain = line_of(1.0)
    assert line_of(np.exp(1j)) == pytest.approx(plain, rel=1e-6)
    assert line_of(np.exp(2.5j)) == pytest.approx(plain, rel=1e-6)
    # the slope of the loss itself, between the neighbours of the point
    before_db, _, after_db = -20 * np.log10(abs(true_s[:3, 1, 0]))
    slope = (after_db - before_db) / (FREQ_HZ[2] - FREQ_HZ[0])
    assert plain == pytest.approx(abs(slope) * TX_HZ * 0.5 * 8e-6, rel=0.01)


class Noisy:
    """A bench with nothing wrong but noise of this rms beside the wave that goes in."""

    def __init__(self, noise: float) -> None:
        self._noise = noise

    def sources(self, excerpt: Excerpt) -> tuple[ErrorSource, ...]:
        beside = self._noise / math.sqrt(2) / excerpt.size
        noise = np.minimum(beside, 1.0)
        return (
            ErrorSource("noise floor", Distribution.NORMAL, noise, "noise", each_point=True, beside=beside),
        )

    def floor(self, settings: SweepSettings) -> Floor:
        return Floor(self._noise)


@pytest.mark.parametrize("under_db", [-40.0, -20.0, -6.0, 6.0])
def test_a_notch_that_noise_places_has_a_u_that_reaches_the_true_one(
    under_db: float, sweep_of: SweepOf
) -> None:
    """From 40 dB above the noise to 6 dB under it, 400 draws: 92 to 99.9 % within U, none off by more than two U."""
    freq_hz = TX_HZ + np.arange(-200e3, 200.1e3, 5e3)
    s = np.zeros((len(freq_hz), 2, 2), dtype=complex)
    s[:, 1, 0] = 1e-4 * (1 + 1j * (freq_hz - TX_HZ - 1.2e3) / 40e3)
    what = spanning("notch frequency", HOOKUPS[0], "ANT", "TX", TX_HZ, 200e3, None)
    noise, rng, off = 1e-4 * 10 ** (under_db / 20), np.random.default_rng(9), []
    for _ in range(400):
        drawn = rng.standard_normal((2, len(freq_hz)))
        seen = s.copy()
        seen[:, 1, 0] += noise / math.sqrt(2) * (drawn[0] + 1j * drawn[1])
        sweeps = {HOOKUPS[0]: sweep_of(HOOKUPS[0], freq_hz, seen)}
        found = with_uncertainty(what, what.read(sweeps), sweeps, Noisy(noise))
        assert isinstance(found, Reading)
        assert found.value is not None
        assert found.u is not None
        off.append(abs(found.value - TX_HZ - 1.2e3) / found.u)
    assert 0.92 <= np.mean(np.array(off) <= 1) <= 0.999
    assert max(off) <= 2
