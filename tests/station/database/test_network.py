"""The three-port Touchstone text, read by scikit-rf."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import skrf

from station.database.entries import RunId, RunState, StoredRun
from station.database.network import FIGURES, network_of
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Sweep
from station.orders import Serial, WorkOrder

TX_HZ, RX_HZ = 156.8e6, 161.4e6
Sweeps = dict[Hookup, Sweep]


@pytest.fixture
def run(make: SimpleNamespace) -> StoredRun:
    order = WorkOrder("W-1", "Outer Isles", "SK-V4", TX_HZ, RX_HZ, (Serial("SKV-0101"),), date(2026, 1, 1))
    return StoredRun(
        RunId(1), 3, make.head(), order, RunState.JUDGED, "", datetime(2026, 1, 1, tzinfo=UTC), (), None, ()
    )


@pytest.fixture
def sweeps(make: SimpleNamespace) -> Sweeps:
    """Three pairs at 51, 51 and every other one of those frequencies."""
    every = {hookup: make.sweep(hookup, points=51, seed=place) for place, hookup in enumerate(HOOKUPS)}
    last = every[HOOKUPS[2]]
    every[HOOKUPS[2]] = replace(last, freq_hz=last.freq_hz[::2], s=last.s[::2])
    return every


@pytest.fixture
def read(run: StoredRun, tmp_path: Path) -> Callable[[Sweeps], skrf.Network]:
    def outside(sweeps: Sweeps) -> skrf.Network:
        file = tmp_path / "unit.s3p"
        file.write_text(network_of(run, sweeps), encoding="ascii")
        return skrf.Network(str(file))

    return outside


def test_every_path_is_that_of_the_pair_it_joins(
    sweeps: Sweeps, read: Callable[[Sweeps], skrf.Network]
) -> None:
    found = read(sweeps)
    assert np.array_equal(found.f, sweeps[HOOKUPS[2]].freq_hz)
    assert np.all(found.z0 == 50)
    for hookup in HOOKUPS:
        there = np.isin(sweeps[hookup].freq_hz, found.f)
        for to, source in (hookup.ports, hookup.ports[::-1]):
            kept = found.s[:, PORTS.index(to), PORTS.index(source)]
            assert kept == pytest.approx(
                sweeps[hookup].parameter(to, source)[there], rel=10.0 ** (1 - FIGURES)
            )


@pytest.mark.parametrize("tx_hz", [TX_HZ, RX_HZ])
def test_a_reflection_is_that_of_the_pair_whose_channel_is_nearer(
    tx_hz: float, sweeps: Sweeps, run: StoredRun, tmp_path: Path
) -> None:
    order = replace(run.order, tx_hz=tx_hz, rx_hz=TX_HZ + RX_HZ - tx_hz)
    file = tmp_path / "unit.s3p"
    file.write_text(network_of(replace(run, order=order), sweeps), encoding="ascii")
    found = skrf.Network(str(file))
    near_tx = np.abs(found.f - tx_hz) < np.abs(found.f - order.rx_hz)
    assert near_tx.any() and not near_tx.all()
    tx_ant, ant_rx = (sweeps[hookup] for hookup in HOOKUPS[:2])
    there = np.isin(tx_ant.freq_hz, found.f)
    assert found.s[:, 0, 0] == pytest.approx(tx_ant.parameter("TX", "TX")[there], rel=1e-6)
    assert found.s[:, 2, 2] == pytest.approx(ant_rx.parameter("RX", "RX")[there], rel=1e-6)
    for near, pair in ((near_tx, tx_ant), (~near_tx, ant_rx)):
        assert found.s[near, 1, 1] == pytest.approx(pair.parameter("ANT", "ANT")[there][near], rel=1e-6)


def test_points_without_a_number_are_left_out(sweeps: Sweeps, read: Callable[[Sweeps], skrf.Network]) -> None:
    holed = sweeps[HOOKUPS[0]].s.copy()
    holed[4, 0, 1] = np.nan
    found = read({**sweeps, HOOKUPS[0]: replace(sweeps[HOOKUPS[0]], s=holed)})
    expected = np.delete(sweeps[HOOKUPS[2]].freq_hz, 2)
    assert np.array_equal(found.f, expected)


@pytest.mark.parametrize("change", ["missing", "without phases"])
def test_there_is_none_of_less_than_three_pairs_with_phases(
    change: str, sweeps: Sweeps, run: StoredRun
) -> None:
    if change == "missing":
        del sweeps[HOOKUPS[1]]
    else:
        sweeps[HOOKUPS[1]] = replace(sweeps[HOOKUPS[1]], phase=False)
    assert network_of(run, sweeps) == ""


def test_it_says_whose_it_is(sweeps: Sweeps, run: StoredRun) -> None:
    assert network_of(run, sweeps).startswith("! serial SKV-0101, run 3, model SK-V4\n")
