"""YAML text to plain texts, lists and groups of keys, with the line and column of every part.

Only the tree is built here; what it means is the forms' business (`limits.yamlfile`). Every scalar stays the
text that was written: YAML 1.1 would read `no` as false, `010` as 8 and `12:30:00` as 45000, and nobody who
fills in a limit means that. Anchors, aliases and tags are refused, since one line of them can stand for a
million.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import yaml

from limits.errors import Mistake

Loc = tuple[str | int, ...]
"""The way from the top of a file to one of its parts: keys, and numbers of list entries from 0."""

Place = tuple[int, int]
"""Line and column, both from 1."""

MAX_DEPTH = 20
"""Far more than any form of ours needs; a deeper text is a mistake or an attack."""

_PLAIN_STR_TAGS = (None, "!")
_CONTROL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\ud800-\udfff\ufffe\uffff]")
_NOTHING = ("", "~", "null", "Null", "NULL")

_TAB = "a tab stands here; YAML is indented with spaces only"
_SYNTAX = (
    ("mapping values are not allowed", "a ':' stands where no key can be; check the indentation, or put "
     "the text in quotes"),
    ("could not find expected ':'", "a key without its ':'; write 'key: value'"),
    ("did not find expected key", "the indentation does not fit the lines above"),
    ("expected <block end>", "the indentation does not fit the lines above"),
    ("found a tab character", _TAB),
    ("did not find expected '-' indicator", "the indentation does not fit the list above"),
    ("expected ',' or", "what opens with '[' or '{' here is not closed, or a ',' is missing in it"),
    ("found unexpected end of stream", "the quote that opens here is not closed"),
    ("exceeded maximum nesting", f"nested more than {MAX_DEPTH} deep"),
    ("unknown escape character", "a backslash in double quotes; use single quotes"),
)  # fmt: skip


@dataclass(slots=True)
class Tree:
    """A whole YAML text. Filled by `grow`, not changed afterwards."""

    value: object = None
    """str, list or dict, nested; None when the text holds nothing."""

    places: dict[Loc, Place] = field(default_factory=dict)
    """Of a text its own place; of a list or group that of the key that names it."""

    keys: dict[Loc, Place] = field(default_factory=dict)
    """Place of the key itself."""

    mistakes: list[tuple[Loc, Mistake]] = field(default_factory=list)
    """What is wrong already as YAML; a location other than the top says that its value is of no use."""

    whole: bool = True
    """Whether the text could be read to its end."""


def place_of(places: Mapping[Loc, Place], loc: Loc) -> Place:
    """The place of the nearest part that is there; (0, 0) when there is none."""
    for end in range(len(loc), -1, -1):
        if loc[:end] in places:
            return places[loc[:end]]
    return (0, 0)


def grow(text: str, file: str) -> Tree:
    """The tree of a YAML text. Raises nothing: what is wrong stands in `mistakes`."""
    tree = Tree()
    if control := _CONTROL.search(text):
        line, column = place_in(text, control.start())
        what = f"a control character (U+{ord(control.group()):04X}) that does not belong in a text; remove it"
        tree.mistakes.append(((), Mistake(what, file, line, column)))
        tree.whole = False
        return tree
    gardener = _Gardener(tree, file, _events(text))
    try:
        gardener.document()
    except yaml.MarkedYAMLError as error:
        mistake = _unclosed(error, gardener.latest, text, file) or _syntax(error, text, file)
        tree.mistakes.append(((), mistake))
        tree.whole = False
    except yaml.YAMLError as error:
        tree.mistakes.append(((), Mistake(f"not valid YAML: {' '.join(str(error).split())}", file)))
        tree.whole = False
    except _TooDeep:
        tree.whole = False
    return tree


def place_in(text: str, index: int) -> Place:
    """Line and column of a character, from 1."""
    before = text[:index]
    return before.count("\n") + 1, index - before.rfind("\n")


def _events(text: str) -> Iterator[yaml.Event]:
    loader = getattr(yaml, "CBaseLoader", yaml.BaseLoader)
    events: Iterator[yaml.Event] = yaml.parse(text, Loader=loader)
    return events


class _Mark(Protocol):
    """Either parser's own kind of mark, counted from 0."""

    @property
    def line(self) -> int: ...

    @property
    def column(self) -> int: ...


def _at(mark: _Mark | None) -> Place:
    return (0, 0) if mark is None else (mark.line + 1, mark.column + 1)


class _TooDeep(Exception):
    """The text is nested deeper than any form; reading stops."""


