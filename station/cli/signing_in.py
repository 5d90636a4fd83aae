"""Who sits at the terminal: known by name and PIN where the works has registered people, else taken at their word."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING

from station.cli.asking import ask_secret, operator_name
from station.errors import UserMistake

if TYPE_CHECKING:
    from station.desk import Desk

OPERATOR = "STATION_OPERATOR"
"""Tells who it is, by name or badge, where no option does."""

PIN_FILE = "STATION_PIN_FILE"
"""Names a file with the PIN in it, `/dev/fd/3` for instance, where nobody can be asked."""


def signed_in(desk: Desk, said: str, *, may_ask: bool = True) -> Desk:
    """The desk with somebody at it, where the works has registered people; the same desk where it has not.

    `said` is a name or a badge, asked for when empty. Raises UserMistake where that or the PIN is wrong, or where
    nobody may be asked.
    """
    if not desk.people.is_anybody:
        return desk
    said = (
        said.strip()
        or os.environ.get(OPERATOR, "").strip()
        or operator_name(may_ask=may_ask, asked="Name or badge")
    )
    return desk.sign_in(said, _pin(may_ask=may_ask))


def at_bench(desk: Desk, said: str, *, may_ask: bool = True) -> tuple[Desk, str]:
    """The desk with the operator at it, and their name for the record."""
    desk = signed_in(desk, said, may_ask=may_ask)
    if desk.who is not None:
        return desk, desk.who.name
    return desk, said.strip() or operator_name(may_ask=may_ask)


def new_pin(name: str, file: Path | None) -> str:
    """The PIN or password that somebody shall have: asked for twice, or from a file."""
    return _read(file) if file is not None else ask_secret(twice=True)(f"New PIN or password of {name}")


def _pin(*, may_ask: bool) -> str:
    file = os.environ.get(PIN_FILE)
    if file:
        return _read(Path(file))
    if not may_ask:
        raise UserMistake(
            f"your PIN is needed: let {PIN_FILE} name a file with it (such as /dev/fd/3), or leave out --no-input"
        )
    return ask_secret()("PIN or password")


def _read(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8").rstrip("\r\n")
    except (OSError, ValueError) as error:
        raise UserMistake(f"{file}: no PIN can be read from it: {error}") from error
