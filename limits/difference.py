"""What differs between two revisions of a limit table, in words, for whoever approves the newer one."""

from __future__ import annotations

import re
from collections.abc import Iterator

from limits.kinds.bound import Bound
from limits.table import LimitTable
from limits.units import NUMBER
from limits.verdict import Level

_LEVELS = {Level.SPECIFICATION: "specification", Level.WORKS: "works limit"}


def differences(old: LimitTable, new: LimitTable) -> tuple[str, ...]:
    """One line for each thing that differs, in the order of the newer table; empty where both judge alike.

    E.g. `isolation at tx, works limit: at least 72 -> 74 dB`.
    """
    return tuple(_differences(old, new))


def change(old: str, new: str) -> str:
    """What a text became; where only one number differs, the words around it once: `at least 72 -> 74 dB`."""
    was, is_now = old.split(), new.split()
    differ = [n for n, pair in enumerate(zip(was, is_now, strict=False)) if pair[0] != pair[1]]
    if (
        len(was) == len(is_now)
        and len(differ) == 1
        and _is_number(was[differ[0]])
        and _is_number(is_now[differ[0]])
    ):
        (at,) = differ
        return " ".join((*was[:at], was[at], "->", *is_now[at:]))
    return f"{old} -> {new}"


def _is_number(word: str) -> bool:
    return re.fullmatch(NUMBER, word.lstrip("+-±")) is not None


def spoken(name: str) -> str:
    """The name of a characteristic as it is read out: `isolation at tx`."""
    return name.replace("_", " ")


def _differences(old: LimitTable, new: LimitTable) -> Iterator[str]:
    if old.model != new.model:
        yield f"model: {change(old.model, new.model)}"
    yield from _rules(old, new)
    before = {row.name: dict(row.bounds) for row in old.rows}
    for row in new.rows:
        yield from _bounds(row.name, before.pop(row.name, {}), dict(row.bounds))
    for name, bounds in before.items():
        yield from _bounds(name, bounds, {})


def _rules(old: LimitTable, new: LimitTable) -> Iterator[str]:
    changed = [level for level in Level if str(old.rules[level]) != str(new.rules[level])]
    said = {level: change(str(old.rules[level]), str(new.rules[level])) for level in changed}
    if len(said) == len(Level) and len(set(said.values())) == 1:
        yield f"decision rule: {said[changed[0]]}"
        return
    for level in changed:
        yield f"decision rule of the {_LEVELS[level]}: {said[level]}"


def _bounds(name: str, old: dict[Level, Bound], new: dict[Level, Bound]) -> Iterator[str]:
    for level in Level:
        was = old[level].written() if level in old else ""
        is_now = new[level].written() if level in new else ""
        if was == is_now:
            continue
        where = f"{spoken(name)}, {_LEVELS[level]}"
        if not was:
            yield f"{where}: new, {is_now}"
        elif not is_now:
            yield f"{where}: taken out, was {was}"
        else:
            yield f"{where}: {change(was, is_now)}"
