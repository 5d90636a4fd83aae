"""Reasons to doubt the hook-up, from the sweep itself: asked before anything is judged."""

from __future__ import annotations

import numpy as np

from station.measurements.sweep import Sweep
from station.measurements.view import decibels_down

LARGEST_SINGULAR_VALUE = 1.02
"""A passive unit gives no more than it gets: no singular value of S exceeds 1. Measured passive filters show up to
1.0005, and noise and residual test-port errors of a calibrated bench add up to about 0.01 (common practice, no
source)."""


LEAST_RETURN_LOSS_DB = 1.0
"""An open or shorted cable end sends back nearly everything; a port of a unit, even a badly tuned one, takes
something in at some frequency of a sweep over its channels (common practice, no source)."""


def doubts(sweep: Sweep) -> tuple[str, ...]:
    """What cannot be true of a passive unit that is hooked up, in words for the operator; empty: nothing to doubt."""
    return (*_gain(sweep), *_open_ports(sweep))


def _open_ports(sweep: Sweep) -> tuple[str, ...]:
    hookup = sweep.hookup
    ports = (hookup.first, hookup.second)
    dead = [port for port in ports if decibels_down(sweep.parameter(port, port)).max() < LEAST_RETURN_LOSS_DB]
    if not dead:
        return ()
    return (
        f"hook-up {hookup}: nothing is taken in at {' and '.join(dead)}, as if no unit were connected there. "
        "Check the cables.",
    )


def _gain(sweep: Sweep) -> tuple[str, ...]:
    largest = np.linalg.svd(sweep.s, compute_uv=False)[:, 0]
    worst = int(np.argmax(largest))
    if largest[worst] <= LARGEST_SINGULAR_VALUE:
        return ()
    gain_db = 20 * np.log10(largest[worst])
    return (
        f"hook-up {sweep.hookup}: the unit seems to give {gain_db:.2f} dB more than it gets at "
        f"{sweep.freq_hz[worst] / 1e6:.4f} MHz. Check the analyzer's calibration and that the cables are tight.",
    )
