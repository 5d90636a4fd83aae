"""What every act needs: where it prints, and what it asks a person or reads from an option."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from rich.console import Console

from station.errors import UserMistake

if TYPE_CHECKING:
    from station.settings import Works


def out() -> Console:
    """Standard output, for what was asked."""
    return Console()


def aside() -> Console:
    """Standard error, for what is told along the way."""
    return Console(stderr=True)


def celsius_of(temperature: str | None, option: str = "--temperature") -> float | None:
    """The temperature that somebody gave, if any. Raises UserMistake."""
    from station.sequencer.conditions import believed_celsius

    try:
        return believed_celsius(temperature) if temperature else None
    except ValueError as error:
        raise UserMistake(f"{option}: {error}") from error


def operator_name(*, may_ask: bool = True, asked: str = "Operator") -> str:
    """Ask who is at the bench. Raises UserMistake where nobody may be asked."""
    import typer

    if not may_ask:
        raise UserMistake("give the operator's name with --operator, or leave out --no-input")

    name = str(typer.prompt(asked, default="", show_default=False, err=True)).strip()
    if not name:
        raise UserMistake(
            "a record needs the name of its operator; give --operator NAME or set STATION_OPERATOR"
        )
    return name


def passphrase(works: Works, *, twice: bool = False) -> Callable[[], str]:
    """Asks for the passphrase only when it is needed."""
    from station import settings

    return lambda: settings.passphrase(works, os.environ, ask_secret(twice=twice))


def ask_secret(*, twice: bool = False) -> Callable[[str], str]:
    """Shows a prompt and reads what is typed unseen; a second time to be sure, where nobody could tell a slip."""
    import typer

    def ask(words: str) -> str:
        # Where there is no terminal nothing is shown of what is typed, and hiding it would only warn that it cannot.
        hide = sys.stdin.isatty()
        return str(typer.prompt(words, hide_input=hide, confirmation_prompt=twice, err=True))

    return ask
