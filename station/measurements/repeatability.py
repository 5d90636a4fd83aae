"""How well a loss repeats when the cables are taken off and put on again: one figure of a bench, from a study."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from limits.reading import FloatArray

STRONG_DB = 10.0
"""Points with more loss are left out: there noise and the unit's own slope speak louder than connectors."""


@dataclass(frozen=True, slots=True)
class Repeatability:
    """What came of a study."""

    deviation_db: float
    """Standard deviation of a loss from connection to connection, noise taken out."""

    noise_db: float
    """Standard deviation of two sweeps of one connection."""

    connections: int

    @property
    def known_to(self) -> float:
        """Relative standard uncertainty of the deviation itself (JCGM 100:2008, E.4.3: 24 % for ten)."""
        return 1 / math.sqrt(2 * (self.connections - 1))


def repeatability(loss_db: Sequence[Sequence[FloatArray]]) -> Repeatability | None:
    """The deviation between connections, as a component of variance; None where no point passes well enough.

    `loss_db[connection][sweep]` has the shape (n,), the same number of sweeps for each connection, two at least of
    both. One-way analysis of variance at every point, its mean squares averaged over the points, which see the same
    connectors (any textbook).
    """
    levels = np.array(loss_db, dtype=float)
    connections, sweeps, _ = levels.shape
    if connections < 2 or sweeps < 2:
        raise ValueError("a study takes two connections and two sweeps of each at least")
    levels = levels[:, :, levels.mean(axis=(0, 1)) < STRONG_DB]
    if levels.shape[2] == 0:
        return None
    within = float(levels.var(axis=1, ddof=1).mean())
    between = float(sweeps * levels.mean(axis=1).var(axis=0, ddof=1).mean())
    deviation_db = math.sqrt(max(0.0, (between - within) / sweeps))
    return Repeatability(deviation_db, math.sqrt(within), connections)
