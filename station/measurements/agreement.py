"""Whether the sweeps of one run can be of one unit: every port is seen in two hook-ups, and must look alike in both.

With a perfect load on the idle port the two would be equal; a load of return loss G changes the reflection by no
more than about G, since the other path is stopped or carries at most everything once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from limits.reading import FloatArray
from station.measurements.doubt import Doubt, Evidence
from station.measurements.sweep import PORTS, Hookup, Port, Sweep

SAME_PLACE_HZ = 1.0
"""Two sweeps share a point when their frequencies agree to this: rounding of grids, never an intent."""

FEWEST_SHARED = 10
"""Points in common; with fewer, two sweeps are not compared."""

SAME_SWEEP = 0.01
"""Two sweeps that differ by less at every common frequency are of one hook-up: noise and drift stay below it at
0.05, two hook-ups of a duplexer differ by nearly 2 (common practice, no source)."""

SAME_PORT = 0.12
"""Largest difference of a port's reflection between two hook-ups: loads of 26 dB return loss give 0.05, residual
test-port errors 0.03, a unit that warms by 0.5 K 0.03, together within this. A load that is missing gives 0.5 and
more, a loose contact of 25 ohm 0.2 (common practice, no source)."""


def same_as_before(evidence: Evidence) -> Doubt | None:
    """A sweep that equals the one of an earlier hook-up: nobody moved a cable."""
    for before in evidence.earlier:
        here, there = shared_points(evidence.sweep, before)
        if len(here) < FEWEST_SHARED:
            continue
        if np.abs(evidence.sweep.s[here] - before.s[there]).max() < SAME_SWEEP:
            return evidence.doubt(
                f"the sweep is that of {before.hookup.name} over again. Move the cables to this hook-up's ports."
            )
    return None


def contradiction(evidence: Evidence) -> Doubt | None:
    """A port that looks otherwise than in an earlier hook-up: a load missing, or something not tight."""
    apart = [found for before in evidence.earlier if (found := _apart(evidence.sweep, before)) is not None]
    if not apart:
        return None
    hookup = evidence.sweep.hookup
    told = [
        f"{port} looks otherwise than in {before.name}, by {size:.2f} at {freq_hz / 1e6:.4f} MHz"
        for port, before, size, freq_hz in apart
    ]
    # Where both earlier hook-ups speak against this one, it is this one that is wrong.
    suspects = (hookup,) if len(apart) > 1 else (apart[0][1], hookup)
    return Doubt(
        f"hook-up {hookup}: {' and '.join(told)}. Check that the load is on {hookup.idle} "
        f"({' and '.join(f'in {before.name} on {before.idle}' for _, before, _, _ in apart)}) and that every "
        "connector is tight.",
        suspects,
    )


def shared_points(one: Sweep, other: Sweep) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Which points of two sweeps lie at the same frequencies."""
    place = np.clip(np.searchsorted(other.freq_hz, one.freq_hz - SAME_PLACE_HZ), 0, len(other.freq_hz) - 1)
    here = np.flatnonzero(np.abs(other.freq_hz[place] - one.freq_hz) <= SAME_PLACE_HZ)
    return here, place[here]


def _apart(sweep: Sweep, before: Sweep) -> tuple[Port, Hookup, float, float] | None:
    """The port both hook-ups see, where it differs most and by how much; None where it does not."""
    shared = [port for port in PORTS if port not in (sweep.hookup.idle, before.hookup.idle)]
    here, there = shared_points(sweep, before)
    if len(shared) != 1 or len(here) < FEWEST_SHARED:
        return None
    port = shared[0]
    difference: FloatArray = np.abs(sweep.parameter(port, port)[here] - before.parameter(port, port)[there])
    worst = int(np.argmax(difference))
    if difference[worst] <= SAME_PORT:
        return None
    return port, before.hookup, float(difference[worst]), float(sweep.freq_hz[here][worst])
