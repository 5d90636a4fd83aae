"""Reasons to doubt the hook-up, from the sweep itself: asked before anything is judged."""

from __future__ import annotations

import numpy as np

from station.measurements.sweep import Sweep

LARGEST_SINGULAR_VALUE = 1.02
"""A passive unit gives no more than it gets: no singular value of S exceeds 1. Measured passive filters show up to
1.0005, and noise and residual test-port errors of a calibrated bench add up to about 0.01 (common practice, no
source)."""


def doubts(sweep: Sweep) -> tuple[str, ...]:
    """What cannot be true of a passive unit, in words for the operator; empty means nothing to doubt."""
    largest = np.linalg.svd(sweep.s, compute_uv=False)[:, 0]
    worst = int(np.argmax(largest))
    if largest[worst] <= LARGEST_SINGULAR_VALUE:
        return ()
    gain_db = 20 * np.log10(largest[worst])
    return (
        f"hook-up {sweep.hookup}: the unit seems to give {gain_db:.2f} dB more than it gets at "
        f"{sweep.freq_hz[worst] / 1e6:.4f} MHz. Check the analyzer's calibration and that the cables are tight.",
    )
