"""Whether a unit may be measured yet: whether it has lain at the bench for long enough, and how warm it is."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from limits.units import seconds_text
from station.sequencer.conditions import Climate
from station.sequencer.reasons import Circumstances, Reason


def settle(around: Circumstances) -> Iterator[Reason]:
    """Whether the unit has lain at the bench for long enough."""
    yield from unsettled(around.climate, around.now)


def temperature(around: Circumstances) -> Iterator[Reason]:
    """Whether the unit is as warm as its recipe asks."""
    yield from out_of_window(around.climate)


def unsettled(climate: Climate, now: datetime) -> Iterator[Reason]:
    """Whether the unit has lain at the bench for long enough."""
    left_s, asked_s = climate.left_s(now), climate.asked.settle
    if left_s > 0 and asked_s is not None:
        been = f"has been at the bench for {seconds_text(asked_s - left_s)} of the {seconds_text(asked_s)}"
        yield Reason(
            f"{climate.serial} {been} that its recipe asks for",
            f"wait {seconds_text(left_s)} more and test again",
        )


def out_of_window(climate: Climate) -> Iterator[Reason]:
    """Whether the unit is as warm as its recipe asks."""
    window, temperature_c = climate.asked.temperature, climate.temperature_c
    if window is not None and temperature_c is not None and not window.holds(temperature_c):
        colder = temperature_c < window.low_c
        yield Reason(
            f"{climate.serial} is at {temperature_c:.1f} °C, and its recipe asks for {window}",
            f"let it {'warm up' if colder else 'cool down'} at the bench and test again",
        )


def awaits(climate: Climate, now: datetime) -> bool:
    """Whether the unit's temperature is not yet what it will be measured at."""
    return climate.awaited or any(unsettled(climate, now)) or any(out_of_window(climate))


def told_by_unit(climate: Climate, now: datetime) -> float | None:
    """The temperature at the bench, as a unit tells it that settled there; None of any other unit."""
    settled = climate.asked.settle is not None and climate.settled_since is not None
    return climate.temperature_c if settled and not awaits(climate, now) else None
