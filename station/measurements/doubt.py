"""What a plausibility check looks at, and what it says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from limits.quantity import Channels
from limits.reading import FloatArray
from station.measurements.sweep import Hookup, Sweep

NEAR_A_CHANNEL = 0.25
"""Share of the channel spacing on either side of a channel in which a badly tuned unit is still looked for: units
leave the tuning bench within a tenth of it, and beyond a half the other channel is nearer."""

FEWEST_POINTS = 3
"""Near a channel; with fewer, nothing is said of it."""


@dataclass(frozen=True, slots=True)
class Doubt:
    """Why a hook-up is not believed."""

    words: str
    """For the operator: what was seen, and what to look at."""

    hookups: tuple[Hookup, ...]
    """What is to be cabled again, in this order."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """A sweep, and what is known beside it."""

    sweep: Sweep
    earlier: tuple[Sweep, ...]
    """Of the same run, not doubted."""

    channels: Channels

    @property
    def spacing_hz(self) -> float:
        """Between the two channels."""
        return abs(self.channels.rx_hz - self.channels.tx_hz)

    def doubt(self, seen: str) -> Doubt:
        """Of this hook-up alone."""
        return Doubt(f"hook-up {self.sweep.hookup}: {seen}", (self.sweep.hookup,))

    def near_channels(
        self, values: FloatArray, best: Callable[[FloatArray], float]
    ) -> tuple[float, float] | None:
        """The best of a trace near the TX and near the RX channel; None where the sweep hardly covers one."""
        found = []
        for channel_hz in (self.channels.tx_hz, self.channels.rx_hz):
            near = np.abs(self.sweep.freq_hz - channel_hz) <= NEAR_A_CHANNEL * self.spacing_hz
            if np.count_nonzero(near) < FEWEST_POINTS:
                return None
            found.append(float(best(values[near])))
        return found[0], found[1]
