"""The works' people on a terminal: who they are, what they may do, what they did."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from limits.formwords import suggest
from reports import wording
from station.cli.asking import out
from station.cli.signing_in import new_pin, signed_in
from station.cli.tables import Column, print_json, say, show, there
from station.errors import UserMistake

if TYPE_CHECKING:
    from collections.abc import Sequence

    from station.database.person import ActEntry, Person
    from station.desk import Desk
    from station.rights import Role

MOST_ACTS = 50
"""Of the latest acts, in a list."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked of `station people`; at most one of the first four is given."""

    add: str | None = None
    change: str | None = None
    retire: str | None = None
    pin: str | None = None
    roles: tuple[str, ...] = ()
    badge: str | None = None
    by: str = ""
    pin_file: Path | None = None

    @property
    def name(self) -> str | None:
        """Of whom; None where only a list is asked for."""
        given = [name for name in (self.add, self.change, self.retire, self.pin) if name is not None]
        if len(given) > 1:
            raise UserMistake("one thing at a time: --add, --change, --retire or --pin")
        return given[0] if given else None


def people(folder: Path, wanted: Wanted, *, acts: bool, as_json: bool) -> None:
    """Record something of a person, or list everybody, or what they did."""
    from station.desk import open_desk

    roles = tuple(map(_role, wanted.roles))
    name = wanted.name
    _refuse_idle(wanted)
    with open_desk(folder) as desk:
        if name is not None:
            _record(desk, name, roles, wanted)
        everybody = desk.people.all()
        if acts:
            _show_acts(desk.store.acts(MOST_ACTS), as_json=as_json)
            return
    _show_people(everybody, folder, as_json=as_json)


def _record(desk: Desk, name: str, roles: Sequence[Role], wanted: Wanted) -> None:
    desk = signed_in(desk, wanted.by or (name if wanted.pin else ""))

    def pin() -> str:
        return new_pin(name, wanted.pin_file)

    if wanted.add:
        desk.register(name, roles, wanted.badge or "", pin)
    elif wanted.change:
        desk.change_person(name, roles, wanted.badge)
    elif wanted.retire:
        desk.retire_person(name)
    else:
        desk.set_pin(name, pin)


def _refuse_idle(wanted: Wanted) -> None:
    """Options that belong to another one."""
    if (wanted.roles or wanted.badge is not None) and not (wanted.add or wanted.change):
        raise UserMistake("--role and --badge belong to --add NAME or --change NAME")
    if wanted.pin_file is not None and not (wanted.add or wanted.pin):
        raise UserMistake("--pin-file belongs to --add NAME or --pin NAME")


def _role(word: str) -> Role:
    from station.rights import Role

    if word not in list(Role):
        raise UserMistake(f"there is no role '{word}'{suggest(word, list(Role))}")
    return Role(word)


PEOPLE = (
    Column("name", "Name"),
    Column("roles", "Roles", ", ".join),
    Column("badge", "Badge"),
    Column("added", "Since", wording.day),
    Column("retired", "Retired", wording.day),
)


def _show_people(everybody: Sequence[Person], folder: Path, *, as_json: bool) -> None:
    rows: list[dict[str, Any]] = [
        {
            "name": each.name,
            "roles": [role.value for role in each.roles],
            "badge": each.badge or None,
            "added": each.added,
            "retired": each.retired,
        }
        for each in everybody
    ]
    if not rows and not as_json:
        first = f"station people --add NAME --role administrator{there(folder)}"
        say(
            out(),
            f"Nobody is registered: whoever is at the station may do everything. To change that: {first}",
        )
        return
    show(rows, PEOPLE, out(), as_json=as_json)


ACTS = (
    Column("made", "When", wording.moment),
    Column("name", "Who"),
    Column("act", "Wanted to", least=10),
    Column("about", "About"),
    Column("answer", "Answer"),
)


def _show_acts(entries: Sequence[ActEntry], *, as_json: bool) -> None:
    from station.rights import RIGHTS

    rows = [
        {
            "made": each.made,
            "name": each.name,
            "act": each.act.value if each.act else None,
            "about": each.about,
            "answer": each.answer.value,
        }
        for each in entries
    ]
    if as_json:
        print_json(rows, out())
        return
    words = [RIGHTS[each.act].words if each.act else "sign in" for each in entries]
    show([{**row, "act": said} for row, said in zip(rows, words, strict=True)], ACTS, out(), as_json=False)
