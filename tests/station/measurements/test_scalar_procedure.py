"""Reference sweeps of a scalar bench taken on the simulated one, and what is said of wrong standards."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.server import running_bench
from station.instruments.analyzer import Ability, Segment, SweepOrder
from station.instruments.catalog import kind_named
from station.instruments.dialect import find_dialect
from station.instruments.link import open_link
from station.instruments.scalar import ScalarAnalyzer
from station.measurements.scalar_procedure import ScalarProcedure
from station.measurements.standards import Findings, StandardDoubt, Use
from station.measurements.sweep import HOOKUPS, SINGLES, SweepSettings

ABILITY = Ability(300e3, 3e9, 1601, hookups=kind_named("scalar").hookups, phase=False)
SEGMENTS = (Segment(150e6, 170e6, 41),)
CAREFUL = SweepSettings(100.0, 4, 0.0)
OF_THE_RUN = SweepSettings(1e3, 1, 0.0)
PROCEDURE = ScalarProcedure(largest_step_hz=0.5e6, repeats_within_db=40.0)
ERRORS = ScalarErrors()


@pytest.fixture
def go_through():
    """Takes all steps on a bench, one of them perhaps with something else connected; stops at the first doubt."""

    def go(errors=ERRORS, instead=None):
        with (
            running_bench(seed=4, scalar=errors) as bench,
            open_link(bench.socket_address, patience_s=2.0) as link,
        ):
            dialect = find_dialect("power-single", None)
            analyzer = ScalarAnalyzer(
                link, dialect, ABILITY, identity="", now=lambda: datetime(2025, 3, 31, tzinfo=UTC)
            )
            swept = {}
            for step in PROCEDURE.steps:
                standard, ports = (instead or {}).get((step.standard, step.use), (step.standard, step.ports))
                bench.connect(standard, *ports)
                noisy = step.use in (Use.TRACE, Use.FLOOR)
                settings = [OF_THE_RUN] * 4 if noisy else [CAREFUL]
                swept[step] = [analyzer.sweep(SweepOrder(step.hookup, SEGMENTS, each)) for each in settings]
                if doubt := PROCEDURE.doubt(step, swept):
                    return doubt
            return PROCEDURE.conclude(swept)

    return go


def test_the_references_serve_every_pair_and_every_single_port(go_through):
    found = go_through()
    assert isinstance(found, Findings)
    assert set(found.terms) == {*HOOKUPS, *SINGLES}
    level = 10 ** (ERRORS.flatness(SEGMENTS[0].freq_hz) / 20)
    through = np.abs(found.terms[HOOKUPS[2]].tracking[:, 1, 0])
    # both matches 20 dB: 0.09 dB; the scale 0.1 dB
    np.testing.assert_allclose(20 * np.log10(through / level), 0.0, atol=0.2)
    total = np.abs(found.terms[SINGLES[1]].tracking[:, 0, 0])
    np.testing.assert_allclose(20 * np.log10(total / level), -ERRORS.bridge_loss_db, atol=0.15)


def test_the_bridge_is_found_as_good_as_its_directivity_and_the_kits_load(go_through):
    """35 dB beside a load of about 46 dB: 31.6 to 39.6 dB."""
    (directivity,) = (each for each in go_through().residuals if each.what == "directivity")
    assert 31.0 < directivity.value_db < 40.0


def test_the_noise_is_measured_as_the_run_will_meet_it(go_through):
    """Four sweeps of 41 points, exponential in power: one standard deviation is 0.34 dB; and of the scatter 6 %."""
    (noise,) = go_through().noise
    assert noise.bandwidth_hz == OF_THE_RUN.bandwidth_hz
    assert noise.floor_dbm == pytest.approx(-95.0, abs=1.2)
    assert noise.trace_db == pytest.approx(ERRORS.trace_db, rel=0.3)
    assert noise.leakage_db is None


WRONG = [
    (("load", Use.VERIFY), ("short", (1,)), "reflects too much for a load"),
    (("short", Use.CALIBRATE), ("load", (1,)), "open and short on the bridge read"),
    (("terminated", Use.FLOOR), ("through", (1, 2)), "something goes through"),
    (("through", Use.VERIFY), ("terminated", (1, 2)), "the through does not read the same"),
]


@pytest.mark.parametrize(("step", "instead", "words"), WRONG)
def test_a_standard_that_cannot_be_is_doubted(go_through, step, instead, words):
    doubt = go_through(instead={step: instead})
    assert isinstance(doubt, StandardDoubt)
    assert words in doubt.words
    assert all(each in PROCEDURE.steps for each in doubt.steps)
