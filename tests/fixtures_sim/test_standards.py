"""The calibration kit: its standards are what closed forms say, near their definition, and every kit is its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import numpy as np
import pytest

from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import Bench
from fixtures_sim.standards import DEFINITION, Kit, connection, true_kit

FREQ_HZ = np.array([2e9, 100e6, 1.6e9, 300e3])
"""In no order, as an analyzer with a list may ask."""

OMEGA = 2.0 * np.pi * FREQ_HZ
ROUNDING = 1e-12
ODD = Kit(
    open_delay_ps=20.0, open_capacitance_ff=90.0, short_delay_ps=30.0, short_inductance_ph=25.0,
    load_ohm=51.0, load_inductance_ph=40.0, through_delay_ps=50.0, through_loss_db=0.2,
    termination_ohm=(49.0, 52.0, 50.0),
)  # fmt: skip


def seen(standard: str, *test_ports: int, kit: Kit = ODD, count: int = 2) -> np.ndarray:
    return connection(kit, standard, test_ports, count).s(FREQ_HZ, count)


def reflection(ohm: np.ndarray, delay_ps: float = 0.0) -> np.ndarray:
    """Of an impedance behind a line of 50 ohm: the textbook's closed form."""
    return (ohm - 50.0) / (ohm + 50.0) * np.exp(-2j * OMEGA * delay_ps * 1e-12)


def test_an_open_is_a_fringing_capacitance_behind_its_offset() -> None:
    expected = reflection(1.0 / (1j * OMEGA * 90e-15), 20.0)
    assert seen("open", 1)[:, 0, 0] == pytest.approx(expected, abs=ROUNDING)


def test_a_short_is_an_inductance_behind_its_offset() -> None:
    assert seen("short", 1)[:, 0, 0] == pytest.approx(reflection(1j * OMEGA * 25e-12, 30.0), abs=ROUNDING)


def test_a_load_is_its_resistance_with_its_inductance() -> None:
    assert seen("load", 1)[:, 0, 0] == pytest.approx(reflection(51.0 + 1j * OMEGA * 40e-12), abs=ROUNDING)


def test_a_through_is_matched_alike_both_ways_and_loses_by_the_root_of_frequency() -> None:
    s = seen("through", 1, 2)
    size = 10.0 ** (-0.2 / 20.0 * np.sqrt(FREQ_HZ / 1e9))
    assert s[:, 1, 0] == pytest.approx(size * np.exp(-1j * OMEGA * 50e-12), abs=ROUNDING)
    assert s[:, 0, 1] == pytest.approx(s[:, 1, 0], abs=ROUNDING)
    assert np.abs(s[:, [0, 1], [0, 1]]).max() < ROUNDING


def test_terminations_reflect_by_their_resistance_and_pass_nothing() -> None:
    s = seen("terminated", 1, 2)
    assert s == pytest.approx(np.tile(np.diag([-1.0 / 99.0, 2.0 / 102.0]), (4, 1, 1)), abs=ROUNDING)


def test_what_a_standard_is_not_on_hangs_open() -> None:
    one = seen("short", 2, count=3)
    assert one[:, [0, 2], [0, 2]] == pytest.approx(np.ones((4, 2)))
    assert np.count_nonzero(one) == 4 * 3
    across = seen("through", 1, 3, count=3)
    assert across[:, 2, 0] == pytest.approx(seen("through", 1, 2)[:, 1, 0])
    assert across[:, 1, 1] == pytest.approx(np.ones(4))


WITHIN = {
    "open_delay_ps": 1.0, "open_capacitance_ff": 8.0, "short_delay_ps": 1.0, "short_inductance_ph": 8.0,
    "load_ohm": 1.0, "load_inductance_ph": 80.0, "through_delay_ps": 1.0, "through_loss_db": 0.01,
    "termination_ohm": 2.5,
}  # fmt: skip
"""How far a kit may be off its definition."""


def test_a_kit_is_a_little_off_its_definition_each_in_its_own_way() -> None:
    kits = [true_kit(np.random.default_rng(seed)) for seed in range(200)]
    assert kits[3] == true_kit(np.random.default_rng(3))
    for name, written in asdict(DEFINITION).items():
        values = np.array([getattr(kit, name) for kit in kits])
        assert len(np.unique(values, axis=0)) == len(kits), name
        assert np.abs(values - written).max() < WITHIN[name], name


def test_loads_have_46_db_of_return_loss_on_either_side_of_50_ohm() -> None:
    ohm = np.array([true_kit(np.random.default_rng(seed)).load_ohm for seed in range(200)])
    return_loss_db = -20.0 * np.log10(np.abs((ohm - 50.0) / (ohm + 50.0)))
    five_sigma_db = 5.0 * 1.25 / np.sqrt(200)
    assert np.median(return_loss_db) == pytest.approx(46.0, abs=five_sigma_db)
    assert 50 < np.count_nonzero(ohm > 50.0) < 150


def test_the_analyzer_sees_the_standard_that_the_hands_connect(
    make_bench: Callable[..., Any], visa: Callable[[str], Any]
) -> None:
    """Without noise: the kit of this seed, and after it the device again."""
    with make_bench(seed=5, imperfections=Imperfections(noise=None)) as bench:
        assert isinstance(bench, Bench)
        analyzer = visa(bench.socket_address)
        analyzer.write("*RST;:SENS:FREQ:STAR 1GHZ;STOP 1GHZ;:SENS:SWE:POIN 1;:CALC:FORM PHAS")
        bench.connect("short", 1)
        degrees = float(analyzer.query("INIT;:CALC:DATA?"))
        assert degrees == pytest.approx(180.0 - 360.0 * 2 * 0.0251, abs=0.5)
        bench.connect("open", 2)
        assert float(analyzer.query("INIT;:CALC:DATA?")) == pytest.approx(0.0, abs=1e-9)
        other = "SENS:FUNC 'XFR:POW:S22';:INIT;:CALC:DATA?"
        capacitive = 2 * np.degrees(np.arctan(2 * np.pi * 1e9 * 50 * 68e-15))
        assert float(analyzer.query(other)) == pytest.approx(-360.0 * 2 * 0.0235 - capacitive, abs=0.6)
