"""Which lines of a chain do not follow from the line before, and what was done to them. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from reports.chain import BEGINNING, linked
from station.database.ledger import KeptEntry

_COMPARED = 64
"""So many broken lines are compared with each other to find exchanged ones; of more, each is told as altered."""


@dataclass
class Broken:
    """Reads a chain line by line and keeps the lines that do not follow."""

    station: str
    expected: int = 1
    """The number of the next line."""

    before: str | None = BEGINNING
    """The link of the line before, as it stands there; None where that line is missing."""

    worked_out: str | None = BEGINNING
    """The same, as it must be if that line itself is sound."""

    flagged: dict[int, KeptEntry] = field(default_factory=dict)
    befores: dict[int, str | None] = field(default_factory=dict)
    """The link before each flagged line, as it stands there."""

    def look_at(self, kept: KeptEntry) -> None:
        """The next line."""
        number = kept.entry.number
        if number != self.expected:
            self.before = self.worked_out = None
        digest = kept.entry.digest
        possible = {_linked(each, digest) for each in (self.before, self.worked_out) if each is not None}
        if possible and kept.link not in possible:
            self.flagged[number] = kept
            self.befores[number] = self.before
        self.worked_out = None if self.before is None else _linked(self.before, digest)
        self.before = kept.link
        self.expected = number + 1


def judged(broken: Broken) -> Iterator[tuple[int, str]]:
    """What happened to each flagged line: its number and words. A line that was flagged for its neighbour's sake is
    left out."""
    flagged = broken.flagged
    few = len(flagged) <= _COMPARED
    for number, kept in flagged.items():
        if few and _follows_from_another(broken, kept):
            continue
        home = _home(broken, kept) if few else None
        if home is None:
            yield number, "this line of the ledger was altered"
        else:
            yield number, f"this line was put out of its place: it belongs at line {home}"


def _follows_from_another(broken: Broken, kept: KeptEntry) -> bool:
    digest = kept.entry.digest
    return any(_linked(each.link, digest) == kept.link for each in broken.flagged.values())


def _home(broken: Broken, kept: KeptEntry) -> int | None:
    """Where a line belongs that stands in another one's place, under that one's number."""
    links = {kept.link, *(each.link for each in broken.flagged.values())}
    befores = {each for each in broken.befores.values() if each is not None} | links
    for number in broken.flagged:
        if number == kept.entry.number:
            continue
        digest = replace(kept.entry, number=number).digest
        if any(_linked(before, digest) in links for before in befores):
            return number
    return None


def _linked(before: str, digest: str) -> str:
    try:
        return linked(before, digest)
    except ValueError:
        # What stands there is no link any more.
        return ""
