"""Reasons to doubt the hook-up, from the sweeps themselves: asked before anything is judged.

A cabling mistake must never fail a unit, and a bad unit must not be taken for a cabling mistake. So every check
asks for what no unit that is hooked up as told can do, however badly it is tuned: a cavity off, a wrong jumper, a
low Q or a displaced notch moves some decibels, a wrong cable moves tens of them. CHECKS is the list, each threshold
stands here with its reason. Whether sweeps of one run are of one and the same unit is asked in `agreement.py`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from limits.quantity import Channels
from station.measurements.agreement import contradiction, same_as_before
from station.measurements.doubt import Doubt, Evidence
from station.measurements.sweep import Port, Sweep
from station.measurements.view import decibels_down

LARGEST_SINGULAR_VALUE = 1.02
"""A passive unit gives no more than it gets: no singular value of S exceeds 1. Measured passive filters show up to
1.0005, and noise and residual test-port errors of a calibrated bench add up to about 0.01 (common practice, no
source)."""

LARGEST_ONE_WAY = 0.06
"""A unit without ferrites passes as much one way as the other. Measured passive filters differ by up to 1.3e-3; test
ports whose source and load match are 38 dB after calibration make 0.025 of nothing on the slope of a UHF unit (twice
their size, where one port is matched and the other is not), 32 dB ones 0.05; cables that move 0.01 (common practice,
no source)."""

LEAST_RETURN_LOSS_DB = 1.0
"""An open or shorted cable end sends back nearly everything; a port of a unit, even a badly tuned one, takes
something in at some frequency of a sweep over its channels (common practice, no source)."""

PASSES_DB = 10.0
"""A path that passes a channel, even one with a cavity off by a quarter of the spacing or a tenth of its Q left,
loses less than this somewhere near it: at most 5.4 dB in 600 paths of simulated units, half of them defective."""

STOPS_DB = 20.0
"""A path that stops a channel is at least this deep all around it: one pass-reject cavity alone gives 20 dB and more
(33 dB in a VHF one; common practice, no source), and a path has two."""

DEAF_DB = 3.0
"""The TX and the RX port take something in near their own channels, however badly tuned: 5.4 dB return loss and more
in 600 simulated sides, half of them in defective units; a side tuned to another pair of channels gives 0.1 dB."""

TURNED = 0.3
"""Of the power that the TX port takes in near the TX channel beyond what it takes in near the RX channel, in which
the RX port is its mirror and ANT is alike at both: neighbours in a hook-up differ by about 0.9."""

MOVED = 0.15
"""Share of the spacing by which match and notch of a path must both have moved, the same way and by the same
amount, to be another order's: no single cavity, jumper or coupling moves both."""

MISMATCHED_DB = 15.0
"""Return loss at its own channel below which a side may be tuned to another one: 9 dB at a quarter of the spacing
in a simulated VHF unit. What is matched there is no other order's, wherever its best match lies."""

MOVED_ALIKE = 0.4
"""Share of the larger of two such shifts by which they may differ."""


Check = Callable[[Evidence], Doubt | None]


def doubt_about(
    sweep: Sweep, earlier: Sequence[Sweep], channels: Channels, checks: tuple[Check, ...] | None = None
) -> Doubt | None:
    """The first reason to doubt a hook-up; None when there is nothing to doubt.

    `earlier` are the sweeps of the same run that were not doubted; `checks` are those of a duplexer unless others
    are given.
    """
    evidence = Evidence(sweep, tuple(earlier), channels)
    for check in CHECKS if checks is None else checks:
        if found := check(evidence):
            return found
    return None


def nothing_connected(evidence: Evidence) -> Doubt | None:
    sweep = evidence.sweep
    ports = sweep.hookup.ports
    dead = [port for port in ports if decibels_down(sweep.parameter(port, port)).max() < LEAST_RETURN_LOSS_DB]
    if not dead:
        return None
    return evidence.doubt(
        f"nothing is taken in at {' and '.join(dead)}, as if no unit were connected there, or one that is tuned to "
        "quite other channels. Check the cables and the serial number."
    )


def _gain(evidence: Evidence) -> Doubt | None:
    sweep = evidence.sweep
    largest = np.linalg.svd(sweep.s, compute_uv=False)[:, 0]
    worst = int(np.argmax(largest))
    if largest[worst] <= LARGEST_SINGULAR_VALUE:
        return None
    gain_db = 20 * np.log10(largest[worst])
    return evidence.doubt(
        f"the unit seems to give {gain_db:.2f} dB more than it gets at {sweep.freq_hz[worst] / 1e6:.4f} MHz. "
        "Check the analyzer's calibration and that the cables are tight."
    )


