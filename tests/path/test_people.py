"""People who sign in at a terminal: PINs are read without echo, or from a file; what they do is theirs."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from station import people
from station.cli.main import app
from station.desk import open_desk
from station.errors import UserMistake
from station.rights import Role
from station.settings import Works

MISTAKE = 2
PIN = "417063"


@pytest.fixture
def pins(tmp_path: Path) -> dict[str, str]:
    """Environments in which somebody signs in without being asked."""
    people = {"Astrid Holm": PIN, "Signe Dahl": "salt-water"}
    for name, pin in people.items():
        (tmp_path / name).write_text(f"{pin}\n")
    return {"nobody": str(tmp_path / "gone"), **{name: str(tmp_path / name) for name in people}}


@pytest.fixture
def staffed(works: Works, monkeypatch: pytest.MonkeyPatch) -> Works:
    """A works with an administrator, who is a quality engineer too, and an operator."""
    monkeypatch.setattr(people, "COST", (1, 8, 1))
    with open_desk(works.folder) as desk:
        desk.register("Astrid Holm", (Role.ADMINISTRATOR, Role.QUALITY), "", lambda: PIN)
        astrid = desk.sign_in("Astrid Holm", PIN)
        astrid.register("Signe Dahl", (Role.OPERATOR,), "B-18", lambda: "salt-water")
        for paper in astrid.papers("SK-V4"):
            astrid.approve(paper, "as shipped")
    return works


def test_people_are_registered_at_a_terminal_without_their_pins_being_seen(works, station, pins):
    where = ("--works", works.folder, "--json")
    first = station(
        "people", "--add", "Astrid Holm", "--role", "administrator", "--role", "quality", *where,
        stdin=f"{PIN}\n{PIN}\n",
    )  # fmt: skip
    assert first.code == 0, first.err
    told = station(
        "people", "--add", "Signe Dahl", "--role", "operator", "--badge", "B-18", "--pin-file", pins["Signe Dahl"],
        "--by", "astrid holm", *where, stdin=f"{PIN}\n",
    )  # fmt: skip
    assert told.code == 0, told.err
    assert [(row["name"], row["roles"], row["badge"]) for row in json.loads(told.out)] == [
        ("Astrid Holm", ["administrator", "quality"], None), ("Signe Dahl", ["operator"], "B-18"),
    ]  # fmt: skip
    assert PIN not in first.out + first.err + told.out + told.err
    assert "argon2" not in told.out


def test_a_works_without_people_says_so_once_when_it_is_asked_whether_it_is_ready(works, station):
    told = station("ready", "--works", works.folder)
    assert "Nobody is registered (station people): whoever is here may do everything." in told.out
    assert "Nobody is registered" in station("people", "--works", works.folder).out


def test_a_unit_is_tested_by_who_signed_in_and_recorded_under_their_name(staffed, hands, station, pins):
    unknown = station("test", "SKV-0001", "--works", staffed.folder, "--operator", "b-18", stdin="wrong1\n")
    assert unknown.code == MISTAKE
    assert unknown.err.endswith("nobody works here by this name or badge with this PIN; try again\n")
    hands.bench.hook_up("TX", "ANT")
    tested = station(
        "test", "SKV-0001", "--works", staffed.folder, "--operator", "b-18", "--no-input",
        stdin="", env={"STATION_PIN_FILE": pins["Signe Dahl"]},
    )  # fmt: skip
    assert tested.code == 130, tested.err
    (run,) = json.loads(station("show", "SKV-0001", "--works", staffed.folder, "--json").out)["runs"]
    assert run["operator"] == "Signe Dahl"
    acts = json.loads(station("people", "--acts", "--works", staffed.folder, "--json").out)
    assert [(act["name"], act["act"], act["about"], act["answer"]) for act in acts[:2]] == [
        ("Signe Dahl", "test", "SKV-0001", "allowed"), ("Signe Dahl", None, "", "wrong name or PIN"),
    ]  # fmt: skip


def test_a_draft_is_told_by_ready_and_refused_before_the_first_hook_up(staffed, hands, station):
    with open_desk(staffed.folder) as desk:
        signe = desk.sign_in("B-18", "salt-water")
        hands.before = lambda hookup: pytest.fail("it was cabled")
        with (
            signe.bench(hands, hands.events.append) as bench,
            pytest.raises(UserMistake, match="not ready to test: recipe SK-U4 final test was never approved"),
        ):
            bench.test("SKU-0001")
    told = station("ready", "--works", staffed.folder, "--json")
    assert [title for title in json.loads(told.out)["drafts"] if "SK-V4" in title or "SK-U4" in title] == [
        "recipe SK-U4 final test, revision A", "limit table SK-U4, revision A",
    ]  # fmt: skip


MISTAKES = [
    (("people", "--add", "Olaf", "--role", "operator"), "Signe Dahl", "an administrator may"),
    (("key", "--renew"), "Signe Dahl", "may not make, renew or revoke a key; an administrator may"),
    (("people", "--retire", "Astrid Holm"), "Astrid Holm", "Astrid Holm is the last administrator"),
    (("people", "--add", "Olaf", "--role", "operatr"), "", "no role 'operatr'; did you mean 'operator'?"),
    (("people", "--add", "Olaf", "--retire", "Signe Dahl"), "", "one thing at a time"),
    (("people", "--role", "operator"), "", "--role and --badge belong to --add NAME or --change NAME"),
    (("people", "--retire", "Signe", "--pin-file", "x"), "", "--pin-file belongs to --add NAME"),
    (
        ("test", "SKV-0001", "--operator", "B-18", "--no-input"),
        "",
        "let STATION_PIN_FILE name a file with it",
    ),
    (("certify", "SKV-0001", "--by", "B-18"), "nobody", "gone: no PIN can be read from it"),
    (("people", "--change", "Signe Dal", "--role", "quality"), "Astrid Holm", "did you mean 'Signe Dahl'?"),
]


def test_each_mistake_is_told_with_the_way_out(staffed, pins):
    for words, who, said in MISTAKES:
        env = {"STATION_PIN_FILE": pins.get(who, ""), "STATION_OPERATOR": who}
        told = CliRunner().invoke(app, [*words, "--works", str(staffed.folder)], env=env)
        assert told.exit_code == MISTAKE, told.output
        assert said in told.stderr
