"""A recipe or limit table is a draft until a quality engineer approves it as it stands."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from limits.errors import BadInput
from station import people
from station.approving import refuse_drafts
from station.cli.main import app
from station.desk import Desk, make_works, open_desk
from station.errors import UserMistake
from station.rights import Role
from station.sequencer import recipe as recipes

PIN = "417063"
BENCH = """\
bench: final test 1
analyzer: {kind: vector, address: "TCPIP::192.0.2.10::5025::SOCKET", dialect: linear-single, identity: any,
  from: 300 kHz, to: 3 GHz, most_points: 1601}
"""


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Desk]:
    """The desk of a works with the recipes that ship, a quality engineer at it, and an operator in the works."""
    monkeypatch.setattr(people, "COST", (1, 8, 1))
    folder = make_works(tmp_path / "works", "Skerry Works", ("Net Loft Quay 3",), BENCH).folder
    with open_desk(folder) as opened:
        opened.register("Astrid Holm", (Role.ADMINISTRATOR, Role.QUALITY), "", lambda: PIN)
        signed = opened.sign_in("Astrid Holm", PIN)
        signed.register("Signe Dahl", (Role.OPERATOR,), "", lambda: "salt-water")
        yield signed


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def refuse(desk: Desk) -> None:
    """What is asked before a unit of this model is tested."""
    from limits import table as tables

    recipe = recipes.load(desk.works.recipes / "SK-V4.yaml")
    refuse_drafts(desk.store, recipe, tables.load(desk.works.limits / "SK-V4.yaml"))


def approve(desk: Desk, what: str = "SK-V4") -> None:
    for paper in desk.papers(what):
        if not paper.is_approved:
            desk.approve(paper, "as agreed")


def test_where_nobody_is_registered_drafts_are_tested_by(tmp_path):
    folder = make_works(tmp_path / "works", "Skerry Works", ("Net Loft Quay 3",), BENCH).folder
    with open_desk(folder) as desk:
        refuse(desk)
        with pytest.raises(UserMistake, match="nobody is registered yet"):
            approve(desk)


def test_nothing_is_tested_by_a_draft_and_the_refusal_names_who_may_approve_it(desk):
    said = "not ready to test: recipe SK-V4 final test was never approved; let a quality engineer look at it: station"
    with pytest.raises(UserMistake, match=said):
        refuse(desk)
    approve(desk)
    refuse(desk)


@pytest.mark.parametrize(("file", "old", "new", "kind", "line"), [
    ("recipes/SK-V4.yaml", "averages: 1, power", "averages: 4, power", "recipe SK-V4 final test",
     "analyzer, averages: 1 -> 4"),
    ("limits/SK-V4.yaml", "at_least: 76 dB", "at_least: 77 dB", "limit table SK-V4",
     "isolation at tx, works limit: at least 76 -> 77 dB"),
    ("limits/SK-V4.yaml", "revision: A", "revision: A # as ever", "limit table SK-V4", "nothing that is measured"),
])  # fmt: skip
def test_a_changed_file_is_a_draft_again_and_what_differs_is_told(desk, file, old, new, kind, line):
    approve(desk)
    edit(desk.works.folder / file, old, new)
    with pytest.raises(UserMistake, match=f"{kind} was changed since Astrid Holm approved it"):
        refuse(desk)
    (draft,) = [paper for paper in desk.papers("SK-V4") if not paper.is_approved]
    (told,) = draft.differences()
    assert told.startswith(line)
    approve(desk)
    refuse(desk)


def test_an_older_revision_that_is_put_back_is_a_draft_too(desk):
    approve(desk)
    path = desk.works.limits / "SK-V4.yaml"
    edit(path, "at_least: 76 dB", "at_least: 77 dB")
    approve(desk)
    edit(path, "at_least: 77 dB", "at_least: 76 dB")
    with pytest.raises(UserMistake, match="was changed since"):
        refuse(desk)


def test_only_a_quality_engineer_approves(desk):
    with pytest.raises(
        UserMistake, match="Signe Dahl may not approve a recipe or limit table; a quality engineer may"
    ):
        approve(desk.sign_in("Signe Dahl", "salt-water"))


def test_a_file_with_mistakes_is_not_approved(desk):
    edit(desk.works.limits / "SK-V4.yaml", "  tx_loss:", "  tx_lss:")
    with pytest.raises(BadInput, match="which is not measured"):
        desk.papers("SK-V4")


@pytest.mark.parametrize(("what", "said"), [
    ("SK-V5", "there is no recipe or limit table 'SK-V5'; did you mean"),
    ("CHECK", "judges no unit, and needs no approval"),
])  # fmt: skip
def test_what_cannot_be_approved_is_told(desk, what, said):
    with pytest.raises(UserMistake, match=said):
        desk.papers(what)


def test_at_a_terminal_it_tells_what_differs_asks_and_lists(desk, tmp_path):
    (tmp_path / "pin").write_text(PIN)
    env = {"STATION_PIN_FILE": str(tmp_path / "pin"), "STATION_OPERATOR": "Astrid Holm", "COLUMNS": "150"}
    where = ["--works", str(desk.works.folder)]

    def run(*words: str, typed: str = "") -> str:
        told = CliRunner().invoke(app, [*words, *where], env=env, input=typed)
        return f"{told.exit_code}\n{told.output}"

    assert run("approve", "SK-V4", typed="n\n").startswith("2\n")
    assert run("approve", "SK-V4", "SK-U4", "--why", "as shipped", "--yes").startswith("0\n")
    edit(desk.works.limits / "SK-V4.yaml", "at_least: 76 dB", "at_least: 77 dB")
    told = run("approve", "SK-V4", typed="y\n")
    assert "isolation at tx, works limit: at least 76 -> 77 dB" in told
    assert "Approved: limit table SK-V4, revision A." in told
    rows = json.loads(run("approve", "--json").partition("\n")[2])
    assert {row["name"]: row["approved"] for row in rows if row["kind"] == "limit table"} == {
        "SK-L2": False, "SK-U4": True, "SK-V4": True,
    }  # fmt: skip
    assert "draft, never approved" in run("approve")
