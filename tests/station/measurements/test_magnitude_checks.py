"""What magnitudes show of a mistake in cabling, and in which words; a bench without errors, a simulated unit."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from fixtures_sim.cabling import Cabling, between_cables
from fixtures_sim.units import build_unit
from limits.quantity import Channels
from station.measurements.magnitude_checks import MAGNITUDE_CHECKS
from station.measurements.plausibility import doubt_about
from station.measurements.sweep import HOOKUPS, SINGLES, Hookup, Sweep, SweepSettings

CHANNELS = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
FREQ_HZ = 156.6e6 + 10e3 * np.arange(-250, 331)
WHEN = datetime(2025, 3, 31, tzinfo=UTC)
TX_ANT, ANT_RX, TX_RX = HOOKUPS
TX, ANT, RX = SINGLES


def swept(told, cabled=None, bare=()):
    """A hook-up that was told, over what was really cabled."""
    unit = build_unit("SK-V4", "SKV-0001", CHANNELS.tx_hz, CHANNELS.rx_hz, 1)
    cabling = Cabling(unit, (cabled or told).ports, bare=bare)
    size = np.abs(between_cables(cabling, {}, FREQ_HZ, 23.0)).astype(complex)
    ports = len(told.ports)
    s = np.full((len(FREQ_HZ), ports, ports), complex(np.nan, np.nan))
    if ports == 1:
        # a cable in place of the bridge hangs as good as open before it
        s[:, 0, 0] = size[:, 0, 0] if cabling.test_ports == 1 else size[:, 1, 0]
    else:
        s[:, 1, 0] = s[:, 0, 1] = size[:, 1, 0]
    return Sweep(told, FREQ_HZ, s, SweepSettings(1e3, 1, 0.0), WHEN, 0.1, phase=False)


def doubt(sweep, *earlier):
    return doubt_about(sweep, earlier, CHANNELS, MAGNITUDE_CHECKS)


def test_a_unit_that_is_hooked_up_as_told_is_not_doubted():
    sweeps = [swept(hookup) for hookup in (*HOOKUPS, *SINGLES)]
    assert [doubt(sweep, *sweeps[:place]) for place, sweep in enumerate(sweeps)] == [None] * 6


MISTAKES = [
    ("TX and RX exchanged in a path", swept(TX_ANT, Hookup("RX", "ANT")), (), "passes the RX channel"),
    ("a cable that is not on", swept(ANT_RX, bare=("ANT",)), (), "passes neither channel"),
    ("the bridge on RX instead of TX", swept(TX, RX), (), "near the channel that TX stops"),
    ("the bridge on TX instead of ANT", swept(ANT, TX), (), "ANT takes nothing in near one of the channels"),
    ("the bridge not on", swept(RX, bare=("RX",)), (), "nothing is taken in at RX"),
    ("the bridge left where it was", swept(RX, TX), (swept(TX),), "that of TX over again"),
    ("the cables left where they were", swept(TX, TX_RX), (), "reflect next to nothing"),
    ("no loads beside the bridge", swept(TX, bare=("ANT", "RX")), (swept(TX_ANT),), "times the power"),
]


@pytest.mark.parametrize(("what", "sweep", "earlier", "words"), MISTAKES, ids=[each[0] for each in MISTAKES])
def test_a_mistake_is_told(what, sweep, earlier, words):
    found = doubt(sweep, *earlier)
    assert found is not None
    assert words in found.words
    assert sweep.hookup in found.hookups


def test_a_unit_of_another_order_is_told_once_path_and_port_were_swept():
    other = Channels(tx_hz=CHANNELS.tx_hz + 0.3e6, rx_hz=CHANNELS.rx_hz + 0.3e6)
    found = doubt_about(swept(TX), (swept(TX_ANT),), other, MAGNITUDE_CHECKS)
    assert found is not None
    assert "the TX side is tuned about -3" in found.words
    assert "kHz away from this order's channels" in found.words


def test_an_isolation_that_the_two_paths_to_ant_cannot_make_is_told():
    """Without a load ANT sends everything back, and the isolation is 6 dB less than the product of the two paths."""
    found = doubt(swept(ANT), swept(TX_ANT), swept(ANT_RX), swept(TX_RX, bare=("ANT",)))
    assert found is not None
    assert "do not fit together" in found.words
    assert found.hookups == (TX_RX,)