class _Gardener:
    """Walks the parser's events once and fills a tree."""

    def __init__(self, tree: Tree, file: str, events: Iterator[yaml.Event]) -> None:
        self._tree = tree
        self._file = file
        self._events = events
        self.latest: yaml.ScalarEvent | None = None
        """The text that was read last, where the parser's own complaint may be about its end."""

    def document(self) -> None:
        next(self._events)  # start of the stream
        if isinstance(next(self._events), yaml.StreamEndEvent):
            return
        self._tree.value = self._node(next(self._events), ()) or None
        next(self._events)  # end of the document
        after = next(self._events)
        if not isinstance(after, yaml.StreamEndEvent):
            self._wrong(
                (), _at(after.start_mark), "a second document begins here ('---'); one file holds one"
            )

    def _wrong(self, loc: Loc, place: Place, what: str) -> None:
        self._tree.mistakes.append((loc, Mistake(what, self._file, *place)))

    def _node(self, event: yaml.Event, loc: Loc) -> object:
        place = _at(event.start_mark)
        named = self._tree.keys.get(loc, place)
        if len(loc) > MAX_DEPTH:
            self._wrong(loc, place, f"nested more than {MAX_DEPTH} deep")
            raise _TooDeep
        self._refuse_references(event, loc, place)
        if isinstance(event, yaml.ScalarEvent):
            self.latest = event
            return self._text(event, loc, place)
        self._tree.places[loc] = named
        if isinstance(event, yaml.SequenceStartEvent):
            return self._list(loc)
        return self._group(loc) if isinstance(event, yaml.MappingStartEvent) else ""

    def _refuse_references(self, event: yaml.Event, loc: Loc, place: Place) -> None:
        anchor = getattr(event, "anchor", None)
        if isinstance(event, yaml.AliasEvent):
            self._wrong(loc, place, f"'*{anchor}' refers to another place; write the value out here")
        elif anchor:
            self._wrong(loc, place, f"'&{anchor}' is an anchor, which is not understood here; remove it")
        elif (tag := getattr(event, "tag", None)) not in _PLAIN_STR_TAGS:
            short = str(tag).replace("tag:yaml.org,2002:", "!!")
            self._wrong(loc, place, f"'{short}' is a YAML tag, which is not understood here; remove it")

    def _text(self, event: yaml.ScalarEvent, loc: Loc, place: Place) -> str:
        value = str(event.value)
        plain = event.style is None or event.style == ""
        if loc and plain and value in _NOTHING:
            place = self._tree.keys.get(loc, place)
            if getattr(event, "anchor", None) is None and event.tag is None:
                self._wrong(loc, place, _nothing(value, loc))
        self._tree.places[loc] = place
        return value

    def _list(self, loc: Loc) -> list[object]:
        entries: list[object] = []
        while not isinstance(event := next(self._events), yaml.SequenceEndEvent):
            entries.append(self._node(event, (*loc, len(entries))))
        return entries

    def _group(self, loc: Loc) -> dict[str, object]:
        group: dict[str, object] = {}
        while not isinstance(event := next(self._events), yaml.MappingEndEvent):
            place = _at(event.start_mark)
            if not isinstance(event, yaml.ScalarEvent):
                self._wrong(loc, place, "a key must be a plain word")
                self._skip(event)
                self._skip(next(self._events))
                continue
            key = str(event.value)
            here = (*loc, key)
            self._refuse_references(event, loc, place)
            if key not in group:
                self._tree.keys[here] = place
                group[key] = self._node(next(self._events), here)
                continue
            first = self._tree.keys[here][0]
            self._wrong((), place, f"'{key}' is written twice; the first is on line {first}")
            self._skip(next(self._events))
        return group

    def _skip(self, event: yaml.Event) -> None:
        """Pass over one node whose value is of no use; iterative, so depth does not matter."""
        depth = 0
        while True:
            depth += isinstance(event, yaml.CollectionStartEvent)
            depth -= isinstance(event, yaml.CollectionEndEvent)
            if not depth:
                return
            event = next(self._events)


def _nothing(value: str, loc: Loc) -> str:
    name = f"'{loc[-1]}'" if loc and isinstance(loc[-1], str) else "this entry"
    if value:
        return f"'{value}' means nothing in YAML; give {name} a value, put it in quotes, or remove it"
    if re.match("[0-9]", name.strip("'")):
        return f"{name} stands alone after a comma; a decimal comma splits a number here, so write a point"
    return f"{name} has no value; write one, or remove it"


def _unclosed(
    error: yaml.MarkedYAMLError, latest: yaml.ScalarEvent | None, text: str, file: str
) -> Mistake | None:
    """A quote left open runs on to the next one, and only what follows that one is odd to the parser."""
    if latest is None or latest.style not in ("'", '"') or error.problem_mark is None:
        return None
    opened, closed, odd = map(_at, (latest.start_mark, latest.end_mark, error.problem_mark))
    if opened[0] == closed[0] or closed[0] != odd[0]:
        return None
    if _line(text, odd[0])[closed[1] - 1 : odd[1] - 1].strip():
        return None
    what = f"the quote that opens here is not closed where it should be; it runs on to line {closed[0]}"
    return Mistake(what, file, *opened)


def _syntax(error: yaml.MarkedYAMLError, text: str, file: str) -> Mistake:
    problem = error.problem or "cannot be read"
    mark = error.problem_mark
    what = next((ours for theirs, ours in _SYNTAX if theirs in problem), f"not valid YAML: {problem}")
    if "cannot start any token" in problem and mark is not None:
        what = _bad_start(text, _at(mark))
    opened = ("expected ',' or", "found unexpected end of stream", "could not find expected ':'")
    if any(words in problem for words in opened) and error.context_mark is not None:
        mark = error.context_mark
    return Mistake(what, file, *_at(mark))


def _bad_start(text: str, place: Place) -> str:
    character = _line(text, place[0])[place[1] - 1 : place[1]]
    if character == "\t":
        return _TAB
    return f"a text that starts with '{character}' must be put in quotes"


def _line(text: str, number: int) -> str:
    """One line, from 1; empty where YAML, which knows more line ends, counts further than there are."""
    lines = text.split("\n")
    return lines[number - 1] if number <= len(lines) else ""
