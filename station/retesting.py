"""Why a unit is tested again: the works' list of reasons, and how often a recipe lets it be done without one."""

from __future__ import annotations

from collections.abc import Mapping

from limits.formwords import nearest
from station.database.disposition import last_rework
from station.database.entries import Because
from station.database.store import Store
from station.errors import UserMistake


def because_of(reasons: Mapping[str, str], code: str, why: str) -> Because | None:
    """The reason that somebody gave; None without one. Raises UserMistake for a code that is not listed."""
    words = " ".join(why.split())
    if not code:
        if words:
            raise UserMistake(f"--why tells more of a reason: give its code too, {_listed(reasons)}")
        return None
    if code not in reasons:
        raise UserMistake(
            f"--because: unknown reason '{code}'{nearest(code, reasons)}; there are {_listed(reasons)}"
        )
    if not words.isprintable():
        raise UserMistake("--why holds a character that cannot be printed; leave it out")
    return Because(code, reasons[code], words)


def refuse_unexplained(store: Store, serial: str, allowed: int, reasons: Mapping[str, str]) -> None:
    """Raises UserMistake where a unit was judged so often since final assembly, or its last rework, that one more
    run needs a reason. Runs without a verdict are no tests of the unit.
    """
    rework = last_rework(store.dispositions(serial))
    after = rework.after_run if rework else 0
    judged = sum(line.outcome is not None and line.run_number > after for line in store.runs(serial))
    if judged <= allowed:
        return
    since = "its last rework" if rework else "final assembly"
    times = "once" if judged == 1 else f"{judged} times"
    again = {0: "no retest", 1: "one retest"}.get(allowed, f"{allowed} retests")
    raise UserMistake(
        f"{serial} was tested {times} since {since}, and its recipe allows {again} without a reason; "
        f"say why with --because CODE: {_listed(reasons)}"
    )


def _listed(reasons: Mapping[str, str]) -> str:
    return ", ".join(f"{code} ({means})" for code, means in reasons.items())
