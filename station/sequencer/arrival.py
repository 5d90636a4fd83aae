"""A unit arrives at the bench: since when it has lain there, how warm it is, and the wait it still needs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Protocol

from reports.record import Instrument
from station.errors import InstrumentFault, UserMistake
from station.instruments.thermometer import ROLE
from station.sequencer.conditions import Climate, ConditionsForm
from station.sequencer.operator import Operator
from station.sequencer.reasons import Reason
from station.sequencer.run import Task


class Thermometer(Protocol):
    """What tells the temperature of the unit."""

    def identify(self) -> str:
        """Its answer to `*IDN?`. Raises InstrumentFault."""
        ...

    def temperature_c(self) -> float:
        """Raises InstrumentFault."""
        ...


@dataclass(frozen=True, slots=True)
class Arrival:
    """How the conditions of one unit become known; what was said beforehand is not asked."""

    serial: str
    asked: ConditionsForm
    operator: Operator
    thermometer: Thermometer | None
    """None where the bench has none; the operator is asked then."""

    clock: Callable[[], datetime]
    typed_c: float | None = None
    """The unit's temperature as somebody typed it; it goes before the thermometer's."""

    typed_since: datetime | None = None
    """Since when the unit has lain at the bench, as somebody typed it."""

    def settled(self, look: Callable[[Climate], object]) -> Climate:
        """The unit as it is when it may be measured, as far as waiting can bring that about.

        `look` refuses what else speaks against testing; it is called before a wait, so that nobody waits in vain.
        Raises UserMistake where something must be asked and the operator may not be.
        """
        self._expect_answers()
        climate = Climate(self.serial, self.asked, settled_since=self._since())
        typed_c = self.typed_c
        left_s = climate.left_s(self.clock())
        if left_s and self.operator.answers:
            look(replace(climate, settled_since=None, awaited=True))
            self.operator.wait(self.serial, left_s)
            # What was typed before the wait is true no more.
            typed_c = None
        return replace(climate, temperature_c=self._temperature_c(typed_c), typed=self._typed)

    def end_c(self) -> float | None:
        """The unit's temperature when the run ends, read where it was read at the start; None where nobody asks."""
        return self._temperature_c(None) if self.asked.need_temperature or not self._typed else None

    def _expect_answers(self) -> None:
        if self.operator.answers:
            return
        if self.asked.settle is not None and self.typed_since is None:
            raise UserMistake(
                f"the recipe of {self.serial} asks how long it has been at the bench, and nobody may be asked; give "
                "--settled-since 10:20, or leave out --no-input"
            )
        if self.asked.need_temperature and self._typed:
            out = "leave out --temperature" if self.thermometer else "put a thermometer into bench.yaml"
            raise UserMistake(
                f"the recipe of {self.serial} asks for its temperature at the start and at the end of the run, and "
                f"nobody may be asked; {out}, or leave out --no-input"
            )

    @property
    def _typed(self) -> bool:
        return self.typed_c is not None or self.thermometer is None

    def _since(self) -> datetime | None:
        if self.typed_since is not None or self.asked.settle is None:
            return self.typed_since
        return self.operator.settled_since(self.serial, self.asked.settle, self.clock())

    def _temperature_c(self, typed_c: float | None) -> float | None:
        if typed_c is not None:
            return typed_c
        if self.thermometer is not None and not self._typed:
            return self.thermometer.temperature_c()
        return self.operator.temperature_c(self.serial) if self.asked.need_temperature else None


def climate_now(thermometer: Thermometer | None, typed_c: float | None) -> tuple[Climate, tuple[Reason, ...]]:
    """The temperature at the bench while no unit is being tested, and what is wrong with the thermometer."""
    if typed_c is not None or thermometer is None:
        return Climate(temperature_c=typed_c), ()
    try:
        return Climate(temperature_c=thermometer.temperature_c()), ()
    except InstrumentFault as fault:
        way_out = "switch it on, put it right in bench.yaml, or take it out there and type temperatures"
        return Climate(awaited=True), (Reason(str(fault), way_out),)


def with_thermometer(task: Task, thermometer: Thermometer | None) -> Task:
    """The task with the thermometer among its instruments, where it tells the unit's temperature."""
    if thermometer is None or task.climate.temperature_c is None or task.climate.typed:
        return task
    instruments = (*task.head.instruments, Instrument(ROLE, thermometer.identify()))
    return replace(task, head=replace(task.head, instruments=instruments))
