"""The conditions under which a recipe lets a unit be measured: how long it has lain at the bench, and how warm it is.

conditions:                    # each may be left out
  settle: 20 min               # at the bench before the first sweep
  temperature: 18 to 28 °C     # of the unit, when the run begins and when it ends
  most_change: 2 K             # between the two

It is the cavities that drift, so every temperature is the unit's and not the room's. Pure: who asks, waits and
measures is `station.sequencer.arrival`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Annotated

from pydantic import Field, model_validator

from limits.formwords import got
from limits.quantity import Kelvin, Seconds
from limits.temperature import TemperatureSpan
from limits.units import celsius, seconds_text
from limits.yamlfile import Form
from station.instruments.thermometer import BELIEVED_C

LONGEST_S = 86_400.0
"""A unit that is older than a day at the bench has long taken the room's temperature."""


class ConditionsForm(Form):
    """The conditions in a recipe."""

    settle: Annotated[Seconds, Field(gt=0)] | None = None
    temperature: TemperatureSpan | None = None
    most_change: Annotated[Kelvin, Field(gt=0)] | None = None

    @model_validator(mode="after")
    def _says_something(self) -> ConditionsForm:
        if not self.model_fields_set:
            raise ValueError("expected 'settle', 'temperature' or 'most_change', got nothing")
        if self.settle is not None and self.settle > LONGEST_S:
            raise ValueError(f"a unit settles within {seconds_text(LONGEST_S)}; write a shorter 'settle'")
        return self

    @property
    def need_temperature(self) -> bool:
        """Whether the unit's temperature must be known."""
        return self.temperature is not None or self.most_change is not None


NONE_ASKED = ConditionsForm.model_construct()
"""Of a recipe that says nothing of them."""


@dataclass(frozen=True, slots=True)
class Climate:
    """How a unit is found at the bench."""

    serial: str = ""
    asked: ConditionsForm = NONE_ASKED
    """By its recipe."""

    temperature_c: float | None = None
    """Of the unit; None where nobody said."""

    typed: bool = True
    """Whether a person said so, and not the bench's thermometer."""

    settled_since: datetime | None = None
    """Since when it has lain at the bench, aware; None where nobody said."""

    awaited: bool = False
    """Whether its temperature is read later, or could not be, which is told by whoever tried."""

    def left_s(self, now: datetime) -> float:
        """How long it must still lie there; 0 where it need not, or where nobody said since when it has."""
        if self.asked.settle is None or self.settled_since is None:
            return 0.0
        return max(0.0, self.asked.settle - (now - self.settled_since).total_seconds())


UNKNOWN = Climate()
"""Of a unit of which nobody said anything."""


def unsteady(climate: Climate, end_c: float) -> str:
    """Why a run that ended at this temperature says nothing of the unit; empty where it does."""
    window, most_k, start_c = climate.asked.temperature, climate.asked.most_change, climate.temperature_c
    began = "" if start_c is None else f"was at {start_c:.1f} °C when the run began and "
    ended = f"{climate.serial} {began}at {end_c:.1f} °C when it ended"
    way_out = "let it settle at the bench and test again"
    if window is not None and not window.holds(end_c):
        return f"{ended}, and its recipe asks for {window}; {way_out}"
    if most_k is not None and start_c is not None and abs(end_c - start_c) > most_k:
        return f"{ended}, more than the {most_k:g} K apart that its recipe allows; {way_out}"
    return ""


def believed_celsius(text: str) -> float:
    """A temperature of a unit, as somebody typed it. Raises ValueError that says what was expected."""
    temperature_c, (low_c, high_c) = celsius(text), BELIEVED_C
    if not low_c <= temperature_c <= high_c:
        raise ValueError(f"a unit at a bench has {low_c:g} to {high_c:g} °C, got {got(text)}")
    return temperature_c


def time_of(text: str, now: datetime) -> datetime:
    """`10:20`, of today, or `2026-11-24 22:50`, both local, to an aware time; `now` is aware and in local time.

    Raises ValueError that says what was expected, also where the time is still to come.
    """
    match = re.fullmatch(r"(?:([0-9]{4})-([0-9]{2})-([0-9]{2})[ T])?([0-9]{1,2}):([0-9]{2})", text.strip())
    if match is None:
        raise ValueError(f"expected a time like 10:20 or 2026-11-24 22:50, got {got(text)}")
    year, month, day, hour, minute = (None if part is None else int(part) for part in match.groups())
    try:
        time = now.replace(hour=hour or 0, minute=minute or 0, second=0, microsecond=0)
        if year and month and day:
            # Naive for a moment, so that the zone's own offset on that day is taken.
            time = time.replace(year=year, month=month, day=day, tzinfo=None).astimezone()
    except ValueError as error:
        raise ValueError(f"{got(text)} is no time of the clock and the calendar") from error
    if time > now:
        yesterday = f"{now - timedelta(days=1):%Y-%m-%d} {time:%H:%M}"
        raise ValueError(f"{got(text)} is still to come; of yesterday it is {yesterday}")
    return time