def _one_way(evidence: Evidence) -> Doubt | None:
    sweep = evidence.sweep
    apart = np.abs(sweep.s[:, 1, 0] - sweep.s[:, 0, 1])
    worst = int(np.argmax(apart))
    if apart[worst] <= LARGEST_ONE_WAY:
        return None
    return evidence.doubt(
        f"the unit does not pass the same both ways at {sweep.freq_hz[worst] / 1e6:.4f} MHz: the two transmissions "
        f"differ by {apart[worst]:.3f}. Check that the cables are tight and lie still, and the calibration."
    )


def other_channels(evidence: Evidence) -> Doubt | None:
    """Match and notch of a path both moved, the same way and as far."""
    sweep, channels = evidence.sweep, evidence.channels
    hookup = sweep.hookup
    if hookup.idle == "ANT":
        return None
    own: Port = "RX" if hookup.idle == "TX" else "TX"
    passed, stopped = (channels.tx_hz, channels.rx_hz) if own == "TX" else (channels.rx_hz, channels.tx_hz)
    through_db = decibels_down(sweep.parameter("ANT", own))
    matched_db = decibels_down(sweep.parameter(own, own))
    deepest = int(np.argmax(through_db))
    # At an edge of the sweep lies no notch, only the end of the skirt of a path that has none.
    has_notch = 0 < deepest < len(through_db) - 1
    if not has_notch or np.interp(passed, sweep.freq_hz, matched_db) >= MISMATCHED_DB:
        return None
    match_hz = sweep.freq_hz[int(np.argmax(matched_db))] - passed
    notch_hz = sweep.freq_hz[deepest] - stopped
    least = MOVED * evidence.spacing_hz
    alike = abs(match_hz - notch_hz) <= MOVED_ALIKE * max(abs(match_hz), abs(notch_hz))
    if min(abs(match_hz), abs(notch_hz)) < least or not alike:
        return None
    return evidence.doubt(
        f"the {own} side is tuned about {(match_hz + notch_hz) / 2e3:+.0f} kHz away from this order's channels, "
        "pass and notch alike. Check the serial number: this may be a unit of another order."
    )


def wrong_path(evidence: Evidence) -> Doubt | None:
    """Each hook-up passes one channel, or none; a wrong port passes another."""
    sweep, hookup = evidence.sweep, evidence.sweep.hookup
    loss_db = decibels_down(sweep.parameter(hookup.second, hookup.first))
    near = evidence.near_channels(loss_db, np.min)
    if near is None:
        return None
    at_tx, at_rx = near
    passes = {"RX": at_tx < PASSES_DB and at_tx < at_rx, "TX": at_rx < PASSES_DB and at_rx < at_tx}
    seen = next(
        (idle for idle, yes in passes.items() if yes), "ANT" if min(at_tx, at_rx) > STOPS_DB else None
    )
    if seen is None or seen == hookup.idle:
        return None
    known = {"RX": "the TX channel, as TX-ANT does", "TX": "the RX channel, as ANT-RX does"}
    path = f"passes {known[seen]}" if seen in known else "passes neither channel, as TX-RX does"
    return evidence.doubt(
        f"the path {path}. Check which cable is on which port, that both are on, and that TX and RX are not "
        "exchanged."
    )


def _turned_round(evidence: Evidence) -> Doubt | None:
    """TX takes in power near its channel and none near the other, RX the other way round, ANT near both."""
    sweep, hookup = evidence.sweep, evidence.sweep.hookup
    towards_tx = []
    for port in (hookup.first, hookup.second):
        taken = 1.0 - np.abs(sweep.parameter(port, port)) ** 2
        near = evidence.near_channels(taken, np.max)
        if near is None:
            return None
        towards_tx.append(near[0] - near[1])
    if towards_tx[0] - towards_tx[1] >= -TURNED:
        return None
    return evidence.doubt(
        f"analyzer port 1 seems to be on {hookup.second} and port 2 on {hookup.first}. Check whether the two cables "
        "are exchanged."
    )


def deaf_at_its_channel(evidence: Evidence) -> Doubt | None:
    for port in evidence.sweep.hookup.ports:
        near = evidence.near_channels(decibels_down(evidence.sweep.parameter(port, port)), np.max)
        if port == "ANT" or near is None:
            continue
        if (near[0] if port == "TX" else near[1]) < DEAF_DB:
            return evidence.doubt(
                f"{port} takes nothing in anywhere near its channel. Check cables and load, and by the serial number "
                "whether this is a unit of another order; if all is right, the unit itself is broken."
            )
    return None


CHECKS: tuple[Check, ...] = (
    _gain,
    _one_way,
    nothing_connected,
    same_as_before,
    other_channels,
    wrong_path,
    _turned_round,
    contradiction,
    deaf_at_its_channel,
)
"""In this order, and the first that speaks is told: what comes later is often the same mistake in vaguer words."""

ANY_PASSIVE: tuple[Check, ...] = (_gain, _one_way, nothing_connected, contradiction)
"""What is asked of a device that is no duplexer, such as a check standard: its paths may all be alike."""
