"""Reasons to doubt a hook-up on a bench that knows magnitudes alone: of pairs one transmission, of single ports one
reflection.

What magnitudes cannot show is not asked: the two cables of a path exchanged (which changes no reading of it), a
contact that is a little loose, a load missing where nothing comes through. What they can show is asked as in
`plausibility.py`: no unit that is hooked up as told can do what is doubted here, however badly it is tuned.
"""

from __future__ import annotations

import numpy as np

from limits.reading import FloatArray
from station.measurements.agreement import FEWEST_SHARED
from station.measurements.doubt import Doubt, Evidence
from station.measurements.normalisation import composed
from station.measurements.plausibility import (
    Check,
    deaf_at_its_channel,
    nothing_connected,
    other_channels,
    wrong_path,
)
from station.measurements.sweep import HOOKUPS, SINGLES, Hookup, Port, Sweep
from station.measurements.view import decibels_down

MOST_POWER = 1.25
"""Of what goes into a port, all that comes back there and out of the others together: 1 at most in truth. Mismatch of
20 dB and a bridge of 35 dB directivity and 25 dB match read up to 1.19 in 200 simulated units, half of them
defective; a port that is left bare gives 1.5 and more."""

SAME_SWEEP = 0.02
"""Two sweeps of single ports that differ by less at every frequency are of one port: the same port reads alike to
0.005, two ports of a duplexer differ by nearly 1 (common practice, no source)."""

REFLECTS = 0.5
"""What every port of a duplexer reflects somewhere in a sweep over its channels: it stops one of them, or what lies
beyond both (common practice, no source)."""

REFUSED_DB = 10.0
"""Return loss that TX and RX stay below near the other's channel, which they stop: 6.6 dB at most in 400 simulated
sides; ANT has 15 dB and more there."""

TEE_DB, TEE_ANY_DB = 3.5, 7.0
"""By how much the isolation may be off what the two paths to ANT make of it: of a unit whose paths pass well, 1.3 dB
in 180 simulated ones; of any unit, since a loose contact inside it is no part of the rule, 5.9 dB in 180."""

PASSES_WELL_DB = 2.2
"""Loss below which a path has no loose contact."""

TEE_DEEPEST_DB = 80.0
"""Down to here the noise of a scalar bench leaves transmissions alone."""

NEIGHBOURS = 7
"""Points whose median is taken, so that a single noisy one says nothing."""

TX, ANT, RX = SINGLES


def _transmission(evidence: Evidence) -> bool:
    return len(evidence.sweep.hookup.ports) == 2


def _of_pairs(check: Check) -> Check:
    return lambda evidence: check(evidence) if _transmission(evidence) else None


def _of_singles(check: Check) -> Check:
    return lambda evidence: None if _transmission(evidence) else check(evidence)


def _all(evidence: Evidence) -> dict[Hookup, Sweep]:
    return {each.hookup: each for each in (*evidence.earlier, evidence.sweep)}


def _too_much_power(evidence: Evidence) -> Doubt | None:
    sweep, known = evidence.sweep, _all(evidence)
    for port in sweep.hookup.ports:
        parts = [each for hookup, each in known.items() if port in hookup.ports]
        power = np.sum([_power_from(each, port) for each in parts], axis=0)
        worst = int(np.argmax(power))
        if power[worst] <= MOST_POWER:
            continue
        others = [each.hookup for each in parts if each is not sweep]
        beside = f" together with {' and '.join(each.name for each in others)}" if others else ""
        return Doubt(
            f"hook-up {sweep.hookup}:{beside} {power[worst]:.2f} times the power that goes into {port} comes out "
            f"again at {sweep.freq_hz[worst] / 1e6:.4f} MHz. Check that bridge and cables are on the ports that were "
            "told, and that loads are on all others.",
            (*others, sweep.hookup),
        )
    return None


def _power_from(sweep: Sweep, port: Port) -> FloatArray:
    """What of the power into a port comes out in this sweep, shape (n,)."""
    to = next((other for other in sweep.hookup.ports if other != port), port)
    return np.asarray(np.abs(sweep.parameter(to, port)) ** 2, dtype=np.float64)


def _same_port(evidence: Evidence) -> Doubt | None:
    sweep = evidence.sweep
    others = [
        before
        for before in evidence.earlier
        if len(before.hookup.ports) == 1 and before.hookup != sweep.hookup
    ]
    for before in others if len(sweep.freq_hz) >= FEWEST_SHARED else ():
        if np.abs(sweep.s - before.s).max() < SAME_SWEEP:
            return evidence.doubt(
                f"the sweep is that of {before.hookup.name} over again. Move the bridge to this hook-up's port."
            )
    return None


def _reflects_nothing(evidence: Evidence) -> Doubt | None:
    sweep = evidence.sweep
    (port,) = sweep.hookup.ports
    size = np.abs(sweep.s[:, 0, 0])
    if evidence.near_channels(size, np.max) is None or size.max() >= REFLECTS:
        return None
    return evidence.doubt(
        f"{port} seems to reflect next to nothing at any frequency. Check that the bridge is in the line, and its "
        f"test port on {port}."
    )


