"""Exit codes, and the one place where an error becomes one clear message and a code."""

from __future__ import annotations

import sys
from collections.abc import Callable
from enum import IntEnum


class Exit(IntEnum):
    """What a script can tell apart. 1 is left to Python, for a program that failed by a fault of its own."""

    PASS = 0
    """The unit passed, or the command did what it was asked."""

    MISTAKE = 2
    """The user's mistake; nothing was harmed."""

    FAIL = 3
    """The unit failed, or the certificate does not verify."""

    UNDECIDED = 4
    """The unit is neither passed nor failed."""

    STATION_FAULT = 5
    """The station failed, so nothing is said of the unit."""

    STOPPED = 130
    """Ctrl-C, or the end of what was typed."""

    @classmethod
    def of(cls, outcome: str) -> Exit:
        """The code of a verdict."""
        return {"pass": cls.PASS, "fail": cls.FAIL, "undecided": cls.UNDECIDED}[outcome]


def carry_out(act: Callable[[], Exit | None]) -> Exit:
    """Do what a verb asks, and say what went wrong. Imports late: a verb that is only asked for help needs none."""
    import typer

    from limits.errors import BadInput
    from reports.errors import ReportError
    from station.errors import StationFault, UserMistake

    try:
        return act() or Exit.PASS
    except (BadInput, ReportError, UserMistake) as error:
        _say(str(error))
        return Exit.MISTAKE
    except StationFault as fault:
        _say(f"Station fault: {fault}")
        return Exit.STATION_FAULT
    except (KeyboardInterrupt, typer.Abort):
        _say("Stopped.")
        return Exit.STOPPED


def _say(message: str) -> None:
    print(message, file=sys.stderr)  # noqa: T201
