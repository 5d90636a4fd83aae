"""A guided calibration: each standard is connected, swept and looked at; then all is accepted, or nothing is kept.

Which standards, and what is made of them, is the business of the bench's kind (`Procedure`). A step that is not
believed is asked for again, and all others stay; after ASK_AGAIN times in vain the operator says whether to go on, or
the session ends as a station fault.
"""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import dataclass

from station.database.entries import Calibration, CalibrationHead
from station.errors import DoubtfulMeasurement
from station.instruments.analyzer import Analyzer, Segment, SweepOrder
from station.measurements.standards import Findings, Procedure, StandardDoubt, Step, Use
from station.measurements.sweep import Sweep, SweepSettings
from station.sequencer.events import (
    CalibrationMade,
    CalibrationStarted,
    Listener,
    StandardAsked,
    StandardDoubted,
    StandardSwept,
)
from station.sequencer.operator import Operator

ASK_AGAIN = 2
"""How often the same step is asked for again unasked: a mistake once seen is put right, a worn connector shows
again."""

NOISE_SWEEPS = 4
"""Of each bandwidth: their scatter at every frequency is averaged over all of them."""


@dataclass(frozen=True, slots=True)
class CalibrationTask:
    """What is to be done, with nothing left to look up."""

    head: CalibrationHead
    procedure: Procedure
    segments: tuple[Segment, ...]
    """For what the error terms are made of."""

    probe: tuple[Segment, ...]
    """For what is only looked at again, or heard: fewer points of the same stretches."""

    settings: SweepSettings
    """For the standards."""

    noise: tuple[SweepSettings, ...]
    """Of the runs to come: the noise is measured as they will meet it, with one average."""


def run_calibration(
    task: CalibrationTask, analyzer: Analyzer, operator: Operator, listen: Listener
) -> Calibration:
    """Go through all steps.

    Raises station.errors.StationFault when the station fails or the calibration is not accepted, KeyboardInterrupt
    when the operator stops; either way there is none.
    """
    return _Session(task, analyzer, operator, listen).run()


class _Session:
    """One calibration on its way."""

    def __init__(
        self, task: CalibrationTask, analyzer: Analyzer, operator: Operator, listen: Listener
    ) -> None:
        self._task = task
        self._analyzer = analyzer
        self._operator = operator
        self._listen = listen
        self._swept: dict[Step, list[Sweep]] = {}
        self._asked_again: Counter[Step] = Counter()
        self._reasons: dict[Step, str] = {}
        self._waiting = deque(task.procedure.steps)
        self._connected: object = None
        """What is on, and whether it was put on to verify; None where it must be put on anew."""

    def run(self) -> Calibration:
        self._listen(CalibrationStarted(self._task.procedure.steps))
        while True:
            while self._waiting:
                step = self._waiting.popleft()
                self._take(step)
                if doubt := self._task.procedure.doubt(step, self._swept):
                    self._once_more(doubt)
            found = self._task.procedure.conclude(self._swept)
            if isinstance(found, Findings):
                made = Calibration(self._task.head, found, self._swept)
                self._listen(CalibrationMade(made.head, found))
                return made
            self._once_more(found)

    def _take(self, step: Step) -> None:
        reason = self._reasons.pop(step, "")
        # What verifies is put on anew; all else may be swept in several ways while it is on.
        wanted = (step.connection, step.use is Use.VERIFY)
        if wanted != self._connected:
            self._listen(StandardAsked(step))
            if reason:
                self._operator.connect_again(step.standard, step.ports, reason)
            else:
                self._operator.connect(step.standard, step.ports)
            self._connected = wanted
        self._swept[step] = [self._sweep(step, settings) for settings in self._settings(step)]
        self._listen(StandardSwept(step, self._swept[step][0]))

    def _settings(self, step: Step) -> list[SweepSettings]:
        if step.use in (Use.TRACE, Use.FLOOR):
            return [settings for settings in self._task.noise for _ in range(NOISE_SWEEPS)]
        return [self._task.settings]

    def _sweep(self, step: Step, settings: SweepSettings) -> Sweep:
        fine = step.use in (Use.CALIBRATE, Use.IDLE)
        segments = self._task.segments if fine else self._task.probe
        return self._analyzer.sweep(SweepOrder(step.hookup, segments, settings))

    def _once_more(self, doubt: StandardDoubt) -> None:
        """Have the doubted steps done again. Raises DoubtfulMeasurement where that is no use, or given up."""
        again = max((self._asked_again[step] for step in doubt.steps), default=0)
        self._listen(StandardDoubted(doubt, again))
        if not doubt.steps or (again >= ASK_AGAIN and not self._operator.tries_on(doubt.words, again)):
            tries = f" after {again} more tries" if again else ""
            raise DoubtfulMeasurement(
                f"the calibration was not accepted{tries}, and nothing of it is kept: {doubt.words}"
            )
        self._asked_again.update(doubt.steps)
        self._connected = None
        self._reasons.update(dict.fromkeys(doubt.steps, doubt.words))
        for step in doubt.steps:
            self._swept.pop(step, None)
        self._waiting = deque([*doubt.steps, *(step for step in self._waiting if step not in doubt.steps)])
