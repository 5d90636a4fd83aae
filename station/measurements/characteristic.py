"""A characteristic of one unit: a measure bound to a hook-up, to ports and to frequencies in Hz."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from limits.reading import Curve, Reading
from station.measurements.measure import Measure, Place
from station.measurements.sweep import Hookup, Port, Sweep
from station.measurements.view import look


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

    def read(self, sweeps: Mapping[Hookup, Sweep]) -> Reading | Curve:
        """What the sweeps say of it.

        Raises KeyError for a hook-up that was not swept, ValueError outside a sweep.
        """
        view = look(sweeps[self.hookup], self.to, self.source)
        if self.measure.find is None:
            part = view.over(*self.place.span)
            return Curve(
                self.name, self.title, self.unit, part.freq_hz, part.db, self.step_hz, trace=view.name
            )
        found = self.measure.find(view, self.place)
        return Reading(
            name=self.name,
            title=self.title,
            unit=self.unit,
            value=found.value,
            at_hz=found.at_hz,
            span_hz=self.span_hz,
            trace=view.name if self.measure.on_trace else None,
            note=found.note,
            claim=found.claim,
        )
