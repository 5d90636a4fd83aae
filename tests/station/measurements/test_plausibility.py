"""A sweep that no unit can give that is hooked up as told is doubted; real data and bad units are not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from fixtures_sim.units import build_unit, defect_from
from limits.quantity import Channels
from station.measurements.doubt import Doubt
from station.measurements.plausibility import doubt_about
from station.measurements.sweep import HOOKUPS, Hookup, Sweep

CHANNELS = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
FREQ_HZ = np.arange(154.1e6, 159.9e6, 25e3)
TX_ANT, ANT_RX, TX_RX = HOOKUPS
SweepOf = Callable[[Hookup, np.ndarray, np.ndarray], Sweep]


CAREFUL = {"kind": "tolerance", "percent": 30}


def _three_port(shift_hz: float = 0.0, *defects: dict[str, object]) -> np.ndarray:
    """A unit of the simulator, built with care and perhaps for other channels, shape (n, 3, 3)."""
    wrong = tuple(defect_from(entry) for entry in (CAREFUL, *defects))
    return build_unit("SK-V4", "SKV-1", 156.6e6 + shift_hz, 157.4e6 + shift_hz, 1, wrong).s(FREQ_HZ)


PORT_INDEX = {"TX": 0, "ANT": 1, "RX": 2}


@pytest.fixture
def cabled(sweep_of: SweepOf) -> Callable[..., Sweep]:
    """The sweep of a hook-up whose cables are on these ports."""

    def make(hookup: Hookup, first: str = "", second: str = "", s: np.ndarray | None = None) -> Sweep:
        used = [PORT_INDEX[first or hookup.first], PORT_INDEX[second or hookup.second]]
        whole = _three_port() if s is None else s
        return sweep_of(hookup, FREQ_HZ, whole[:, used][:, :, used].copy())

    return make


def _words(doubt: Doubt | None) -> str:
    assert doubt is not None, "nothing was doubted"
    return doubt.words


def test_a_measured_filter_is_not_doubted(measured_sweep: Sweep) -> None:
    """Its largest singular value is 1.0005, and it passes the two ways alike to 1.3e-3: real data are not ideal."""
    assert np.linalg.svd(measured_sweep.s, compute_uv=False).max() > 1.0
    middle_hz = float(measured_sweep.freq_hz.mean())
    assert doubt_about(measured_sweep, (), Channels(tx_hz=middle_hz, rx_hz=10 * middle_hz)) is None


def test_three_hook_ups_as_told_are_not_doubted(cabled: Callable[..., Sweep]) -> None:
    earlier: list[Sweep] = []
    for hookup in HOOKUPS:
        sweep = cabled(hookup)
        assert doubt_about(sweep, earlier, CHANNELS) is None
        earlier.append(sweep)


def test_gain_from_a_passive_unit_is_told_with_place_and_remedy(cabled: Callable[..., Sweep]) -> None:
    sweep = cabled(TX_ANT)
    doubt = doubt_about(replace(sweep, s=sweep.s * 1.3), (), CHANNELS)
    assert "TX-ANT, load on RX" in _words(doubt)
    assert "dB more than it gets" in _words(doubt)
    assert "calibration" in _words(doubt)


def test_a_path_that_differs_one_way_is_told(cabled: Callable[..., Sweep]) -> None:
    sweep = cabled(TX_ANT)
    sweep.s[:, 0, 1] *= 0.9
    assert "does not pass the same both ways" in _words(doubt_about(sweep, (), CHANNELS))


def test_cables_that_hang_open_are_told_as_no_unit(cabled: Callable[..., Sweep]) -> None:
    sweep = cabled(ANT_RX)
    sweep.s[:] = 0.99 * np.eye(2)
    assert "nothing is taken in at ANT and RX" in _words(doubt_about(sweep, (), CHANNELS))
    one = cabled(ANT_RX)
    one.s[:, 1, 1] = 0.99
    one.s[:, 0, 1] = one.s[:, 1, 0] = 0
    assert "nothing is taken in at RX" in _words(doubt_about(one, (), CHANNELS))


WRONG = [
    (TX_ANT, "RX", "ANT", "passes the RX channel, as ANT-RX does"),
    (TX_ANT, "TX", "RX", "passes neither channel, as TX-RX does"),
    (ANT_RX, "ANT", "TX", "passes the TX channel, as TX-ANT does"),
    (TX_RX, "TX", "ANT", "passes the TX channel, as TX-ANT does"),
    (TX_RX, "ANT", "RX", "passes the RX channel, as ANT-RX does"),
    (TX_ANT, "ANT", "TX", "port 1 seems to be on ANT and port 2 on TX"),
    (ANT_RX, "RX", "ANT", "port 1 seems to be on RX and port 2 on ANT"),
    (TX_RX, "RX", "TX", "port 1 seems to be on RX and port 2 on TX"),
]


@pytest.mark.parametrize(("hookup", "first", "second", "told"), WRONG)
def test_cables_on_wrong_ports_are_told_as_what_they_look_like(
    cabled: Callable[..., Sweep], hookup: Hookup, first: str, second: str, told: str
) -> None:
    doubt = doubt_about(cabled(hookup, first, second), (), CHANNELS)
    assert told in _words(doubt)
    assert doubt is not None
    assert doubt.hookups == (hookup,)


def test_a_hook_up_that_nobody_re_cabled_is_told_by_the_one_it_repeats(cabled: Callable[..., Sweep]) -> None:
    doubt = doubt_about(cabled(ANT_RX, "TX", "ANT"), (cabled(TX_ANT),), CHANNELS)
    assert "the sweep is that of TX-ANT over again" in _words(doubt)


@pytest.mark.parametrize("hookup", [TX_ANT, ANT_RX])
def test_a_unit_of_another_order_is_told_with_how_far_it_is_off(
    cabled: Callable[..., Sweep], hookup: Hookup
) -> None:
    shifted = cabled(hookup, s=_three_port(300e3))
    words = _words(doubt_about(shifted, (), CHANNELS))
    assert 250 < float(words.split("about ")[1].split(" kHz")[0]) < 350
    assert "away from this order's channels" in words
    assert "Check the serial number" in words


def test_a_port_that_takes_nothing_in_near_its_channel_is_told(cabled: Callable[..., Sweep]) -> None:
    """As a unit does that passes the same way for another reason, one of another order with TX above RX."""
    sweep = cabled(TX_ANT)
    near = abs(FREQ_HZ - CHANNELS.tx_hz) < 0.3e6
    sweep.s[near, 0, 0] = 0.9
    sweep.s[near, 1, 0] *= 0.4
    sweep.s[near, 0, 1] *= 0.4
    far = abs(FREQ_HZ - 155e6) < 0.2e6
    sweep.s[far, 0, 0] = 0.2
    assert "TX takes nothing in anywhere near its channel" in _words(doubt_about(sweep, (), CHANNELS))


def test_a_side_whose_pass_alone_is_off_is_no_other_order(cabled: Callable[..., Sweep]) -> None:
    """Both its cavities 200 kHz off are the unit's fault, and its own verdict."""
    off = [{"kind": "pass off", "cavity": cavity, "khz": 200} for cavity in (1, 2)]
    assert doubt_about(cabled(TX_ANT, s=_three_port(0.0, *off)), (), CHANNELS) is None


