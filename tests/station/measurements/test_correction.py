"""The unit's three ports from sweeps of two: exact, the same as scikit-rf makes of it, and worth what it is for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
import skrf
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from skrf.network import connect

from fixtures_sim.cabling import Cabling, between_cables
from fixtures_sim.units import build_unit, defect_from
from station.measurements.correction import ALLOWED_DISAGREEMENT, Consistency, correct, recover
from station.measurements.load import Load
from station.measurements.sweep import HOOKUPS, PORTS, Hookup, Sweep
from station.measurements.view import decibels_down

EXACT = 1e-12
POINTS = 5
FREQ_HZ = np.linspace(150e6, 160e6, POINTS)
TX_HZ, RX_HZ = 156.6e6, 157.4e6
PHASES = np.linspace(0, 2 * np.pi, 48, endpoint=False)
SweepOf = Callable[[Hookup, np.ndarray, np.ndarray], Sweep]


def numbers(*shape: int) -> st.SearchStrategy[np.ndarray]:
    parts = arrays(np.float64, (2, POINTS, *shape), elements=st.floats(-1, 1, width=32))
    return parts.map(lambda part: part[0] + 1j * part[1])


@st.composite
def passive(draw: st.DrawFn) -> np.ndarray:
    """A three-port that gives at most 0.95 of what it gets, reciprocal or not."""
    s = draw(numbers(3, 3))
    largest = np.linalg.svd(s, compute_uv=False)[:, 0]
    return s * (0.95 / np.maximum(largest, 0.95))[:, None, None]


@st.composite
def reflections(draw: st.DrawFn) -> dict[str, np.ndarray]:
    """Loads of any phase, down to 6 dB return loss."""
    values = draw(numbers(3)) * 0.5 / np.sqrt(2)
    return {port: values[:, place] for place, port in enumerate(PORTS)}


def cabled(s: np.ndarray, loads: dict[str, np.ndarray]) -> dict[Hookup, np.ndarray]:
    """What each hook-up shows, the load joined on by scikit-rf."""
    network = skrf.Network(f=FREQ_HZ, f_unit="hz", s=s, z0=50)
    shown = {}
    for hookup in HOOKUPS:
        one_port = skrf.Network(f=FREQ_HZ, f_unit="hz", s=loads[hookup.idle][:, None, None], z0=50)
        # What remains keeps its order, in which all hook-ups name their ports.
        shown[hookup] = connect(network, PORTS.index(hookup.idle), one_port, 0).s
    return shown


def renormalised(measured: dict[Hookup, np.ndarray], loads: dict[str, np.ndarray]) -> np.ndarray:
    """The same by scikit-rf: into the loads' own impedances, put together there, and back into 50 ohm."""
    ohm = {port: 50 * (1 + loads[port]) / (1 - loads[port]) for port in PORTS}
    whole = np.zeros((POINTS, 3, 3), complex)
    for hookup, s in measured.items():
        used = [PORTS.index(hookup.first), PORTS.index(hookup.second)]
        network = skrf.Network(f=FREQ_HZ, f_unit="hz", s=s, z0=50)
        network.renormalize(np.stack([ohm[hookup.first], ohm[hookup.second]], axis=1), s_def="traveling")
        whole[:, [[used[0]], [used[1]]], [used]] = network.s
    z0 = np.stack([ohm[port] for port in PORTS], axis=1)
    network = skrf.Network(f=FREQ_HZ, f_unit="hz", s=whole, z0=z0, s_def="traveling")
    network.renormalize(50, s_def="traveling")
    return network.s


@settings(max_examples=60, deadline=None)
@given(passive(), reflections())
def test_any_three_port_is_recovered_and_its_reflections_agree(
    s: np.ndarray, loads: dict[str, np.ndarray]
) -> None:
    found = recover(cabled(s, loads), loads)
    assert np.abs(found.s - s).max() < EXACT
    assert found.disconsistency.max() < EXACT


@settings(max_examples=30, deadline=None)
@given(passive(), reflections())
def test_it_is_the_renormalisation_of_scikit_rf(s: np.ndarray, loads: dict[str, np.ndarray]) -> None:
    measured = cabled(s, loads)
    assert np.abs(recover(measured, loads).s - renormalised(measured, loads)).max() < 1e-10


@settings(max_examples=20, deadline=None)
@given(passive())
def test_perfect_loads_leave_everything_as_it_was(s: np.ndarray) -> None:
    perfect = {port: np.zeros(POINTS, complex) for port in PORTS}
    assert np.array_equal(recover(cabled(s, perfect), perfect).s, s)


