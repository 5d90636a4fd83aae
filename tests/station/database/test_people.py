"""What is recorded of people is only ever added to, and tells who somebody is now."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import sqlalchemy as sa

from station.database import opening
from station.database.address import database_url
from station.database.person import ActEntry, Answer, Change, Person, PersonEvent, found, roster
from station.database.store import Store
from station.errors import StoreFault, UserMistake
from station.rights import Act, Role

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
ADMIN, QUALITY, OPERATOR = (Role.ADMINISTRATOR,), (Role.QUALITY,), (Role.OPERATOR,)


def event(name: str, change: Change = Change.ADDED, minutes: int = 0, **more: object) -> PersonEvent:
    given = {"roles": ADMIN, "secret": f"hash of {name}"} if change is Change.ADDED else {}
    made = NOW + timedelta(minutes=minutes)
    return PersonEvent(name, change, "Astrid Holm", made, **{**given, **more})  # type: ignore[arg-type]


@pytest.fixture
def astrid(store: Store) -> Store:
    """A store with one administrator."""
    store.keep_person_event(event("Astrid Holm", badge="B-17"))
    return store


def people(store: Store) -> dict[str, Person]:
    return {person.name: person for person in roster(store.person_events())}


def test_nobody_is_registered_in_a_new_works(store):
    assert not store.is_anybody()
    assert store.person_events() == ()


def test_what_was_recorded_comes_back_as_it_was(astrid):
    signe = event("Signe Dahl", minutes=1, roles=(Role.OPERATOR, Role.TECHNICIAN), badge="B-18")
    astrid.keep_person_event(signe)
    assert astrid.is_anybody()
    assert astrid.person_events() == (event("Astrid Holm", badge="B-17"), signe)


def test_the_last_thing_recorded_tells_who_somebody_is(astrid):
    astrid.keep_person_event(event("Signe Dahl", roles=OPERATOR, badge="B-18"))
    astrid.keep_person_event(event("signe  dahl", Change.CHANGED, 1, roles=QUALITY, badge="B-19"))
    astrid.keep_person_event(event("Signe Dahl", Change.PIN, 2, secret="another"))
    signe = people(astrid)["Signe Dahl"]
    assert (signe.roles, signe.badge, signe.secret) == (QUALITY, "B-19", "another")
    assert len(astrid.person_events()) == 4


def test_who_is_retired_is_kept_works_here_no_more_and_may_come_back(astrid):
    astrid.keep_person_event(event("Signe Dahl", roles=OPERATOR, badge="B-18"))
    astrid.keep_person_event(event("Signe Dahl", Change.RETIRED, 1))
    assert people(astrid)["Signe Dahl"].retired == NOW + timedelta(minutes=1)
    assert found(people(astrid).values(), "Signe Dahl") is None
    with pytest.raises(UserMistake, match="nobody works here by the name 'Signe Dahl'"):
        astrid.keep_person_event(event("Signe Dahl", Change.PIN, 2, secret="x"))
    astrid.keep_person_event(event("Signe Dahl", Change.ADDED, 3, roles=QUALITY))
    assert people(astrid)["Signe Dahl"].retired is None


def test_somebody_is_found_by_name_in_any_case_and_by_badge(astrid):
    for said in ("Astrid Holm", "astrid  holm", "B-17", "b-17"):
        person = found(people(astrid).values(), said)
        assert person is not None, said
        assert person.name == "Astrid Holm"
    assert found(people(astrid).values(), "") is None


@pytest.mark.parametrize("change", [
    {"change": Change.RETIRED}, {"change": Change.CHANGED, "roles": QUALITY},
])  # fmt: skip
def test_the_last_administrator_stays_one(astrid, change):
    astrid.keep_person_event(event("Signe Dahl", roles=OPERATOR))
    with pytest.raises(
        UserMistake, match="Astrid Holm is the last administrator; make somebody else one first"
    ):
        astrid.keep_person_event(event("Astrid Holm", minutes=1, **change))
    astrid.keep_person_event(event("Signe Dahl", Change.CHANGED, 2, roles=ADMIN))
    astrid.keep_person_event(event("Astrid Holm", minutes=3, **change))
    assert not people(astrid)["Astrid Holm"].is_administrator


def test_the_first_one_must_be_an_administrator(store):
    with pytest.raises(UserMistake, match="the first person of a works must be an administrator"):
        store.keep_person_event(event("Signe Dahl", roles=OPERATOR))
    assert not store.is_anybody()


@pytest.mark.parametrize(("wrong", "said"), [
    ({"name": "astrid holm"}, "Astrid Holm is registered already; .* --change 'Astrid Holm'"),
    ({"name": "Signe Dahl", "badge": "b-17"}, "'B-17' is the badge of Astrid Holm"),
    ({"name": "B-17"}, "'B-17' is the badge of Astrid Holm"),
    ({"name": "Signe Dahl", "badge": "astrid holm"}, "'astrid holm' is the name of Astrid Holm"),
    ({"name": "Signe Dahl", "roles": ()}, "say what Signe Dahl does: --role operator|technician"),
    ({"name": "Astrid Hol", "change": Change.RETIRED}, "nobody works here by the name 'Astrid Hol'; did you mean"),
])  # fmt: skip
def test_what_would_confuse_people_is_not_taken_in(astrid, wrong, said):
    with pytest.raises(UserMistake, match=said):
        astrid.keep_person_event(event(**wrong))
    assert len(astrid.person_events()) == 1


def test_a_pin_that_was_exchanged_by_hand_is_not_believed(url, astrid):
    engine = opening.make_engine(database_url(url), wait_s=1, writable=True)
    with opening.for_writing(engine).begin() as connection:
        connection.execute(sa.text("UPDATE person_secret SET secret = 'mine'"))
    engine.dispose()
    with pytest.raises(StoreFault, match="the PIN of Astrid Holm is not the one that was set"):
        astrid.person_events()


def test_acts_are_told_the_newest_first(store):
    entries = [
        ActEntry("Signe Dahl", Act.TEST, "SKV-0101", NOW, Answer.ALLOWED),
        ActEntry("Signe Dahl", Act.RESOLVE, "SKV-0101", NOW, Answer.NO_RIGHT),
        ActEntry("Signe Dahl", None, "", NOW, Answer.WRONG),
    ]
    for entry in entries:
        store.keep_act(entry)
    assert store.acts(2) == (entries[2], entries[1])


def test_wrong_pins_are_counted_from_the_last_right_one(store):
    def told(minutes: int, answer: Answer, name: str = "Signe Dahl") -> None:
        store.keep_act(ActEntry(name, None, "", NOW + timedelta(minutes=minutes), answer))

    told(0, Answer.WRONG)
    told(1, Answer.ALLOWED)
    told(2, Answer.WRONG)
    told(3, Answer.WRONG, "Astrid Holm")
    told(4, Answer.WRONG, "signe  DAHL")
    assert store.wrong_since("Signe Dahl", NOW) == (NOW + timedelta(minutes=2), NOW + timedelta(minutes=4))
    assert store.wrong_since("Signe Dahl", NOW + timedelta(minutes=3)) == (NOW + timedelta(minutes=4),)
