"""A person decides about a unit at a terminal."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.console import Console

from limits.formwords import nearest
from station.cli.asking import out
from station.cli.signing_in import signed_in
from station.cli.tables import print_json, say
from station.errors import UserMistake

if TYPE_CHECKING:
    from collections.abc import Sequence

    from station.database.disposition import Disposition, Fate


def dispose(
    folder: Path, serial: str, word: str, by: str, why: str, corrects: int | None, *, as_json: bool
) -> None:
    """Record it, and tell what counts now."""
    from station.desk import open_desk
    from station.disposing import Decided

    fate = _fate(word)
    with open_desk(folder) as desk:
        desk = signed_in(desk, by)
        dispositions = desk.dispose(serial, Decided(fate, by, why, corrects))
    if as_json:
        print_json([facts(each) for each in dispositions], out())
    else:
        say(out(), f"Noted: {serial} {words(dispositions[-1])}", wrap=True)


def show(dispositions: Sequence[Disposition], console: Console) -> None:
    """All of a unit, those in bold that count."""
    from station.database.disposition import in_force

    counting = in_force(dispositions)
    for each in dispositions:
        say(
            console,
            f"Disposition {each.number}: {words(each)}",
            "bold" if each in counting else "",
            wrap=True,
        )


def words(disposition: Disposition) -> str:
    """One disposition in a line."""
    again = "" if disposition.corrects is None else f", correcting disposition {disposition.corrects}"
    return f"{disposition.sentence}{again}: {disposition.why}"


def facts(disposition: Disposition) -> dict[str, Any]:
    """One disposition for a program."""
    return {
        "number": disposition.number,
        "fate": disposition.fate.value,
        "by": disposition.person,
        "made": disposition.made,
        "why": disposition.why,
        "after_run": disposition.after_run,
        "corrects": disposition.corrects,
    }


def _fate(word: str) -> Fate:
    from station.database.disposition import Fate

    if word not in list(Fate):
        raise UserMistake(f"a unit is given to {', '.join(Fate)}, not '{word}'{nearest(word, list(Fate))}")
    return Fate(word)