def test_two_measurements_of_a_reflection_are_averaged_and_their_difference_told() -> None:
    perfect = {port: np.zeros(1, complex) for port in PORTS}
    measured = {hookup: np.zeros((1, 2, 2), complex) for hookup in HOOKUPS}
    measured[Hookup("ANT", "RX")][0, 0, 0] = 0.02j
    found = recover(measured, perfect)
    assert found.s[0, 1, 1] == pytest.approx(0.01j)
    assert found.disconsistency[0] == pytest.approx([0, 0.02, 0])


@pytest.fixture(scope="module")
def duplexer() -> tuple[np.ndarray, np.ndarray]:
    """A carefully built simulated VHF unit over both channels: frequencies and three-port S."""
    unit = build_unit(
        "SK-V4", "SKV-0001", TX_HZ, RX_HZ, 1, (defect_from({"kind": "tolerance", "percent": 30}),)
    )
    freq_hz = np.linspace(TX_HZ - 100e3, RX_HZ + 100e3, 401)
    return freq_hz, unit.s(freq_hz, 23.0)


class Known:
    """S-parameters as a device of the simulated bench."""

    label = "known"

    def __init__(self, s: np.ndarray) -> None:
        self._s = s

    def s(self, freq_hz: np.ndarray, temperature_c: float) -> np.ndarray:
        return self._s


def seen_between(hookup: Hookup, load: complex, freq_hz: np.ndarray, s: np.ndarray) -> np.ndarray:
    cabling = Cabling(Known(s), (hookup.first, hookup.second))
    return between_cables(cabling, {hookup.idle: load}, freq_hz, 23.0)


TX_ANT, ANT_RX, TX_RX = HOOKUPS


@pytest.mark.parametrize(("return_loss_db", "up_to_db"), [(20, 0.92), (30, 0.28), (40, 0.09)])
def test_an_antenna_load_moves_isolation_by_what_it_reflects_and_in_channel_losses_hardly(
    return_loss_db: float, up_to_db: float, duplexer: tuple[np.ndarray, np.ndarray]
) -> None:
    """At the TX channel: -20 lg(1 - |G|) in the worst phase, since TX to ANT to RX is as strong as TX to RX."""
    freq_hz, s = duplexer
    at = int(np.argmin(np.abs(freq_hz - TX_HZ)))
    isolation, loss = decibels_down(s[at, 2, 0]), decibels_down(s[at, 1, 0])
    moved, lost = [], []
    for phase in PHASES:
        load = 10 ** (-return_loss_db / 20) * np.exp(1j * phase)
        moved.append(abs(decibels_down(seen_between(TX_RX, load, freq_hz, s)[at, 1, 0]) - isolation))
        lost.append(abs(decibels_down(seen_between(TX_ANT, load, freq_hz, s)[at, 1, 0]) - loss))
    assert max(moved) == pytest.approx(up_to_db, rel=0.06)
    assert max(lost) < 0.001


def test_a_through_port_s_load_makes_return_loss_a_lottery_until_it_is_taken_out(
    duplexer: tuple[np.ndarray, np.ndarray],
) -> None:
    """A reflection of 38 dB read with a 30 dB load behind 1.6 dB of loss: about 29 to 39 dB and beyond."""
    freq_hz, s = duplexer
    at = int(np.argmin(np.abs(freq_hz - TX_HZ)))
    s = s.copy()
    s[:, 0, 0] *= 10 ** (-38 / 20) / np.abs(s[:, 0, 0])
    read = []
    for phase in PHASES:
        load = 10 ** (-30 / 20) * np.exp(1j * phase)
        read.append(float(decibels_down(seen_between(TX_RX, load, freq_hz, s)[at, 0, 0])))
        loads = {port: np.full(len(freq_hz), load) for port in PORTS}
        shown = {hookup: seen_between(hookup, load, freq_hz, s) for hookup in HOOKUPS}
        assert decibels_down(recover(shown, loads).s[at, 0, 0]) == pytest.approx(38.0, abs=1e-9)
    assert min(read) == pytest.approx(29.3, abs=0.5)
    assert max(read) > 38.9