def test_a_port_that_looks_otherwise_sends_both_hook_ups_back(cabled: Callable[..., Sweep]) -> None:
    """Either may have the load missing or a cable that is not tight."""
    before = cabled(TX_ANT)
    before.s[:, 1, 1] += 0.3 * np.exp(-(((FREQ_HZ - 157.4e6) / 1e5) ** 2))
    doubt = doubt_about(cabled(ANT_RX), (before,), CHANNELS)
    assert "ANT looks otherwise than in TX-ANT, by 0.30 at 157.4000 MHz" in _words(doubt)
    assert doubt is not None
    assert doubt.hookups == (TX_ANT, ANT_RX)


def test_a_hook_up_that_two_others_speak_against_is_sent_back_alone(cabled: Callable[..., Sweep]) -> None:
    sweep = cabled(TX_RX)
    sweep.s[:, 0, 0] *= 0.7
    sweep.s[:, 1, 1] *= 0.7
    doubt = doubt_about(sweep, (cabled(TX_ANT), cabled(ANT_RX)), CHANNELS)
    assert doubt is not None
    assert doubt.hookups == (TX_RX,)


def test_sweeps_that_share_no_frequencies_are_not_compared(cabled: Callable[..., Sweep]) -> None:
    before = cabled(TX_ANT)
    moved = replace(before, freq_hz=before.freq_hz + 7e3, s=before.s * 0.7)
    assert doubt_about(cabled(ANT_RX), (moved,), CHANNELS) is None
