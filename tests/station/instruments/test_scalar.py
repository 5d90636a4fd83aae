"""The scalar driver: raw ratios of power, pairs one way, single ports by the bridge, and faults told."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from fixtures_sim.faults import Fault
from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.server import running_bench
from station.errors import Garbled, Gone, InstrumentFault, Refused, Silent, WrongInstrument
from station.instruments.analyzer import Ability, Segment, SweepOrder
from station.instruments.catalog import kind_named
from station.instruments.dialect import find_dialect
from station.instruments.link import open_link
from station.instruments.scalar import ScalarAnalyzer
from station.instruments.trial import try_dialect
from station.measurements.sweep import Hookup, SweepSettings

ABILITY = Ability(300e3, 3e9, 101, hookups=kind_named("scalar").hookups, phase=False)
SETTINGS = SweepSettings(bandwidth_hz=1e3, averages=2, power_dbm=-10.0)
SEGMENTS = (Segment(150e6, 155e6, 51), Segment(156e6, 160e6, 203))
STARTED = datetime(2025, 3, 31, 12, 0, tzinfo=UTC)
PATIENCE_S = 0.4
PERFECT = ScalarErrors(
    floor_dbm=-300.0,
    trace_db=1e-9,
    source_match_db=300.0,
    receiver_match_db=300.0,
    flatness_db=0.0,
    linearity_db=0.0,
    bridge_directivity_db=300.0,
    bridge_match_db=300.0,
    bridge_loss_db=0.0,
)


@pytest.fixture
def bench(marked):
    with running_bench(device=marked, scalar=PERFECT) as running:
        running.hook_up("ANT", "RX")
        yield running


@pytest.fixture
def analyzer(bench_address):
    with open_link(bench_address, patience_s=PATIENCE_S) as link:
        yield ScalarAnalyzer(
            link,
            find_dialect("power-single", None),
            ABILITY,
            identity="Simulated spectrum",
            now=lambda: STARTED,
        )


def test_a_pair_is_swept_one_way_and_has_no_reflections(analyzer):
    sweep = analyzer.sweep(SweepOrder(Hookup("ANT", "RX"), SEGMENTS, SETTINGS))
    assert sweep.s.shape == (254, 2, 2)
    assert not sweep.phase
    assert np.all(sweep.s.imag[:, 1, 0] == 0.0)
    assert sweep.s[:, 1, 0].real == pytest.approx(np.full(254, 0.08), rel=1e-6)
    np.testing.assert_array_equal(sweep.s[:, 0, 1], sweep.s[:, 1, 0])
    assert np.all(np.isnan(sweep.s[:, 0, 0]))
    assert np.all(np.isnan(sweep.s[:, 1, 1]))


@pytest.mark.parametrize(("port", "size"), [("TX", 0.01), ("ANT", 0.05), ("RX", 0.09)])
def test_a_single_port_is_swept_through_the_bridge(analyzer, bench, port, size):
    bench.hook_up(port)
    sweep = analyzer.sweep(SweepOrder(Hookup(port), SEGMENTS, SETTINGS))
    assert sweep.s.shape == (254, 1, 1)
    assert sweep.s[:, 0, 0].real == pytest.approx(np.full(254, size), rel=1e-6)


FAULTS = [
    (Fault("wrong identity"), WrongInstrument),
    (Fault("hangs up", "INIT;", seconds=0.1), Gone),
    (Fault("silent", "INIT;"), Silent),
    (Fault("late", "DATA?", seconds=1.0), Silent),
    (Fault("garbage", "DATA?"), Garbled),
    (Fault("truncated block"), (Garbled, Silent)),
    (Fault("not a number"), Garbled),
    (Fault("queued error", "INIT;"), Refused),
]


@pytest.mark.parametrize(("fault", "kind"), FAULTS, ids=lambda each: getattr(each, "kind", ""))
def test_a_fault_of_the_instrument_is_told_and_the_next_sweep_is_sound(analyzer, bench, fault, kind):
    order = SweepOrder(Hookup("ANT", "RX"), SEGMENTS, SETTINGS)
    bench.fault(fault)
    with pytest.raises(InstrumentFault) as caught:
        analyzer.sweep(order)
    assert isinstance(caught.value, kind)
    assert analyzer.sweep(order).s[:, 1, 0].real == pytest.approx(np.full(254, 0.08), rel=1e-6)


def test_the_dialect_is_fine_in_every_line(bench_address):
    with open_link(bench_address, patience_s=PATIENCE_S) as link:
        lines = try_dialect(link, find_dialect("power-single", None), ABILITY)
    assert [each for each in lines if not each.fine] == []
    assert lines[-1].answer == "11 powers, the largest -41.9 dBm"  # 0.08 of -20 dBm
