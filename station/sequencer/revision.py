"""What differs between two revisions of a recipe, in words, for whoever approves the newer one."""

from __future__ import annotations

from collections.abc import Iterator

from limits.difference import change, spoken
from limits.yamlfile import BYTE_ORDER_MARK
from limits.yamltree import grow
from station.sequencer.recipe import Recipe

_CHARACTERISTICS = "characteristics"
_HEADERS = ("recipe", "revision")
"""What names a revision, and so differs anyway."""


def differences(old: Recipe, new: Recipe) -> tuple[str, ...]:
    """One line for each thing that differs, as the files say it; empty where both measure alike.

    E.g. `analyzer, averages: 1 -> 4`, `tx ripple: taken out`.
    """
    was, is_now = _tree(old), _tree(new)
    items, others = was.pop(_CHARACTERISTICS, {}), is_now.pop(_CHARACTERISTICS, {})
    return (*_changes("", was, is_now), *_characteristics(items, others))


def _tree(recipe: Recipe) -> dict[str, object]:
    """The file as groups of keys and texts; it was found in order before."""
    value = grow(recipe.source.text.removeprefix(BYTE_ORDER_MARK), recipe.source.file).value
    return {str(key): part for key, part in value.items()} if isinstance(value, dict) else {}


def _characteristics(old: object, new: object) -> Iterator[str]:
    before = dict(old) if isinstance(old, dict) else {}
    for name, item in new.items() if isinstance(new, dict) else ():
        if name in before:
            yield from _changes(spoken(name), before.pop(name), item)
        else:
            yield f"{spoken(name)}: new, {_told(item)}"
    for name in before:
        yield f"{spoken(name)}: taken out"
    if isinstance(old, dict) and isinstance(new, dict):
        both = [name for name in new if name in old]
        if both != [name for name in old if name in new]:
            yield "characteristics: in another order"


def _changes(where: str, old: object, new: object) -> Iterator[str]:
    """What differs between two parts, each thing after the way to it."""
    if isinstance(old, dict) and isinstance(new, dict):
        for key in dict.fromkeys([*new, *old]):
            if where or key not in _HEADERS:
                yield from _changes(
                    f"{where}, {spoken(key)}" if where else spoken(key), old.get(key), new.get(key)
                )
    elif old is None and new is not None:
        yield f"{where}: new, {_told(new)}"
    elif new is None and old is not None:
        yield f"{where}: taken out, was {_told(old)}"
    elif _told(old) != _told(new):
        yield f"{where}: {change(_told(old), _told(new))}"


def _told(part: object) -> str:
    """A part of a file in one line, its spaces put in order."""
    if isinstance(part, dict):
        return ", ".join(f"{spoken(key)} {_told(value)}" for key, value in part.items())
    if isinstance(part, list):
        return ", ".join(map(_told, part))
    return " ".join(str(part).split())
