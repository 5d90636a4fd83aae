"""The sweep: what an analyzer measured on one hook-up, with the settings that made it.

Owned here because the measurements read it; the instruments make it and the database keeps it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from limits.reading import FloatArray

ComplexArray = NDArray[np.complex128]
Port = Literal["TX", "ANT", "RX"]
PORTS: tuple[Port, ...] = get_args(Port)


@dataclass(frozen=True, slots=True)
class Hookup:
    """One way to cable the unit: analyzer port 1 to `first`, port 2 to `second`, a load on what is left."""

    first: Port
    second: Port

    @property
    def name(self) -> str:
        """E.g. `TX-ANT`."""
        return f"{self.first}-{self.second}"

    @property
    def idle(self) -> Port:
        """The port that carries the load."""
        return next(port for port in PORTS if port not in (self.first, self.second))

    def __str__(self) -> str:
        return f"{self.name}, load on {self.idle}"


HOOKUPS: tuple[Hookup, ...] = (Hookup("TX", "ANT"), Hookup("ANT", "RX"), Hookup("TX", "RX"))


@dataclass(frozen=True, slots=True)
class SweepSettings:
    """What the analyzer was told, beside the frequencies."""

    bandwidth_hz: float
    averages: int
    power_dbm: float


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """One acquisition on one hook-up."""

    hookup: Hookup
    freq_hz: FloatArray
    """Shape (n,), strictly rising."""

    s: ComplexArray
    """Shape (n, 2, 2), complex: `s[:, i, j]` is S from analyzer port j + 1 to port i + 1."""

    settings: SweepSettings
    started: datetime
    """Aware, UTC."""

    took_s: float
    """Seconds from the order to the last byte."""

    def parameter(self, to: Port, source: Port) -> ComplexArray:
        """S from the unit's port `source` to its port `to`, shape (n,).

        Raises KeyError when one of the ports is not connected in this hook-up.
        """
        index = {self.hookup.first: 0, self.hookup.second: 1}
        return self.s[:, index[to], index[source]]
