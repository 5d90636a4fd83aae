"""Calibrating behind a switch: what is found over each route, what the switch puts on idle ports, and mistakes.

The simulated switch, ports and standards build their S without any of the station's formulas.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
import pytest

from fixtures_sim import standards
from fixtures_sim.port_errors import DrawnPorts, seen_through
from fixtures_sim.switch import Switch, SwitchErrors
from fixtures_sim.units import build_unit
from limits.yamlfile import parse
from station.measurements.evaluation import BenchData, evaluate
from station.measurements.kit import KitForm, make_kit
from station.measurements.routed import RoutedProcedure
from station.measurements.standards import Findings, StandardDoubt, Step, Use
from station.measurements.sweep import HOOKUPS, PORTS, WHOLE, Hookup, Sweep, SweepSettings

KIT = """\
kit: works kit 2
open: {{delay: {open_delay_ps} ps, capacitance: [{open_capacitance_ff} fF]}}
short: {{delay: {short_delay_ps} ps, inductance: [{short_inductance_ph} pH]}}
load: {{return_loss: 46 dB}}
through: {{delay: {through_delay_ps} ps, loss: {through_loss_db} dB}}
"""
FREQ_HZ = np.arange(150e6, 171e6, 2e6)
FAST = SweepSettings(1e3, 1, 0.0)
NOISE = 10 ** (-115 / 20)
STARTED = datetime(2026, 3, 2, tzinfo=UTC)
UNIT = build_unit("SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1)
Connected = tuple[str, tuple[int, ...]]


def procedure(kit: standards.Kit = standards.DEFINITION) -> RoutedProcedure:
    values = {name: getattr(kit, name) for name in standards.Kit.__dataclass_fields__}
    text = KIT.format(**values)
    return RoutedProcedure(make_kit(parse(text, KitForm, "kit.yaml"), lambda name: ("", name)), 2e6, 45.0)


class Simulated:
    """A switched bench in memory: `instead` tells what really is connected at some steps."""

    def __init__(self, kit: standards.Kit, seed: int = 1, noise: float = NOISE) -> None:
        self.kit, self.noise = kit, noise
        self.errors = DrawnPorts(seed)
        self.switch = Switch(SwitchErrors(seed))
        self.rng = np.random.default_rng(seed)
        self.instead: Mapping[tuple[Connected, Use], Connected] = {}

    def read(self, s: np.ndarray, hookup: Hookup) -> Sweep:
        closed = {place: PORTS.index(port) + 1 for place, port in enumerate(hookup.ports, 1)}
        raw = seen_through(self.switch.between(s, closed, FREQ_HZ), self.errors.terms(FREQ_HZ, 2, 0.0))
        noise = self.rng.normal(size=raw.shape) + 1j * self.rng.normal(size=raw.shape)
        return Sweep(hookup, FREQ_HZ, raw + self.noise / np.sqrt(2) * noise, FAST, STARTED, 0.1)

    def sweeps(self, step: Step) -> list[Sweep]:
        standard, ports = self.instead.get((step.connection, step.use), step.connection)
        s = standards.connection(self.kit, standard, ports, 3).s(FREQ_HZ, 3)
        return [self.read(s, step.hookup) for _ in range(4 if step.use in (Use.FLOOR, Use.TRACE) else 1)]

    def calibrate(self, how: RoutedProcedure) -> Findings | StandardDoubt:
        swept: dict[Step, list[Sweep]] = {}
        for step in how.steps:
            swept[step] = self.sweeps(step)
            if doubt := how.doubt(step, swept):
                return doubt
        return how.conclude(swept)


EXACT = standards.Kit(load_ohm=50.0)


def test_each_standard_is_connected_once_and_once_more_to_verify() -> None:
    """Nine reflections and three throughs, six and three again, and the terminations: 22 connections in a row."""
    connected = [step.connection for step in procedure().steps]
    changes = 1 + sum(one != other for one, other in pairwise(connected))
    assert changes == 9 + 3 + 6 + 3 + 1
    assert len(set(procedure().steps)) == len(procedure().steps)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_kit_that_is_known_exactly_finds_routes_and_terminations_exactly(seed: int) -> None:
    """Without noise: terminations of the switch to 1e-6, and of the unit all three ports. What is left leaks."""
    bench = Simulated(EXACT, seed, noise=0.0)
    found = bench.calibrate(procedure(EXACT))
    assert isinstance(found, Findings)
    assert set(found.terms) == set(HOOKUPS)
    for place, port in enumerate(PORTS, 1):
        truth = bench.switch._errors.termination(place, FREQ_HZ)
        assert np.abs(found.loads[port].at(FREQ_HZ) - truth).max() < 1e-6
    truth = UNIT.s(FREQ_HZ, 23.0)
    data = BenchData(terms=found.terms, loads=found.loads)
    read = evaluate([bench.read(truth, pair) for pair in HOOKUPS], data).sweeps
    for pair in HOOKUPS:
        used = [WHOLE.ports.index(port) for port in pair.ports]
        assert np.abs(read[pair].s - truth[:, used][:, :, used]).max() < 1e-6


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_real_kit_reads_a_unit_as_well_as_its_load_allows(seed: int) -> None:
    """Within 38 dB of the truth, where the terminations alone, if they were not taken out, would cost 34 dB."""
    kit = standards.true_kit(np.random.default_rng(seed))
    bench = Simulated(kit, seed)
    found = bench.calibrate(procedure())
    assert isinstance(found, Findings)
    truth = UNIT.s(FREQ_HZ, 23.0)
    data = BenchData(terms=found.terms, loads=found.loads)
    read = evaluate([bench.read(truth, pair) for pair in HOOKUPS], data).sweeps
    for pair in HOOKUPS:
        used = [WHOLE.ports.index(port) for port in pair.ports]
        assert np.abs(read[pair].s - truth[:, used][:, :, used]).max() < 10 ** (-38 / 20)


def test_noise_and_residuals_are_those_of_the_worst_route() -> None:
    found = Simulated(standards.true_kit(np.random.default_rng(1))).calibrate(procedure())
    assert isinstance(found, Findings)
    (noise,) = found.noise
    assert noise.floor_dbm == pytest.approx(-114.0, abs=2.0)
    told = [(residual.what, residual.port) for residual in found.residuals]
    assert len(told) == len(set(told)) == 4 * 3


@pytest.mark.parametrize(
    ("meant", "really", "said"),
    [
        (("load", (3,)), ("open", (3,)), "what is on port 3 reflects too much for a load"),
        (("through", (2, 3)), ("through", (1, 2)), "nothing goes through between ports 2 and 3"),
        (("open", (2,)), ("short", (2,)), "open and short on port 2 read the same"),
    ],
)
def test_a_slip_is_told_by_the_number_of_the_cable(meant: Connected, really: Connected, said: str) -> None:
    bench = Simulated(standards.true_kit(np.random.default_rng(1)))
    bench.instead = {(meant, use): really for use in (Use.CALIBRATE, Use.TRACE, Use.IDLE)}
    found = bench.calibrate(procedure())
    assert isinstance(found, StandardDoubt)
    assert said in found.words
    assert meant in {step.connection for step in found.steps}
    assert set(found.steps) <= set(procedure().steps)
