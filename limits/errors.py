"""Errors of this room.

BadInput            a file or a text that a person wrote cannot be used; carries every mistake found
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Mistake:
    """One thing wrong in one place."""

    what: str
    """What is wrong, what was expected, and the nearest valid word where there is one."""

    file: str = ""
    """The file as the user named it; empty for a text that came from no file."""

    line: int = 0
    """1 for the first line; 0 when the place is unknown."""

    column: int = 0
    """1 for the first column; 0 when the place is unknown."""

    def __str__(self) -> str:
        place = ":".join(str(part) for part in (self.file, self.line, self.column) if part)
        return f"{place}: {self.what}" if place else self.what


class BadInput(Exception):
    """Something a person wrote cannot be used. Always carries all the mistakes at once."""

    def __init__(self, mistakes: tuple[Mistake, ...]) -> None:
        super().__init__("\n".join(str(mistake) for mistake in mistakes))
        self.mistakes = mistakes
