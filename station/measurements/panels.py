"""The pictures of a unit: which traces belong together, over which window of frequency and dB."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from limits.quantity import Channels
from reports.record import Panel, Trace
from station.measurements.sweep import HOOKUPS, Hookup, Sweep
from station.measurements.view import View, look

TX_ANT, ANT_RX, TX_RX = HOOKUPS


def draw_panels(sweeps: Mapping[Hookup, Sweep], channels: Channels) -> tuple[Panel, ...]:
    """Three pictures, as far as they were swept: isolation with what each path rejects, pass bands, return loss."""
    near = _near(channels)
    paths = [
        look(sweeps[hookup], hookup.second, hookup.first) for hookup in (TX_ANT, ANT_RX) if hookup in sweeps
    ]
    isolation = [look(sweeps[TX_RX], "RX", "TX")] if TX_RX in sweeps else []
    ports = _ports(sweeps, channels)
    panels = [
        _panel("Isolation and rejection", [*paths, *isolation], None, None),
        _panel("Pass bands", paths, near, _pass_window(paths, channels)),
        _panel("Return loss", ports, near, _match_window(ports)),
    ]
    return tuple(panel for panel in panels if panel)


def _ports(sweeps: Mapping[Hookup, Sweep], channels: Channels) -> list[View]:
    """Every port in the hook-up with its own pass path: only there is the other port terminated by the analyzer.

    ANT appears in two hook-ups; each is shown on its own channel's side, so that ANT reads as one trace.
    """
    middle_hz = (channels.tx_hz + channels.rx_hz) / 2
    views = []
    for hookup, channel_hz in ((TX_ANT, channels.tx_hz), (ANT_RX, channels.rx_hz)):
        if hookup in sweeps:
            for port in (hookup.first, hookup.second):
                # "TX" alone would read as the channel that is marked above the picture.
                view = replace(look(sweeps[hookup], port, port), subject=f"{port} port")
                shown = _side(view, middle_hz, channel_hz) if port == "ANT" else view
                views += [shown] if shown else []
    return views


def _side(view: View, middle_hz: float, channel_hz: float) -> View | None:
    """What was swept on a channel's side of the middle; None where that is nothing."""
    low_hz, high_hz = float(view.freq_hz[0]), float(view.freq_hz[-1])
    if channel_hz < middle_hz:
        high_hz = min(high_hz, middle_hz)
    else:
        low_hz = max(low_hz, middle_hz)
    return view.over(low_hz, high_hz) if low_hz < high_hz else None


def _near(channels: Channels) -> tuple[float, float]:
    """Half a spacing beyond both channels: as wide as the pass bands are told apart by eye."""
    low_hz, high_hz = sorted((channels.tx_hz, channels.rx_hz))
    beyond = (high_hz - low_hz) / 2
    return low_hz - beyond, high_hz + beyond


def _pass_window(paths: list[View], channels: Channels) -> tuple[float, float]:
    """From 0 dB to about three times the loss in the channels, so that a limit line has room below the trace."""
    in_channel = [_least_loss(view, channels) for view in paths]
    return 0.0, float(np.ceil(max([1.5, *in_channel]) * 3))


def _match_window(ports: list[View]) -> tuple[float, float]:
    """From 0 dB to the deepest match in full tens: 30 dB at least, and 50 dB at most, for beyond nobody asks."""
    deepest = max((float(view.db.max()) for view in ports), default=0.0)
    return 0.0, min(50.0, max(30.0, float(np.ceil(deepest / 10) * 10)))


def _least_loss(view: View, channels: Channels) -> float:
    """In the channel that the path passes; over all of the sweep where it reaches neither channel."""
    low_hz, high_hz = view.freq_hz[0], view.freq_hz[-1]
    swept = [freq_hz for freq_hz in (channels.tx_hz, channels.rx_hz) if low_hz <= freq_hz <= high_hz]
    return min((view.at(freq_hz) for freq_hz in swept), default=float(view.db.min()))


def _panel(
    title: str,
    views: list[View],
    freq_hz: tuple[float, float] | None,
    value: tuple[float, float] | None,
) -> Panel | None:
    if not views:
        return None
    low_hz = min(view.freq_hz[0] for view in views)
    high_hz = max(view.freq_hz[-1] for view in views)
    if freq_hz and low_hz < freq_hz[1] and high_hz > freq_hz[0]:
        low_hz, high_hz = max(low_hz, freq_hz[0]), min(high_hz, freq_hz[1])
    deepest = max(float(view.db.max()) for view in views)
    return Panel(
        title=title,
        unit="dB",
        traces=tuple(Trace(view.name, view.subject, view.freq_hz, view.db) for view in views),
        freq_hz=(float(low_hz), float(high_hz)),
        value=value or (0.0, float(np.ceil(deepest / 10) * 10)),
    )