@pytest.mark.parametrize("return_loss_db", [20, 30, 40])
def test_with_the_loads_known_nothing_of_them_is_left(
    return_loss_db: float, duplexer: tuple[np.ndarray, np.ndarray], sweep_of: SweepOf
) -> None:
    freq_hz, s = duplexer
    reflection = 10 ** (-return_loss_db / 20) * np.exp(0.7j)
    sweeps = [sweep_of(hookup, freq_hz, seen_between(hookup, reflection, freq_hz, s)) for hookup in HOOKUPS]
    corrected = correct(sweeps, alike(reflection, freq_hz))
    for hookup in HOOKUPS:
        ideal = seen_between(hookup, 0j, freq_hz, s)
        shown = corrected.sweeps[hookup].s
        assert np.abs(decibels_down(shown) - decibels_down(ideal)).max() < 1e-6, hookup
    assert corrected.consistency is not None
    assert all(sweep.loads_out for sweep in corrected.sweeps.values())
    assert corrected.consistency.largest < EXACT
    assert corrected.consistency.doubt == ""


def alike(reflection: complex, freq_hz: np.ndarray) -> dict[str, Load]:
    load = Load("load.s1p", freq_hz, np.full(len(freq_hz), reflection), (1, len(freq_hz)))
    return dict.fromkeys(PORTS, load)


def test_a_load_on_another_port_than_stated_is_a_doubt_that_names_port_and_hook_ups(
    duplexer: tuple[np.ndarray, np.ndarray], sweep_of: SweepOf
) -> None:
    """20 dB is stated for all; the one on ANT is of 12 dB, so what TX reflects depends on which port idles."""
    freq_hz, s = duplexer
    stated, other = 0.1 + 0j, 0.25 + 0j
    sweeps = [
        sweep_of(hookup, freq_hz, seen_between(hookup, other if hookup == TX_RX else stated, freq_hz, s))
        for hookup in HOOKUPS
    ]
    consistency = correct(sweeps, alike(stated, freq_hz)).consistency
    assert consistency is not None
    assert consistency.largest > ALLOWED_DISAGREEMENT
    assert consistency.port in ("TX", "RX")
    assert f"port {consistency.port} reflects differently" in consistency.doubt
    assert "TX-RX, load on ANT" in consistency.doubt
    assert all(str(hookup) in consistency.doubt for hookup in consistency.hookups)


def test_the_doubt_begins_beyond_the_allowance() -> None:
    assert Consistency(ALLOWED_DISAGREEMENT, "ANT", TX_HZ).doubt == ""
    doubt = Consistency(0.051, "ANT", TX_HZ).doubt
    assert "TX-ANT, load on RX and ANT-RX, load on TX" in doubt
    assert "0.051 at 156.6 MHz" in doubt


def test_without_all_hook_ups_or_loads_the_sweeps_stay_as_they_are(
    duplexer: tuple[np.ndarray, np.ndarray], sweep_of: SweepOf
) -> None:
    freq_hz, s = duplexer
    sweeps = [sweep_of(hookup, freq_hz, seen_between(hookup, 0.1, freq_hz, s)) for hookup in HOOKUPS]
    for some, loads in ((sweeps, None), (sweeps[:2], alike(0.1, freq_hz))):
        corrected = correct(some, loads)
        assert corrected.consistency is None
        assert tuple(corrected.sweeps.values()) == tuple(some)


def test_magnitudes_stay_as_they_are_since_loads_are_taken_out_by_phases(
    duplexer: tuple[np.ndarray, np.ndarray], sweep_of: Callable[..., Sweep]
) -> None:
    freq_hz, s = duplexer
    sweeps = [
        replace(sweep_of(hookup, freq_hz, abs(seen_between(hookup, 0j, freq_hz, s)) + 0j), phase=False)
        for hookup in HOOKUPS
    ]
    found = correct(sweeps, alike(0.1, freq_hz))
    assert found.consistency is None
    assert all(found.sweeps[sweep.hookup] is sweep for sweep in sweeps)


def test_sweeps_on_different_grids_are_refused_not_interpolated(
    duplexer: tuple[np.ndarray, np.ndarray], sweep_of: SweepOf
) -> None:
    freq_hz, s = duplexer
    sweeps = [sweep_of(hookup, freq_hz, seen_between(hookup, 0.1, freq_hz, s)) for hookup in HOOKUPS]
    sweeps[2] = replace(sweeps[2], freq_hz=freq_hz + 1.0)
    with pytest.raises(ValueError, match="different frequencies"):
        correct(sweeps, alike(0.1, freq_hz))