def _takes_in_the_other(evidence: Evidence) -> Doubt | None:
    sweep = evidence.sweep
    (port,) = sweep.hookup.ports
    near = evidence.near_channels(decibels_down(sweep.s[:, 0, 0]), np.max)
    if near is None or port == "ANT":
        return None
    if (near[1] if port == "TX" else near[0]) < REFUSED_DB:
        return None
    return evidence.doubt(
        f"the port takes in power near the channel that {port} stops. Check that the bridge is on {port}."
    )


def _antenna_is_deaf(evidence: Evidence) -> Doubt | None:
    sweep = evidence.sweep
    near = evidence.near_channels(decibels_down(sweep.s[:, 0, 0]), np.max)
    if near is None or sweep.hookup != ANT or min(near) >= 3.0:
        return None
    return evidence.doubt("ANT takes nothing in near one of the channels. Check that the bridge is on ANT.")


def _other_channels(evidence: Evidence) -> Doubt | None:
    """As of complex sweeps, once a path to ANT and the port at its other end have both been swept."""
    known = _all(evidence)
    for path, port in ((HOOKUPS[0], TX), (HOOKUPS[1], RX)):
        if evidence.sweep.hookup in (path, port) and path in known and port in known:
            pair = next(each for each in composed([known[path], known[port]]) if each.hookup == path)
            return other_channels(Evidence(pair, (), evidence.channels))
    return None


def _not_one_tee(evidence: Evidence) -> Doubt | None:
    """At a tee the isolation is the product of the two paths to ANT over |1 + S_AA|, whatever the filters are.

    For the wave at the tee goes on to ANT and to RX alike, and from ANT to RX it is the same wave again, stronger by
    1 + S_AA (own derivation). A load that was missing while one of the three was swept breaks it: on ANT near both
    channels, on RX, which is left open at TX-ANT, near the RX channel, on TX near the TX channel.
    """
    known = _all(evidence)
    if not set(HOOKUPS) <= set(known):
        return None
    to_ant_db, from_ant_db, isolation_db = (
        decibels_down(known[pair].parameter(pair.second, pair.first)) for pair in HOOKUPS
    )
    reflected = _reflected_at_antenna(known)
    product_db = to_ant_db + from_ant_db
    low_db, high_db = (20 * np.log10(np.maximum(1 + sign * reflected, 1e-3)) for sign in (-1, 1))
    off_db = np.maximum(isolation_db - product_db - high_db, product_db + low_db - isolation_db)
    # Deeper than that both may be noise.
    off_db[product_db > TEE_DEEPEST_DB] = 0.0
    near = evidence.near_channels(_medians(off_db), np.max)
    passing = (evidence.near_channels(path_db, np.min) for path_db in (to_ant_db, from_ant_db))
    losses_db = [found[place] for place, found in enumerate(passing) if found is not None]
    allowed_db = TEE_DB if max(losses_db, default=np.inf) < PASSES_WELL_DB else TEE_ANY_DB
    if near is None or max(near) <= allowed_db:
        return None
    at_tx, at_rx = (value > allowed_db for value in near)
    suspect = HOOKUPS[2] if at_tx and at_rx else HOOKUPS[0] if at_rx else HOOKUPS[1]
    return Doubt(
        f"hook-up {suspect}: the three paths of the unit do not fit together, by {max(near):.1f} dB. Check that the "
        f"load is on {suspect.idle} and every cable is on.",
        (suspect,),
    )


def _medians(values: FloatArray) -> FloatArray:
    """Of each value and its neighbours, shape (n,)."""
    half = NEIGHBOURS // 2
    padded = np.pad(values, half, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, NEIGHBOURS), axis=1)


def _reflected_at_antenna(known: dict[Hookup, Sweep]) -> FloatArray:
    """|S| of ANT where it was swept; else the most that the two paths leave of the power. Shape (n,)."""
    if ANT in known:
        return np.asarray(np.minimum(np.abs(known[ANT].s[:, 0, 0]), 1.0), dtype=np.float64)
    passed = sum(_power_from(known[pair], "ANT") for pair in HOOKUPS[:2])
    return np.sqrt(np.maximum(1.0 - passed, 0.0))


MAGNITUDE_CHECKS: tuple[Check, ...] = (
    _of_pairs(wrong_path),
    _of_singles(nothing_connected),
    _of_singles(_same_port),
    _of_singles(_reflects_nothing),
    _of_singles(_takes_in_the_other),
    _of_singles(_antenna_is_deaf),
    _other_channels,
    _too_much_power,
    _of_singles(deaf_at_its_channel),
    _not_one_tee,
)

ANY_PASSIVE_MAGNITUDES: tuple[Check, ...] = (_of_singles(nothing_connected), _too_much_power)
"""What is asked of a device that is no duplexer, such as a check standard."""
