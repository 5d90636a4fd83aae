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
from limits.reading import Claim, Curve, Reading
from limits.yamlfile import parse
from station.measurements.budget import budget_of, with_uncertainty
from station.measurements.catalog import MEASURES
from station.measurements.characteristic import Characteristic
from station.measurements.figures import Figures
from station.measurements.measure import Place
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Port, Sweep, SweepSettings

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

    def normal(self, sd: float) -> np.ndarray:
        return sd * self._rng.standard_normal(self._n)

    def seen(self, s: np.ndarray, what: Characteristic) -> np.ndarray:
        """The measured S of one characteristic, shape (trials,), from S of shape (3, 3)."""
        i, j, k = (PORTS.index(port) for port in (what.to, what.source, what.hookup.idle))
        load = self.vector(44.0)
        m = (
            s[None]
            + load[:, None, None]
            / (1 - load * s[k, k])[:, None, None]
            * s[None, :, k, None]
            * s[None, k, None, :]
        )
        here, there = self.vector(40.0), self.vector(40.0)
        gain = 10 ** ((self._rng.uniform(-0.02, 0.02, self._n)) / 20)
        mate = self.normal(0.02 * math.log(10) / 20) + 1j * self.normal(0.02 * math.log(10) / 20)
        noise = 10 ** (-115 / 20) * (self.normal(math.sqrt(0.5)) + 1j * self.normal(math.sqrt(0.5)))
        scatter = 1 + self.normal(0.002 * math.log(10) / 20)
        if i == j:
            o = next(p for p in range(3) if p not in (i, k))
            bent = m[:, i, i] + there * m[:, o, i] * m[:, i, o] / (1 - there * m[:, o, o])
            return (self.vector(44.0) + gain * bent / (1 - here * bent) + mate) * scatter + noise
        loops = (1 - here * m[:, j, j]) * (1 - there * m[:, i, i])
        return gain * m[:, i, j] / loops * (1 + mate) * scatter + noise


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
    assert 0.93 <= np.mean(np.abs(error_db) <= budget.expanded()) <= 0.99


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


def test_what_is_no_level_has_no_u(figures: Figures, true_s: np.ndarray, sweep_of: SweepOf) -> None:
    sweeps: Mapping[Hookup, Sweep] = sweeps_of(true_s, sweep_of)
    what = ITEMS["TX loss"]
    level = what.read(sweeps)
    assert isinstance(level, Reading)
    ripple = replace(what, measure=next(row for row in MEASURES if row.name == "ripple"))
    curve = Curve("x", "X", "dB", FREQ_HZ, FREQ_HZ, 1e3)
    for item_, reading in (
        (ripple, level),
        (what, replace(level, value=None, note="none")),
        (what, replace(level, claim=Claim.AT_LEAST)),
        (what, curve),
    ):
        assert with_uncertainty(item_, reading, sweeps, figures) is reading
    assert with_uncertainty(what, level, sweeps, None) is level


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
