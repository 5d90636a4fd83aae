"""What is connected while a bench is calibrated, one step after the other; each kind of bench has its own steps.

A procedure looks at every sweep as it comes, and says why a step is not believed; in the end it concludes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal, Protocol

from station.measurements.calibration import ErrorTerms
from station.measurements.load import Load
from station.measurements.noise import MeasuredNoise
from station.measurements.sweep import Hookup, Port, Sweep

Standard = Literal["open", "short", "load", "through", "terminated"]
"""`terminated` is a load on every one of the ports, any that is at hand."""


class Use(StrEnum):
    """What a step is for."""

    CALIBRATE = "to calibrate"
    TRACE = "to see how readings scatter"
    IDLE = "to see what the switch puts on a port that idles"
    VERIFY = "once more, to see that it repeats"
    FLOOR = "to hear the noise"


@dataclass(frozen=True, slots=True)
class Step:
    """One standard on the analyzer's test ports, counted from 1."""

    standard: Standard
    ports: tuple[int, ...]
    use: Use
    hookup: Hookup
    """What the analyzer sweeps: the route to the test ports, where it has several."""

    @property
    def connection(self) -> tuple[Standard, tuple[int, ...]]:
        """What stays connected from one step to the next where it is the same."""
        return self.standard, self.ports

    def __str__(self) -> str:
        return f"{self.standard} on {ports_in_words(self.ports)}, {self.use}"


@dataclass(frozen=True, slots=True)
class StandardDoubt:
    """Why what was read of standards cannot be so."""

    words: str
    steps: tuple[Step, ...]
    """To be connected and swept again."""


@dataclass(frozen=True, slots=True)
class Residual:
    """How far a standard, connected once more and corrected, is off what it is."""

    what: str
    """`directivity` or `match`, a wave that should not be there; `reflection` or `transmission`, the size of one that
    should."""

    port: int
    value_db: float
    """The worst of the band, below a full wave: the more the better."""

    at_hz: float
    """Where that is."""

    turn_deg: float = 0.0
    """By how much the phase of a reflection or a transmission is off, the worst of the band."""


@dataclass(frozen=True, slots=True, eq=False)
class Findings:
    """What a calibration found out."""

    terms: Mapping[Hookup, ErrorTerms]
    residuals: tuple[Residual, ...]
    noise: tuple[MeasuredNoise, ...]
    """One for each bandwidth."""

    loads: Mapping[Port, Load] = field(default_factory=dict)
    """What idle ports carry, where the bench itself terminates them."""


Swept = Mapping[Step, Sequence[Sweep]]
"""The sweeps of each step, as read: one, or several where it is noise that is looked for."""


class Procedure(Protocol):
    """How one kind of bench is calibrated."""

    @property
    def steps(self) -> tuple[Step, ...]:
        """In the order of connecting."""
        ...

    def doubt(self, step: Step, swept: Swept) -> StandardDoubt | None:
        """Why the step that was swept last is not believed; None where it is. Looks at it and those before."""
        ...

    def conclude(self, swept: Swept) -> Findings | StandardDoubt:
        """What all steps together say, or why they contradict each other or what the bench asks for."""
        ...


def ports_in_words(ports: tuple[int, ...]) -> str:
    """E.g. `port 1`, `ports 1 and 2`."""
    *first, last = map(str, ports)
    return f"ports {', '.join(first)} and {last}" if first else f"port {last}"
