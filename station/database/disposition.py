"""A person's decision about a unit, beside everything that was measured of it; pure values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from limits.verdict import Outcome
from reports import wording
from reports.resolution import Ruling
from station.database.entries import RunLine
from station.errors import UserMistake


class Fate(StrEnum):
    """What can be decided about a unit."""

    RELEASE = "release"
    """It passed, and may leave the works."""

    REWORK = "rework"
    """Something was done to it: what was measured before says nothing of it any more."""

    SCRAP = "scrap"
    """It is tested no more and gets no certificate."""

    @property
    def done(self) -> str:
        """As of a unit: `released`, `reworked`, `scrapped`."""
        return {Fate.RELEASE: "released", Fate.REWORK: "reworked", Fate.SCRAP: "scrapped"}[self]


@dataclass(frozen=True, slots=True)
class Disposition:
    """One decision about one unit."""

    number: int
    """1 for the first one of its unit."""

    fate: Fate
    person: str
    made: datetime
    """Aware."""

    why: str
    """The reason; of a rework what was done."""

    after_run: int
    """The number of the unit's latest run by then."""

    corrects: int | None = None
    """The number of an earlier one that was a mistake and counts no more."""

    @property
    def sentence(self) -> str:
        """E.g. `reworked by Olaf Berg on 25 November 2026, after run 2`."""
        return f"{self.fate.done} by {self.person} on {wording.day(self.made)}, after run {self.after_run}"


def in_force(dispositions: Sequence[Disposition]) -> tuple[Disposition, ...]:
    """Those that no later one corrects."""
    corrected = {each.corrects for each in dispositions}
    return tuple(each for each in dispositions if each.number not in corrected)


def scrapped(dispositions: Sequence[Disposition]) -> Disposition | None:
    """What took the unit out for good; None where it may still be tested."""
    return next((each for each in in_force(dispositions) if each.fate is Fate.SCRAP), None)


def last_rework(dispositions: Sequence[Disposition]) -> Disposition | None:
    """The latest rework; runs up to it say nothing of the unit any more."""
    return next((each for each in reversed(in_force(dispositions)) if each.fate is Fate.REWORK), None)


def refuse_outdated(serial: str, there: Sequence[Disposition], run_number: int, then: str) -> None:
    """Raises UserMistake where what a run says of a unit counts no more; of a scrapped one it says what `then`."""
    if (gone := scrapped(there)) is not None:
        raise UserMistake(f"{serial} was {gone.sentence} ({gone.why}), and {then}")
    rework = last_rework(there)
    if rework is not None and rework.after_run >= run_number:
        raise UserMistake(
            f"{serial} was {rework.sentence}, so run {run_number} says nothing of it any more; test it again"
        )


def refuse(
    serial: str, there: Sequence[Disposition], runs: Sequence[RunLine], fate: Fate, corrects: int | None
) -> None:
    """Raises UserMistake where this may not be decided about a unit; `runs` are all of its, the first one first."""
    _refuse_correction(serial, there, corrects)
    left = [each for each in in_force(there) if each.number != corrects]
    if (gone := scrapped(left)) is not None:
        raise UserMistake(
            f"{serial} was {gone.sentence}; if that was a mistake, add --corrects {gone.number}"
        )
    if fate is Fate.REWORK and not runs:
        raise UserMistake(f"{serial} was never tested, so there is nothing to rework; test it first")
    if fate is Fate.RELEASE:
        _refuse_release(serial, left, runs)


def _refuse_correction(serial: str, there: Sequence[Disposition], corrects: int | None) -> None:
    if corrects is not None and corrects not in {each.number for each in in_force(there)}:
        known = "; ".join(f"{each.number}: {each.sentence}" for each in in_force(there))
        raise UserMistake(f"{serial} has no disposition {corrects} that counts ({known or 'it has none'})")


def _refuse_release(serial: str, left: Sequence[Disposition], runs: Sequence[RunLine]) -> None:
    judged = [line for line in runs if line.outcome is not None]
    if not judged:
        raise UserMistake(f"{serial} has no verdict yet; test it with `station test {serial}`")
    last, rework = judged[-1], last_rework(left)
    if rework is not None and rework.after_run >= last.run_number:
        raise UserMistake(f"{serial} was {rework.sentence}, and not tested since; test it first")
    released = last.resolution is not None and last.resolution.ruling is Ruling.RELEASE
    if last.outcome is Outcome.UNDECIDED and not released:
        raise UserMistake(
            f"run {last.run_number} of {serial} is undecided; decide it first: station resolve {serial}"
        )
    if last.outcome is Outcome.FAIL:
        raise UserMistake(
            f"run {last.run_number} of {serial} failed, and is not released; rework or scrap it"
        )
