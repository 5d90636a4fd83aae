"""What a measurement hands to the judge: one number, or one number per frequency, with its own words.

A reading knows its title and unit, so that the store, the certificate and the pages never branch on the
kind of quantity. Losses, isolation and return loss are positive dB; frequencies and widths are Hz.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


class Claim(StrEnum):
    """What the number of a reading claims."""

    VALUE = "value"
    """To be the value."""

    AT_LEAST = "at least"
    """Only that the value is no smaller, e.g. a width that ran out of the span looked at."""


@dataclass(frozen=True, slots=True)
class Reading:
    """The value of one characteristic of one unit."""

    name: str
    """Name of the characteristic in the recipe, e.g. `tx_loss_at_channel`."""

    title: str
    """The characteristic in words, e.g. `TX to ANT insertion loss at the TX frequency`."""

    unit: str
    """`dB` or `Hz`."""

    value: float | None
    """The number, in `unit`; None when there is none, and then `note` says why. Never NaN or infinite."""

    u: float | None = None
    """Expanded uncertainty U in `unit`, for a coverage of about 95 %; None where it was not evaluated."""

    at_hz: float | None = None
    """The frequency at which the value was found."""

    span_hz: tuple[float, float] | None = None
    """The frequencies the characteristic looks at, lowest and highest; equal for a single frequency."""

    trace: str | None = None
    """Name of the trace it was read from, so that a chart can draw its limit there."""

    note: str = ""
    """Why there is no value, or what the reader must know about it."""

    claim: Claim = Claim.VALUE
    """Whether `value` is the value or only a bound of it; the judge decides by a bound only what it settles."""

    def __post_init__(self) -> None:
        if self.value is not None and not math.isfinite(self.value):
            raise ValueError(f"{self.name}: a reading is a finite number or None, not {self.value}")
        if self.u is not None and not 0 <= self.u < math.inf:
            raise ValueError(f"{self.name}: U is a finite number that is not negative, not {self.u}")


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """A characteristic that is judged at every frequency of a span, against a mask."""

    name: str
    title: str
    unit: str
    freq_hz: FloatArray
    """Shape (n,), rising."""

    value: FloatArray
    """Shape (n,), in `unit`. May hold NaN where there is no number; the judge passes no such point."""

    step_hz: float
    """The widest step between points that was asked for; the judge takes a wider one for a hole."""

    trace: str | None = None
    u: FloatArray | None = None
    """Expanded uncertainty U of each value, shape (n,); None where it was not evaluated."""

    at_least: NDArray[np.bool_] | None = None
    """Which values are only bounds, shape (n,); None where none is."""

    def __post_init__(self) -> None:
        if self.freq_hz.ndim != 1 or self.freq_hz.shape != self.value.shape:
            raise ValueError(
                f"{self.name}: {self.value.shape} values at {self.freq_hz.shape} frequencies; one for each"
            )

    def at(self, index: int) -> Reading:
        """The reading at one of the curve's points; what a decision about the curve is shown by."""
        return Reading(
            name=self.name,
            title=self.title,
            unit=self.unit,
            value=float(self.value[index]),
            at_hz=float(self.freq_hz[index]),
            u=None if self.u is None else float(self.u[index]),
            span_hz=(float(self.freq_hz[0]), float(self.freq_hz[-1])),
            trace=self.trace,
            claim=Claim.AT_LEAST if self.at_least is not None and self.at_least[index] else Claim.VALUE,
        )
