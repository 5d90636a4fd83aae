"""A characteristic of one unit: a measure bound to a hook-up, to ports and to frequencies in Hz."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from limits.reading import Claim, Curve, Reading
from station.measurements.error_source import Sweeps, Worth
from station.measurements.floor import CONFIDENCE, above_floor
from station.measurements.measure import Measure, Place
from station.measurements.sweep import Hookup, Port
from station.measurements.view import View, look

NEAR_FLOOR = f"at least so much, with {CONFIDENCE:.0%} confidence: too near the noise floor to tell more"


@dataclass(frozen=True, slots=True)
class Characteristic:
    """One property to be measured, with nothing left open."""

    name: str
    title: str
    measure: Measure
    hookup: Hookup
    to: Port
    source: Port
    """The same as `to` for a reflection."""

    place: Place
    step_hz: float
    """The coarsest step the sweep may have where this looks."""

    @property
    def unit(self) -> str:
        """Unit of its readings."""
        return self.measure.unit

    @property
    def is_curve(self) -> bool:
        """Whether it is judged at every frequency of its span."""
        return self.measure.is_curve

    @property
    def span_hz(self) -> tuple[float, float]:
        """Lowest and highest frequency it looks at."""
        if self.place.span_hz is not None:
            return self.place.span_hz
        return self.place.freq_hz, self.place.freq_hz

    def seen_in(self, hookups: Iterable[Hookup]) -> Hookup:
        """The hook-up with the fewest ports that shows it; its own where several would do."""
        ports = Hookup(*dict.fromkeys((self.to, self.source)))
        showing = [hookup for hookup in hookups if hookup.covers(ports)]
        return min(showing, key=lambda hookup: (len(hookup.ports), hookup != self.hookup))

    def looks_at(self, sweeps: Sweeps, worth: Worth | None = None) -> View:
        """All that it is read from: the part of a trace, near the noise floor by the rule for it (see `floor`).

        Raises KeyError for a hook-up that was not swept, ValueError outside a sweep.
        """
        sweep = sweeps[self.hookup]
        part = look(sweep, self.to, self.source).over(*self.span_hz)
        is_level = self.measure.on_trace and self.to != self.source
        return part if worth is None or not is_level else above_floor(part, sweep, worth.floor)

    def read(self, sweeps: Sweeps, worth: Worth | None = None) -> Reading | Curve:
        """What the sweeps say of it; near the noise floor with what the bench is worth, where that is known.

        Raises KeyError for a hook-up that was not swept, ValueError outside a sweep.
        """
        view = self.looks_at(sweeps, worth)
        if self.measure.find is None:
            return Curve(
                self.name,
                self.title,
                self.unit,
                view.freq_hz,
                view.db,
                self.step_hz,
                trace=view.name,
                at_least=view.bound,
            )
        found = self.measure.find(view, self.place)
        near_floor = found.at_hz is not None and self.measure.on_trace and view.is_bound(found.at_hz)
        return Reading(
            name=self.name,
            title=self.title,
            unit=self.unit,
            value=found.value,
            at_hz=found.at_hz,
            span_hz=self.span_hz,
            trace=view.name if self.measure.on_trace else None,
            note=NEAR_FLOOR if near_floor else found.note,
            claim=Claim.AT_LEAST if near_floor else found.claim,
        )
