"""A guarded rule from the limit table to the store, the failure sheet and the exit code."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from limits.verdict import Level, Outcome
from station.desk import open_desk
from station.settings import Works

GUARDED = "guarded acceptance with w = 0.83 U"
NO_U = "its uncertainty was not evaluated, so the guard band w = 0.83 U is not known"


@pytest.fixture
def guarded(works: Works) -> Path:
    """The limit table of the works, its specification under a guarded rule."""
    table = works.limits / "SK-V4.yaml"
    text = table.read_text()
    rule = f"decision_rule:\n  specification: {GUARDED}\n  works: simple acceptance\n"
    table.write_text(text.replace("decision_rule: simple acceptance\n", rule))
    assert table.read_text() != text
    return table


def test_without_an_uncertainty_a_guarded_rule_passes_nothing_and_says_so_from_the_store(
    works: Works, guarded: Path, hands: Any, station: Any
) -> None:
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        assert session.test("SKV-0001").verdict.outcome is Outcome.UNDECIDED
        stored = desk.stored_run("SKV-0001").verdict
        issued = desk.certify("SKV-0001", None, lambda: pytest.fail("a failure sheet asks for no key"))
    assert stored is not None
    assert {d.rule for d in stored.at(Level.SPECIFICATION)} == {GUARDED}
    assert {d.rule for d in stored.at(Level.WORKS)} == {"simple acceptance"}
    assert {d.outcome for d in stored.at(Level.SPECIFICATION)} == {Outcome.UNDECIDED}
    assert all(d.reading.note.endswith(NO_U) for d in stored.at(Level.SPECIFICATION))
    assert {d.outcome for d in stored.at(Level.WORKS)} == {Outcome.PASS}
    assert issued.path.name == "SKV-0001-1 failure sheet.pdf"
    shown = station("show", "SKV-0001", "--json", "--works", works.folder)
    assert GUARDED in shown.out


def test_a_rule_that_nobody_knows_is_told_with_its_place(works: Works, guarded: Path, station: Any) -> None:
    guarded.write_text(guarded.read_text().replace("0.83 U", "0.83"))
    checked = station("check", "--works", works.folder)
    assert checked.code == 2
    assert f"{guarded}:5:18: expected a rule like" in checked.out + checked.err
