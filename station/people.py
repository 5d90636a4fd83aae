"""The works' people: registering them, and finding out who somebody is by name or badge and PIN or password.

PINs are kept as argon2 hashes (RFC 9106). Nothing tells which of name and PIN was wrong, and after some wrong ones a
name is not listened to for a while.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from station.database.person import (
    ActEntry,
    Answer,
    Change,
    Person,
    PersonEvent,
    clean,
    found,
    name_key,
    named,
    roster,
)
from station.database.store import Store
from station.errors import UserMistake
from station.rights import RIGHTS, Act, Role, may, who_may

LEAST = 6
"""Characters of a PIN or password: with the rest after MOST_WRONG, six digits hold out for years."""

MOST = 200

COST = (3, 65536, 2)
"""Of an argon2 hash, in passes, KiB and threads: RFC 9106's second recommended option, with the threads of a small
machine. A hash remembers its own, so that dearer ones may follow."""

MOST_WRONG = 5
REST = timedelta(minutes=15)
"""How long a wrong PIN counts, and so how long a name is not listened to after MOST_WRONG of them."""


@dataclass(frozen=True, slots=True)
class People:
    """Everybody of a works."""

    store: Store

    @property
    def is_anybody(self) -> bool:
        """Whether anybody is registered; only then are rights asked for."""
        return self.store.is_anybody()

    def all(self) -> tuple[Person, ...]:
        """Everybody ever registered, as of now, in the order of entry."""
        return roster(self.store.person_events())

    def identify(self, said: str, pin: str, now: datetime) -> Person:
        """Who somebody is, by name or badge. Raises UserMistake that does not tell what was wrong."""
        person = found(self.all(), said)
        name = person.name if person else clean(said)[:MOST]
        self._refuse_resting(name, max(now - REST, person.pin_set) if person else now - REST)
        # Somebody unknown takes as long as a wrong PIN.
        right = _verifies(person.secret, pin) if person else not hashed(pin)
        if person is None or not right:
            self.store.keep_act(ActEntry(name, None, "", now, Answer.WRONG))
            raise UserMistake("nobody works here by this name or badge with this PIN; try again")
        return person

    def allow(self, person: Person, act: Act, about: str, now: datetime) -> None:
        """Record that somebody does this. Raises UserMistake, and records that, where they have no right to."""
        allowed = may(person.roles, act)
        answer = Answer.ALLOWED if allowed else Answer.NO_RIGHT
        self.store.keep_act(ActEntry(person.name, act, about, now, answer))
        if not allowed:
            raise UserMistake(f"{person.name} may not {RIGHTS[act].words}; {who_may(act)} may")

    def add(
        self, name: str, roles: Sequence[Role], badge: str, pin: str, by: Person | None, now: datetime
    ) -> None:
        """Register somebody. `by` is None for the first one of a works. Raises UserMistake where it may not be."""
        name, badge = _line(name, "a name"), clean(badge)
        _refuse_guessable(pin, name, badge)
        self.store.keep_person_event(
            PersonEvent(
                name,
                Change.ADDED,
                by.name if by else name,
                now,
                tuple(dict.fromkeys(roles)),
                badge,
                hashed(pin),
            )
        )

    def change(self, name: str, roles: Sequence[Role], badge: str | None, by: Person, now: datetime) -> None:
        """Give somebody other roles, another badge, or both; no roles and None leave them as they are."""
        person = named(self.all(), name)
        self.store.keep_person_event(
            PersonEvent(
                person.name,
                Change.CHANGED,
                by.name,
                now,
                tuple(dict.fromkeys(roles)) or person.roles,
                person.badge if badge is None else clean(badge),
            )
        )

    def set_pin(self, name: str, pin: str, by: Person, now: datetime) -> None:
        """Give somebody another PIN or password."""
        person = named(self.all(), name)
        _refuse_guessable(pin, person.name, person.badge)
        self.store.keep_person_event(PersonEvent(person.name, Change.PIN, by.name, now, secret=hashed(pin)))

    def retire(self, name: str, by: Person, now: datetime) -> None:
        """Somebody works here no more; what they did stays theirs."""
        person = named(self.all(), name)
        self.store.keep_person_event(PersonEvent(person.name, Change.RETIRED, by.name, now))

    def _refuse_resting(self, name: str, since: datetime) -> None:
        """Raises UserMistake for a name that was tried too often since then."""
        wrong = self.store.wrong_since(name, since)
        if len(wrong) >= MOST_WRONG:
            until = (wrong[-MOST_WRONG] + REST).astimezone()
            raise UserMistake(
                f"too many wrong PINs for this name; it is listened to again from {until:%H:%M}, or at once after an "
                "administrator set another PIN: station people --pin NAME"
            )


def hashed(pin: str) -> str:
    """The argon2 hash of a PIN; it takes some tenths of a second, so that nobody can try many."""
    from argon2 import PasswordHasher

    return PasswordHasher(*COST).hash(pin)


def _verifies(secret: str, pin: str) -> bool:
    from argon2 import PasswordHasher
    from argon2.exceptions import VerificationError

    try:
        return PasswordHasher().verify(secret, pin)
    except VerificationError:
        return False


def _line(text: str, what: str) -> str:
    line = clean(text)
    if not line or not line.isprintable() or len(line) > MOST:
        raise UserMistake(f"{what} is one line of 1 to {MOST} characters that can be printed")
    return line


def _refuse_guessable(pin: str, name: str, badge: str) -> None:
    """Raises UserMistake for a PIN that somebody would try first."""
    if not LEAST <= len(pin) <= MOST:
        raise UserMistake(f"a PIN or password has at least {LEAST} characters (and at most {MOST})")
    if len(set(pin)) == 1 or name_key(pin) in (name_key(name), name_key(badge)):
        raise UserMistake(
            "this PIN would be tried first: it is the name, the badge or one character again and again"
        )
