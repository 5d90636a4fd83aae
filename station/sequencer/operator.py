"""Whoever stands at the bench: a person at a terminal, a person at a page, or hands in software."""

from __future__ import annotations

from typing import Protocol

from station.measurements.sweep import Hookup


class Operator(Protocol):
    """The sequencer asks; this answers."""

    @property
    def name(self) -> str:
        """Who it is, for the record."""
        ...

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        """Cable the unit so, and return when it is done.

        Raises KeyboardInterrupt when the operator wants to stop.
        """
        ...
