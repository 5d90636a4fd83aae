"""Calibrating by short, open, load and through: what is found, and which mistakes of the hand are recognised.

The simulated ports and standards build their S without any of the station's formulas.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import UTC, datetime

import numpy as np
import pytest

from fixtures_sim import standards
from fixtures_sim.port_errors import DrawnPorts, seen_through
from limits.yamlfile import parse
from station.measurements.calibration import corrected
from station.measurements.kit import KitForm, make_kit
from station.measurements.solt import VectorProcedure
from station.measurements.standards import Findings, StandardDoubt, Step, Use
from station.measurements.sweep import HOOKUPS, WHOLE, Hookup, Sweep, SweepSettings

KIT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""
FREQ_HZ = np.arange(150e6, 171e6, 2e6)
FAST = SweepSettings(1e3, 1, 0.0)
NOISE = 10 ** (-115 / 20)
Connected = tuple[str, tuple[int, ...]]


def procedure(hookups: tuple[Hookup, ...] = HOOKUPS, repeats_within_db: float = 45.0) -> VectorProcedure:
    kit = make_kit(parse(KIT, KitForm, "kit.yaml"), lambda name: ("", name))
    return VectorProcedure(hookups, kit, 2e6, repeats_within_db)


class Simulated:
    """A bench in memory: `instead` tells what really is connected at some steps."""

    def __init__(self, ports: int = 2, seed: int = 1) -> None:
        self.count = ports
        self.errors = DrawnPorts(seed)
        self.kit = standards.true_kit(np.random.default_rng(seed))
        self.rng = np.random.default_rng(seed)
        self.instead: Mapping[tuple[Connected, Use], Connected] = {}
        self.loose: dict[tuple[Connected, Use], complex] = {}

    def sweep(self, step: Step) -> Sweep:
        key = (step.connection, step.use)
        standard, ports = self.instead.get(key, step.connection)
        s = standards.connection(self.kit, standard, ports, self.count).s(FREQ_HZ, self.count)
        s = s + self.loose.get(key, 0.0) * np.eye(self.count)
        raw = seen_through(s, self.errors.terms(FREQ_HZ, self.count, 0.0))
        noise = self.rng.normal(size=raw.shape) + 1j * self.rng.normal(size=raw.shape)
        raw = raw * (1 + 0.002 / 8.686 * self.rng.normal(size=raw.shape)) + NOISE / np.sqrt(2) * noise
        return Sweep(step.hookup, FREQ_HZ, raw, FAST, datetime(2026, 3, 2, tzinfo=UTC), 0.1)

    def sweeps(self, step: Step) -> list[Sweep]:
        return [self.sweep(step) for _ in range(4 if step.use in (Use.FLOOR, Use.TRACE) else 1)]

    def calibrate(self, how: VectorProcedure) -> Findings | StandardDoubt:
        """All steps, until one is not believed."""
        swept = {}
        for step in how.steps:
            swept[step] = self.sweeps(step)
            if doubt := how.doubt(step, swept):
                return doubt
        return how.conclude(swept)


@pytest.mark.parametrize(("ports", "hookups"), [(2, HOOKUPS), (3, (WHOLE,))])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_device_is_read_at_the_ends_of_the_cables_as_well_as_the_kit_allows(
    ports: int, hookups: tuple[Hookup, ...], seed: int
) -> None:
    bench, how = Simulated(ports, seed), procedure(hookups)
    found = bench.calibrate(how)
    assert isinstance(found, Findings)
    rng = np.random.default_rng(seed)
    device = 0.4 * (rng.normal(size=(1, ports, ports)) + 1j * rng.normal(size=(1, ports, ports)))
    device = np.repeat(device, len(FREQ_HZ), axis=0)
    raw = seen_through(device, bench.errors.terms(FREQ_HZ, ports, 0.0))
    sweep = Sweep(hookups[0], FREQ_HZ, raw, FAST, datetime(2026, 3, 2, tzinfo=UTC), 0.1)

    read = corrected(sweep, found.terms[hookups[0]]).s

    load = bench.kit
    gamma = abs(standards.connection(load, "load", (1,), 1).s(FREQ_HZ, 1)).max()
    # The load's own reflection stands in directivity and both matches, for waves up to 1.5 in this device.
    np.testing.assert_allclose(read, device, rtol=0, atol=5 * gamma + 0.002)
    assert abs(raw - device).max() > 10 * abs(read - device).max()


def test_residuals_and_noise_are_figures_of_the_bench() -> None:
    found = Simulated().calibrate(procedure())

    assert isinstance(found, Findings)
    told = {(residual.what, residual.port): residual.value_db for residual in found.residuals}
    assert set(told) == {
        (what, port) for what in ("directivity", "reflection", "match", "transmission") for port in (1, 2)
    }
    assert min(told.values()) > 60
    (noise,) = found.noise
    # 4 sweeps of 11 points, both ways: the rms is known to 5 % and less; cables take 0.25 dB of the wave.
    assert noise.floor_dbm == pytest.approx(-114.7, abs=0.8)
    assert noise.trace_db == pytest.approx(0.002, rel=0.3)
    assert noise.leakage_db is None, "it lies at 132 dB, far below this noise"


CALIBRATE, VERIFY = Use.CALIBRATE, Use.VERIFY


@pytest.mark.parametrize(
    ("instead", "expected"),
    [
        (
            {(("open", (1,)), CALIBRATE): ("short", (1,))},
            "short and open on port 1 read the same; is the same",
        ),
        ({(("load", (2,)), CALIBRATE): ("load", (1,))}, "the load seems to sit on port 1, not on port 2"),
        ({(("load", (1,)), CALIBRATE): ("short", (1,))}, "port 1 reflects too much for a load"),
        ({(("short", (1,)), CALIBRATE): ("load", (1,))}, "port 1 reflects too little for a short"),
        ({(("open", (1,)), CALIBRATE): ("through", (1, 2))}, "connected with each other"),
        ({(("through", (1, 2)), CALIBRATE): ("open", (1,))}, "nothing goes through between ports 1 and 2"),
        ({(("terminated", (1, 2)), Use.FLOOR): ("load", (1,))}, "port 2 reflects too much for a termination"),
        (
            {
                (("short", (1,)), CALIBRATE): ("open", (1,)),
                (("open", (1,)), CALIBRATE): ("short", (1,)),
            },
            "exchanged on port 1$",
        ),
        (
            {
                (("short", (2,)), CALIBRATE): ("open", (2,)),
                (("open", (2,)), CALIBRATE): ("short", (2,)),
            },
            "exchanged on port 2$",
        ),
        (
            {
                ((one, (port,)), CALIBRATE): (other, (port,))
                for port in (1, 2)
                for one, other in (("short", "open"), ("open", "short"))
            },
            "exchanged on ports 1 and 2$",
        ),
        (
            {(("short", (1,)), CALIBRATE): ("short", (2,))},
            "read the same; one of them seems to sit on port 2",
        ),
        (
            {(("short", (2,)), VERIFY): ("open", (2,))},
            "the short does not read the same when it is put on port 2 again",
        ),
    ],
)
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_slip_of_the_hand_is_recognised_and_names_what_to_do_again(
    instead: Mapping[tuple[Connected, Use], Connected], expected: str, seed: int
) -> None:
    bench = Simulated(seed=seed)
    bench.instead = instead

    doubt = bench.calibrate(procedure())

    assert isinstance(doubt, StandardDoubt)
    assert {step.connection for step in doubt.steps} >= {next(iter(instead))[0]}
    assert re.search(expected, doubt.words), doubt.words


@pytest.mark.parametrize("use", [CALIBRATE, VERIFY])
def test_a_standard_that_is_not_tight_does_not_repeat(use: Use) -> None:
    bench = Simulated()
    bench.loose = {(("load", (1,)), use): 0.02}

    doubt = bench.calibrate(procedure())

    assert isinstance(doubt, StandardDoubt)
    assert "the load does not read the same when it is put on port 1 again" in doubt.words
    assert "asked for is at least 45 dB" in doubt.words
    assert [(step.standard, step.ports, step.use) for step in doubt.steps] == [
        ("load", (1,), CALIBRATE),
        ("load", (1,), VERIFY),
    ]


@pytest.mark.parametrize("seed", range(20))
def test_no_sound_calibration_is_refused(seed: int) -> None:
    assert isinstance(Simulated(seed=seed).calibrate(procedure()), Findings)


def test_a_step_says_what_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    told = [str(step) for step in procedure().steps]
    assert told[0] == "short on port 1, to calibrate"
    assert told[-1] == "terminated on ports 1 and 2, to hear the noise"
    assert len(dict.fromkeys(step.connection for step in procedure().steps)) == 8
