"""What a person decides about a unit, whatever was measured, and what then may not be done with it any more."""

from __future__ import annotations

from dataclasses import dataclass

from station.database.disposition import Fate, refuse_outdated, scrapped
from station.database.store import Store
from station.errors import UserMistake
from station.rights import Act

ACTS = {Fate.RELEASE: Act.RELEASE, Fate.REWORK: Act.REWORK, Fate.SCRAP: Act.SCRAP}
"""The right that each asks for."""


@dataclass(frozen=True, slots=True)
class Decided:
    """What a person asks to be recorded about a unit."""

    fate: Fate
    person: str
    why: str
    corrects: int | None = None
    """The number of an earlier disposition that was a mistake."""


def said(words: str, what: str) -> str:
    """A text that somebody gave, with single spaces. Raises UserMistake where there is none."""
    line = " ".join(words.split())
    if not line:
        raise UserMistake(f"say {what}")
    return line


def refuse_scrapped(store: Store, serial: str) -> None:
    """Raises UserMistake where a unit is tested no more."""
    if (gone := scrapped(store.dispositions(serial))) is not None:
        raise UserMistake(f"{serial} was {gone.sentence} ({gone.why}), and is tested no more")


def refuse_certificate(store: Store, serial: str, run_number: int) -> None:
    """Raises UserMistake where what a run says of a unit counts no more."""
    refuse_outdated(serial, store.dispositions(serial), run_number, "gets no certificate")
