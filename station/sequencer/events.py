"""What a run, or a calibration, tells as it goes; every door shows the same events in its own way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from limits.reading import Curve, Reading
from limits.verdict import Verdict
from station.database.entries import CalibrationHead
from station.measurements.correction import Consistency
from station.measurements.doubt import Doubt
from station.measurements.standards import Findings, StandardDoubt, Step
from station.measurements.sweep import Hookup, Sweep
from station.sequencer.second_look import SecondLook


@dataclass(frozen=True, slots=True)
class RunStarted:
    serial: str
    run_number: int
    hookups: tuple[Hookup, ...]


@dataclass(frozen=True, slots=True)
class HookupAsked:
    hookup: Hookup


@dataclass(frozen=True, slots=True)
class SweepStored:
    sweep: Sweep


@dataclass(frozen=True, slots=True)
class ConnectionSwept:
    """In a study of connectors, of which nothing is kept."""

    sweep: Sweep


@dataclass(frozen=True, slots=True)
class SweptAgain:
    """What of a hook-up is swept again with more care now, and what there is no time left for."""

    hookup: Hookup
    look: SecondLook


@dataclass(frozen=True, slots=True)
class HookupDoubted:
    """A sweep was not believed; the operator is asked to look, or the run ends where that was done before."""

    doubt: Doubt


@dataclass(frozen=True, slots=True)
class LoadsTakenOut:
    """The three ports were recovered; each reflection was measured twice, and agreed by so much."""

    consistency: Consistency


@dataclass(frozen=True, slots=True)
class ReadingMade:
    reading: Reading | Curve


@dataclass(frozen=True, slots=True)
class VerdictReached:
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class RunBroken:
    """The run ended without a verdict: a station fault, or the operator stopped it."""

    why: str


@dataclass(frozen=True, slots=True)
class Warned:
    """Something will soon keep the station from testing."""

    what: str


@dataclass(frozen=True, slots=True)
class CalibrationStarted:
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class StandardAsked:
    step: Step


@dataclass(frozen=True, slots=True)
class StandardSwept:
    """A standard was swept; of several sweeps, the first."""

    step: Step
    sweep: Sweep


@dataclass(frozen=True, slots=True)
class StandardDoubted:
    """A standard was not believed; it is asked for again, or the operator decides where that was done before."""

    doubt: StandardDoubt
    again: int
    """How often it was asked for again before."""


@dataclass(frozen=True, slots=True)
class CalibrationMade:
    """A calibration was accepted."""

    head: CalibrationHead
    findings: Findings


Event = (
    RunStarted
    | Warned
    | HookupAsked
    | SweepStored
    | ConnectionSwept
    | SweptAgain
    | HookupDoubted
    | LoadsTakenOut
    | ReadingMade
    | VerdictReached
    | RunBroken
    | CalibrationStarted
    | StandardAsked
    | StandardSwept
    | StandardDoubted
    | CalibrationMade
)
Listener = Callable[[Event], None]
