"""People of a works, what they may do, and how they are known."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from station import people
from station.database.person import Answer
from station.desk import Desk, make_works, open_desk
from station.errors import UserMistake
from station.people import MOST_WRONG, REST
from station.rights import RIGHTS, Act, Role, may, who_may

README = Path(__file__).parents[2] / "README.md"
PIN = "417 063"


class Clock:
    """A clock that the test turns."""

    def __init__(self) -> None:
        self.now = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def desk(tmp_path: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """The desk of a works in which nobody is registered, and whose PINs are hashed at the least cost there is."""
    monkeypatch.setattr(people, "COST", (1, 8, 1))
    folder = make_works(
        tmp_path / "works", "Skerry Works", ("Net Loft Quay 3",), "bench: final test 1\n"
    ).folder
    with open_desk(folder, clock) as opened:
        yield opened


@pytest.fixture
def astrid(desk: Desk) -> Desk:
    """The desk with its administrator at it, and an operator in the works."""
    desk.register("Astrid Holm", (Role.ADMINISTRATOR, Role.QUALITY), "B-17", lambda: PIN)
    signed = desk.sign_in("Astrid Holm", PIN)
    signed.register("Signe Dahl", (Role.OPERATOR,), "B-18", lambda: "salt-water")
    return signed


def test_where_nobody_is_registered_everybody_may_do_everything_and_nothing_is_kept(desk):
    assert desk.expect(Act.RESOLVE, "SKV-0101", "Anybody") == "Anybody"
    assert desk.store.acts(10) == ()


def test_once_somebody_is_registered_an_act_needs_a_person_who_signed_in(desk, astrid):
    with pytest.raises(UserMistake, match="sign in to test a unit: give your name or badge, and your PIN"):
        desk.expect(Act.TEST, "SKV-0101", "Signe Dahl")
    assert desk.sign_in("b-18", "salt-water").expect(Act.TEST, "SKV-0101", "somebody else") == "Signe Dahl"


def test_who_has_no_right_is_told_who_may_and_that_is_kept(desk, astrid):
    signe = desk.sign_in("Signe Dahl", "salt-water")
    with pytest.raises(
        UserMistake, match="Signe Dahl may not decide an undecided unit; a quality engineer may"
    ):
        signe.expect(Act.RESOLVE, "SKV-0101")
    (refused, *_) = desk.store.acts(10)
    assert (refused.name, refused.act, refused.answer) == ("Signe Dahl", Act.RESOLVE, Answer.NO_RIGHT)


@pytest.mark.parametrize(("name", "pin"), [
    ("Astrid Holm", "417064"), ("Nobody Here", PIN), ("B-18", PIN), ("Astrid Holm", ""),
])  # fmt: skip
def test_nothing_tells_whether_name_or_pin_was_wrong(desk, astrid, name, pin):
    with pytest.raises(UserMistake) as told:
        desk.sign_in(name, pin)
    assert str(told.value) == "nobody works here by this name or badge with this PIN; try again"
    assert desk.store.acts(1)[0].answer is Answer.WRONG


def test_a_retired_person_is_as_unknown_as_a_stranger(desk, astrid):
    astrid.retire_person("Signe Dahl")
    with pytest.raises(UserMistake, match="nobody works here by this name or badge"):
        desk.sign_in("Signe Dahl", "salt-water")


@pytest.mark.parametrize("name", ["Signe Dahl", "Nobody Here"])
def test_after_some_wrong_pins_a_name_is_not_listened_to_for_a_while(desk, astrid, clock, name):
    for _ in range(MOST_WRONG):
        with pytest.raises(UserMistake, match="nobody works here"):
            desk.sign_in(name, "guessed")
    with pytest.raises(
        UserMistake, match=r"too many wrong PINs for this name; .* listened to again from \d\d:15"
    ):
        desk.sign_in(name, "salt-water")
    assert desk.sign_in("Astrid Holm", PIN).who is not None
    clock.now += REST + timedelta(seconds=1)
    if name == "Signe Dahl":
        assert desk.sign_in(name, "salt-water").who is not None


def test_a_right_pin_ends_the_count_of_wrong_ones(desk, astrid):
    for _ in range(2):
        for _ in range(MOST_WRONG - 1):
            with pytest.raises(UserMistake, match="nobody works here"):
                desk.sign_in("B-18", "guessed")
        desk.sign_in("B-18", "salt-water").expect(Act.TEST, "SKV-0101")


def test_somebody_sets_their_own_pin_and_an_administrator_anybodys(desk, astrid):
    desk.sign_in("Signe Dahl", "salt-water").set_pin("Signe Dahl", lambda: "another one")
    astrid.set_pin("Signe Dahl", lambda: "a third one")
    signe = desk.sign_in("Signe Dahl", "a third one")
    with pytest.raises(UserMistake, match="Signe Dahl may not register, change or retire people"):
        signe.set_pin("Astrid Holm", lambda: pytest.fail("asked"))


def test_an_administrator_lets_somebody_in_again_at_once(desk, astrid):
    for _ in range(MOST_WRONG):
        with pytest.raises(UserMistake, match="nobody works here"):
            desk.sign_in("Signe Dahl", "guessed")
    astrid.set_pin("Signe Dahl", lambda: "a third one")
    assert desk.sign_in("Signe Dahl", "a third one").who is not None


def test_only_an_administrator_registers_people_but_the_first(desk, astrid):
    signe = desk.sign_in("Signe Dahl", "salt-water")
    with pytest.raises(UserMistake, match="; an administrator may"):
        signe.register("Olaf", (Role.OPERATOR,), "", lambda: pytest.fail("asked"))
    with pytest.raises(UserMistake, match="sign in to register"):
        desk.retire_person("Signe Dahl")


def test_other_roles_count_at_once(desk, astrid):
    astrid.change_person("Signe Dahl", (Role.QUALITY, Role.OPERATOR), None)
    signe = desk.sign_in("B-18", "salt-water")
    assert signe.expect(Act.RESOLVE, "SKV-0101") == "Signe Dahl"


@pytest.mark.parametrize(("pin", "said"), [
    ("12345", "at least 6 characters"), ("777777", "would be tried first"), ("olaf b", "would be tried first"),
    ("B-9 99", "would be tried first"),
])  # fmt: skip
def test_a_pin_that_would_be_tried_first_is_not_taken(astrid, pin, said):
    with pytest.raises(UserMistake, match=said):
        astrid.register("Olaf B", (Role.OPERATOR,), "B-9 99", lambda: pin)


def test_no_pin_is_kept_as_it_is_and_each_hash_costs_what_the_standard_asks(astrid, monkeypatch):
    monkeypatch.undo()
    assert people.hashed(PIN).startswith("$argon2id$v=19$m=65536,t=3,p=2$")
    for event in astrid.store.person_events():
        assert event.secret.startswith("$argon2id$")
        assert PIN not in event.secret


def test_every_role_may_do_something_and_every_act_has_somebody():
    assert set(RIGHTS) == set(Act)
    for act in Act:
        assert any(may((role,), act) for role in Role), act
    for role in Role:
        assert any(may((role,), act) for act in Act), role
    assert who_may(Act.RESOLVE) == "a quality engineer"
    assert who_may(Act.TEST).endswith("a quality engineer or an administrator")


def test_the_readme_tells_the_rights_as_they_are():
    text = README.read_text(encoding="utf-8")
    for right in RIGHTS.values():
        row = re.search(rf"^\| {re.escape(right.words)} \| (.*) \|$", text, re.MULTILINE)
        assert row is not None, right.words
        assert row[1] == ("everybody" if set(right.roles) == set(Role) else ", ".join(right.roles))
