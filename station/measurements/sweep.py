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

SAME_POINT_HZ = 1e-3
"""Points of two sweeps on one grid agree to this: rounding of a frequency in decimal text, never an intent."""


@dataclass(frozen=True, init=False)
class Hookup:
    """One way to cable the unit: analyzer port 1 to the first of `ports`, port 2 to the second and so on.

    Every port that is left carries a load. Most benches use pairs; an analyzer with a port for each of the unit's
    takes all three at once, and a return-loss bridge sits on a single one.
    """

    ports: tuple[Port, ...]

    def __init__(self, *ports: Port) -> None:
        object.__setattr__(self, "ports", ports)

    @property
    def name(self) -> str:
        """E.g. `TX-ANT`."""
        return "-".join(self.ports)

    @property
    def first(self) -> Port:
        """Of a pair."""
        return self.ports[0]

    @property
    def second(self) -> Port:
        """Of a pair."""
        return self.ports[1]

    @property
    def idle(self) -> Port:
        """The port that carries the load while a pair is swept."""
        return self.loaded[0]

    @property
    def loaded(self) -> tuple[Port, ...]:
        """All ports that carry loads."""
        return tuple(port for port in PORTS if port not in self.ports)

    def covers(self, other: Hookup) -> bool:
        """Whether all ports of the other are connected here."""
        return set(other.ports) <= set(self.ports)

    def __str__(self) -> str:
        loads = f", load{'s' if len(self.loaded) > 1 else ''} on {' and '.join(self.loaded)}"
        return f"{self.name}{loads if self.loaded else ''}"


HOOKUPS: tuple[Hookup, ...] = (Hookup("TX", "ANT"), Hookup("ANT", "RX"), Hookup("TX", "RX"))
"""The pairs: what every reading is taken from, however the bench came by it."""

WHOLE = Hookup(*PORTS)
"""The unit with all its ports connected."""

SINGLES: tuple[Hookup, ...] = tuple(Hookup(port) for port in PORTS)


def hookup_named(name: str) -> Hookup:
    """The hook-up that `Hookup.name` is of. Raises ValueError for any other word."""
    for known in (*HOOKUPS, WHOLE, *SINGLES):
        if known.name == name:
            return known
    raise ValueError(f"there is no hook-up {name!r}")


@dataclass(frozen=True, slots=True)
class SweepSettings:
    """What the analyzer was told, beside the frequencies."""

    bandwidth_hz: float
    averages: int
    power_dbm: float


@dataclass(frozen=True, slots=True)
class Stretch:
    """Part of a sweep that was swept again with other settings."""

    low_hz: float
    high_hz: float
    settings: SweepSettings


@dataclass(frozen=True, slots=True, eq=False)
class Sweep:
    """One acquisition on one hook-up, or several put together."""

    hookup: Hookup
    freq_hz: FloatArray
    """Shape (n,), strictly rising."""

    s: ComplexArray
    """Shape (n, k, k), complex, for the k ports of the hook-up: `s[:, i, j]` is S from analyzer port j + 1 to i + 1.

    NaN where nothing was measured.
    """

    settings: SweepSettings
    started: datetime
    """Aware, UTC."""

    took_s: float
    """Seconds from the order to the last byte."""

    phase: bool = True
    """Whether phases were measured; else `s` holds magnitudes."""

    cut_from: Hookup | None = None
    """The hook-up of more ports that a pair was cut out of."""

    loads_out: bool = False
    """Whether what the idle port carried was measured and is taken out."""

    again: tuple[Stretch, ...] = ()
    """What was swept again with more care; the later ones lie on top."""

    def parameter(self, to: Port, source: Port) -> ComplexArray:
        """S from the unit's port `source` to its port `to`, shape (n,).

        Raises KeyError when one of the ports is not connected in this hook-up.
        """
        index = {port: place for place, port in enumerate(self.hookup.ports)}
        return self.s[:, index[to], index[source]]

    def settings_at(self, freq_hz: float) -> SweepSettings:
        """The settings under which the point at this frequency was measured."""
        for stretch in reversed(self.again):
            if stretch.low_hz - SAME_POINT_HZ <= freq_hz <= stretch.high_hz + SAME_POINT_HZ:
                return stretch.settings
        return self.settings
