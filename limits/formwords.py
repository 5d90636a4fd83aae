"""What is wrong with a filled-in form, in the words and at the place of the person who filled it in.

The only file that knows the names pydantic gives to errors.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Iterator
from typing import get_args

from pydantic import BaseModel, RootModel, ValidationError
from pydantic_core import ErrorDetails

from limits.errors import Mistake
from limits.yamltree import Loc, Tree, place_of

_EXPECTED = {
    "string_type": "text",
    "model_type": "a group of keys",
    "model_attributes_type": "a group of keys",
    "dict_type": "a group of keys",
    "list_type": "a list",
    "tuple_type": "a list",
    "set_type": "a list",
    "frozen_set_type": "a list",
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than": "less than {lt}",
    "less_than_equal": "at most {le}",
    "too_short": "{min_length} or more entries",
    "too_long": "no more than {max_length} entries",
    "string_too_short": "a text of at least {min_length} characters",
    "string_too_long": "a text of at most {max_length} characters",
    "string_pattern_mismatch": "a text that fits the pattern {pattern}",
    "literal_error": "{expected}",
    "enum": "{expected}",
}


def mistakes_of(error: ValidationError, tree: Tree, form: type[BaseModel], file: str) -> list[Mistake]:
    """Every mistake of a form at its place; what was already refused as YAML is not said again."""
    refused = {loc for loc, _ in tree.mistakes if loc}
    found: dict[tuple[int, int, str], list[str]] = {}
    for detail in error.errors(include_url=False):
        loc = _in_tree(detail["loc"], tree.value)
        if any(loc[: len(bad)] == bad for bad in refused) or _long_enough(detail):
            continue
        by_key = detail["type"] == "extra_forbidden" or detail["loc"][-1:] == ("[key]",)
        place = tree.keys[loc] if by_key and loc in tree.keys else place_of(tree.places, loc)
        # Alternatives of one value are one mistake; keys that are missing in one group are several.
        apart = str(detail["loc"][-1]) if detail["type"] == "missing" else ""
        words = found.setdefault((*place, apart), [])
        if (what := _words(detail, loc, form)) not in words:
            words.append(what)
    return [Mistake("; or: ".join(words), file, line, column) for (line, column, _), words in found.items()]


def _long_enough(detail: ErrorDetails) -> bool:
    """Whether a list was called too short only because pydantic does not count its faulty entries."""
    written: object = detail["input"]
    least = detail.get("ctx", {}).get("min_length", 0)
    return detail["type"] == "too_short" and isinstance(written, list | dict) and len(written) >= least


def nearest(word: str, valid: Iterable[str]) -> str:
    """`; did you mean 'x'?`, or nothing when no valid word is near."""
    by_case = {choice.casefold(): choice for choice in valid}
    close = difflib.get_close_matches(word.casefold(), by_case, n=1, cutoff=0.6)
    longer = [choice for choice in by_case if len(word) >= 3 and choice.startswith(word.casefold())]
    if not close and len(longer) == 1:
        close = longer
    return f"; did you mean '{by_case[close[0]]}'?" if close else ""


def choices(words: Iterable[str]) -> str:
    """`valid is x`, or `valid are x, y`."""
    valid = list(words)
    return f"valid {'is' if len(valid) == 1 else 'are'} {', '.join(valid)}"


def suggest(word: str, valid: Iterable[str]) -> str:
    """`; did you mean 'x'?`, or all the valid words when none is near."""
    words = list(valid)
    return nearest(word, words) or f"; {choices(words)}"


def got(value: object) -> str:
    """What somebody wrote, short enough for a message."""
    if isinstance(value, dict):
        return "a group of keys"
    if isinstance(value, list | tuple):
        return "a list" if value else "an empty list"
    text = str(value)
    return f"'{text}'" if len(text) <= 60 else f"'{text[:57]}...'"


def _in_tree(loc: Loc, value: object) -> Loc:
    """The part of pydantic's location that exists in the file; it adds names of its own for alternatives."""
    kept: list[str | int] = []
    for part in loc:
        inside = _entries(value)
        if part in inside:
            value = inside[part]
            kept.append(part)
    return tuple(kept)


def _entries(value: object) -> dict[object, object]:
    if isinstance(value, list):
        return dict(enumerate(value))
    return value if isinstance(value, dict) else {}


def _words(detail: ErrorDetails, loc: Loc, form: type[BaseModel]) -> str:
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "missing":
        return f"'{detail['loc'][-1]}' is missing here"
    if kind == "extra_forbidden":
        return _unknown_key(str(loc[-1]) if loc else "", list(_keys_at(form, loc[:-1])))
    if kind == "value_error":
        return str(context["error"])
    written = got(detail["input"])
    if kind in ("too_short", "too_long"):
        written = str(context["actual_length"] or "none")
    if kind in _EXPECTED:
        expected = _EXPECTED[kind].format(**context)
        return f"expected {expected}, got {written}{_nearest_choice(kind, detail['input'], expected)}"
    message = detail["msg"].removeprefix("Input should be ").removeprefix("a valid ")
    return f"expected {message}, got {written}"


def _nearest_choice(kind: str, written: object, expected: str) -> str:
    if kind not in ("literal_error", "enum") or not isinstance(written, str):
        return ""
    return nearest(written, re.findall(r"'([^']*)'", expected))


def _unknown_key(key: str, valid: list[str]) -> str:
    return f"unknown key '{key}'{suggest(key, valid)}"


def _keys_at(form: type[BaseModel], loc: Loc) -> Iterator[str]:
    """The keys that the form knows at a location."""
    here = list(_models_in(form))
    for part in loc:
        fields = [model.model_fields[part] for model in here if part in model.model_fields]
        if fields:
            here = [model for info in fields for model in _models_in(info.annotation)]
    for model in here:
        for name, info in model.model_fields.items():
            yield info.alias or name


def _models_in(annotation: object) -> Iterator[type[BaseModel]]:
    """The forms that a type is made of, through alternatives and containers."""
    if isinstance(annotation, type) and issubclass(annotation, RootModel):
        yield from _models_in(annotation.model_fields["root"].annotation)
    elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    else:
        for part in get_args(annotation):
            yield from _models_in(part)
