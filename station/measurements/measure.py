"""What a measure is: a name a recipe can use, what it looks at, and the pure function that finds the value."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum

from limits.reading import Claim, FloatArray
from station.measurements.view import View


class Look(Enum):
    """Which S-parameter a measure looks at."""

    TRANSMISSION = "path"
    """Between two ports; a recipe names its `path`."""

    REFLECTION = "port"
    """At one port; a recipe names `port` and `hookup`."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where on the frequency axis a measure looks."""

    at_hz: float | None = None
    span_hz: tuple[float, float] | None = None
    level_db: float | None = None
    """A level the measure is taken at, such as 20 dB for a match bandwidth."""

    @property
    def freq_hz(self) -> float:
        """The single frequency. Raises ValueError where there is none."""
        if self.at_hz is None:
            raise ValueError("this measure needs one frequency")
        return self.at_hz

    @property
    def span(self) -> tuple[float, float]:
        """The span. Raises ValueError where there is none."""
        if self.span_hz is None:
            raise ValueError("this measure needs a span of frequencies")
        return self.span_hz

    @property
    def level(self) -> float:
        """The level in dB. Raises ValueError where there is none."""
        if self.level_db is None:
            raise ValueError("this measure needs a level")
        return self.level_db


@dataclass(frozen=True, slots=True)
class Found:
    """What a measure found."""

    value: float | None
    """In the measure's unit; None when there is nothing to be found, and then `note` says why."""

    at_hz: float | None
    note: str = ""
    claim: Claim = Claim.VALUE


Values = Callable[[FloatArray, FloatArray, Place], FloatArray]
"""From frequencies (n,) and traces over them in dB (m, n), exactly over the span, to the value of each (m,).

NaN where nothing is to be found."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One row of the catalog."""

    name: str
    """As a recipe writes it."""

    look: Look
    takes: frozenset[str]
    """Which of `at`, `over` and `level` a recipe must give; the others it must not."""

    unit: str
    title: str
    """Words with {subject}, {at}, {over} and {level} to be filled in."""

    find: Callable[[View, Place], Found] | None
    """None when the whole curve is the result."""

    values: Values | None = None
    """The same of many traces at once, for what looks at a span: so a reading is tried with errors put on it."""

    unpicked: Callable[[FloatArray, FloatArray], FloatArray] | None = None
    """For a place that is picked: from frequencies and a trace, both (n,), to the trace as it would be there without
    the luck that it was picked for. Only so is it seen where else noise might have placed it."""

    on_trace: bool = True
    """Whether the value is a level of the trace, where its limit can be drawn; a width or a difference is not."""

    @property
    def is_curve(self) -> bool:
        """Whether the result is judged at every frequency."""
        return self.find is None
