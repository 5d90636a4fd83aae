"""The pictures of a unit show what was swept, each port where it is terminated."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from limits.quantity import Channels
from station.measurements.panels import draw_panels
from station.measurements.sweep import HOOKUPS, Hookup, Sweep

CHANNELS = Channels(tx_hz=156.6e6, rx_hz=157.4e6)
SweepOf = Callable[[Hookup, np.ndarray, np.ndarray], Sweep]


@pytest.fixture
def sweeps(sweep_of: SweepOf) -> dict[Hookup, Sweep]:
    """A hook-up each, told apart by a reflection of 0.1, 0.2, 0.3."""
    freq_hz = np.linspace(154e6, 160e6, 601)
    made = {}
    for number, hookup in enumerate(HOOKUPS, start=1):
        s = np.full((601, 2, 2), 0.8, complex)
        s[:, 0, 0] = s[:, 1, 1] = number / 10
        made[hookup] = sweep_of(hookup, freq_hz, s)
    return made


def test_three_pictures_of_a_whole_unit(sweeps: dict[Hookup, Sweep]) -> None:
    panels = draw_panels(sweeps, CHANNELS)
    assert [panel.title for panel in panels] == ["Isolation and rejection", "Pass bands", "Return loss"]
    assert [trace.name for trace in panels[0].traces] == ["TX-ANT", "ANT-RX", "TX-RX"]
    assert [trace.name for trace in panels[1].traces] == ["TX-ANT", "ANT-RX"]
    assert panels[1].freq_hz == (156.2e6, 157.8e6)


def test_ant_is_shown_from_each_hook_up_on_that_channels_side(sweeps: dict[Hookup, Sweep]) -> None:
    ant = [trace for trace in draw_panels(sweeps, CHANNELS)[-1].traces if trace.title == "ANT port"]
    assert [(trace.freq_hz[0], trace.freq_hz[-1]) for trace in ant] == [(154e6, 157e6), (157e6, 160e6)]
    assert [trace.value[0] for trace in ant] == pytest.approx([20.0, 13.979], abs=1e-3)


def test_what_was_not_swept_is_not_shown(sweeps: dict[Hookup, Sweep]) -> None:
    only = {HOOKUPS[0]: sweeps[HOOKUPS[0]]}
    assert [panel.title for panel in draw_panels(only, CHANNELS)] == [
        "Isolation and rejection",
        "Pass bands",
        "Return loss",
    ]


@pytest.mark.parametrize("around_hz", [CHANNELS.tx_hz, CHANNELS.rx_hz, 150e6], ids=["TX", "RX", "neither"])
def test_a_sweep_that_does_not_reach_both_channels_is_drawn_as_far_as_it_goes(
    around_hz: float, sweep_of: SweepOf
) -> None:
    freq_hz = np.linspace(around_hz - 100e3, around_hz + 100e3, 201)
    short = {hookup: sweep_of(hookup, freq_hz, np.full((201, 2, 2), 0.5, complex)) for hookup in HOOKUPS}
    panels = draw_panels(short, CHANNELS)
    assert [panel.title for panel in panels] == ["Isolation and rejection", "Pass bands", "Return loss"]
    for panel in panels:
        assert panel.freq_hz == (freq_hz[0], freq_hz[-1])
        assert all(len(trace.freq_hz) == 201 for trace in panel.traces)
    assert [trace.title for trace in panels[-1].traces].count("ANT port") == 1


def test_a_path_swept_over_one_channel_sets_the_window_by_what_it_loses_there(
    sweeps: dict[Hookup, Sweep], sweep_of: SweepOf
) -> None:
    freq_hz = np.linspace(154e6, 157e6, 301)
    deep = np.full((301, 2, 2), 0.8, complex)
    only_tx = {**sweeps, HOOKUPS[0]: sweep_of(HOOKUPS[0], freq_hz, deep)}
    assert draw_panels(only_tx, CHANNELS)[1].value == (0.0, 6.0)


def test_traces_of_return_loss_are_named_as_ports_and_never_as_channels(sweeps: dict[Hookup, Sweep]) -> None:
    titles = [trace.title for trace in draw_panels(sweeps, CHANNELS)[-1].traces]
    assert titles == ["TX port", "ANT port", "ANT port", "RX port"]


@pytest.mark.parametrize(("reflection", "deepest_db"), [(0.1, 30.0), (0.02, 40.0), (0.0001, 50.0)])
def test_return_loss_is_shown_from_none_to_the_deepest_match_in_full_tens(
    reflection: float, deepest_db: float, sweep_of: SweepOf
) -> None:
    """0.1 is 20 dB, 0.02 is 34 dB, 0.0001 is 80 dB."""
    freq_hz = np.linspace(154e6, 160e6, 301)
    alike = {
        hookup: sweep_of(hookup, freq_hz, np.full((301, 2, 2), reflection, complex)) for hookup in HOOKUPS
    }
    assert draw_panels(alike, CHANNELS)[-1].value == (0.0, deepest_db)
