"""A person of the works, and everything that is ever recorded of one; pure values.

Who somebody is now is told by all that was recorded of them, in its order (`roster`).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from limits.formwords import suggest
from station.errors import UserMistake
from station.rights import Act, Role


class Change(StrEnum):
    """What can be recorded of a person."""

    ADDED = "added"
    CHANGED = "changed"
    """Of role or badge."""

    PIN = "pin set"
    RETIRED = "retired"


class Answer(StrEnum):
    """What somebody who asked to do something was told."""

    ALLOWED = "allowed"
    NO_RIGHT = "no right"
    WRONG = "wrong name or PIN"


@dataclass(frozen=True, slots=True)
class PersonEvent:
    """One thing that was recorded of a person."""

    name: str
    change: Change
    by: str
    """The administrator; the person itself for the first one of a works, and for a PIN of one's own."""

    made: datetime
    """Aware."""

    roles: tuple[Role, ...] = ()
    """From now on, where somebody was added or changed."""

    badge: str = ""
    """From now on, where somebody was added or changed; empty for none."""

    secret: str = ""
    """The argon2 hash of the PIN or password, where one was set."""


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody of the works, as of now."""

    name: str
    roles: tuple[Role, ...]
    badge: str
    """What the code on it says; empty for none."""

    secret: str
    """The argon2 hash of the PIN or password."""

    added: datetime
    pin_set: datetime
    retired: datetime | None = None

    @property
    def is_administrator(self) -> bool:
        """Whether somebody can register others."""
        return self.retired is None and Role.ADMINISTRATOR in self.roles


@dataclass(frozen=True, slots=True)
class ActEntry:
    """Somebody asked to do something."""

    name: str
    """As registered; as it was given where nobody of that name and PIN is."""

    act: Act | None
    """None where it was not said before the PIN was wrong."""

    about: str
    """A serial, a file, a person; empty where the act says it all."""

    made: datetime
    answer: Answer


def clean(name: str) -> str:
    """A name with single spaces."""
    return " ".join(name.split())


def name_key(name: str) -> str:
    """What tells people apart: two names that differ only in case are one."""
    return clean(name).casefold()


def roster(events: Iterable[PersonEvent]) -> tuple[Person, ...]:
    """Everybody ever registered, as of now, in the order of entry."""
    people: dict[str, Person] = {}
    for event in events:
        key = name_key(event.name)
        people[key] = _after(people.get(key), event)
    return tuple(people.values())


def _after(person: Person | None, event: PersonEvent) -> Person:
    if person is None:
        return Person(event.name, event.roles, event.badge, event.secret, event.made, event.made)
    match event.change:
        case Change.ADDED:
            return replace(
                person,
                roles=event.roles,
                badge=event.badge,
                secret=event.secret,
                added=event.made,
                pin_set=event.made,
                retired=None,
            )
        case Change.CHANGED:
            return replace(person, roles=event.roles, badge=event.badge)
        case Change.PIN:
            return replace(person, secret=event.secret, pin_set=event.made)
        case Change.RETIRED:
            return replace(person, retired=event.made)


def found(people: Iterable[Person], said: str) -> Person | None:
    """Who works here now by this name, or by what their badge says."""
    key = name_key(said)
    here = [person for person in people if person.retired is None]
    by_badge = (person for person in here if person.badge and name_key(person.badge) == key)
    return next(by_badge, None) or next((person for person in here if name_key(person.name) == key), None)


def named(people: Sequence[Person], name: str) -> Person:
    """Who works here now by this name. Raises UserMistake with the nearest one."""
    person = found(people, name)
    if person is None:
        here = [each.name for each in people if each.retired is None]
        raise UserMistake(f"nobody works here by the name '{clean(name)}'{suggest(clean(name), here)}")
    return person


def refuse(events: Sequence[PersonEvent], event: PersonEvent) -> None:
    """Raises UserMistake where this may not follow what was recorded until now."""
    before = roster(events)
    if event.change is Change.ADDED:
        _refuse_twice(before, event)
    else:
        named(before, event.name)
    if event.change in (Change.ADDED, Change.CHANGED):
        _refuse_roles(before, event)
        _refuse_confusion(before, event)
    if not any(person.is_administrator for person in roster([*events, event])):
        what = (
            f"{event.name} is the last administrator; make somebody else one first, or nobody could register people"
            if events
            else "the first person of a works must be an administrator, who can then register others"
        )
        raise UserMistake(what)


def _refuse_roles(people: Sequence[Person], event: PersonEvent) -> None:
    if not event.roles:
        raise UserMistake(f"say what {event.name} does: --role {'|'.join(Role)}, once for each role")


def _refuse_twice(people: Sequence[Person], event: PersonEvent) -> None:
    there = next((each for each in people if name_key(each.name) == name_key(event.name)), None)
    if there is not None and there.retired is None:
        raise UserMistake(
            f"{there.name} is registered already; to give another role or badge use --change '{there.name}'"
        )


def _refuse_confusion(people: Sequence[Person], event: PersonEvent) -> None:
    """Nobody's badge may be somebody else's badge or name."""
    for other in people:
        if other.retired is not None or name_key(other.name) == name_key(event.name):
            continue
        if other.badge and name_key(other.badge) in (name_key(event.badge), name_key(event.name)):
            raise UserMistake(f"'{other.badge}' is the badge of {other.name}; each badge is one person's")
        if event.badge and name_key(event.badge) == name_key(other.name):
            raise UserMistake(f"'{event.badge}' is the name of {other.name}; give {event.name} another badge")
