"""A unit tested again and again: what is refused before the first hook-up, and what a works is told later."""

from __future__ import annotations

import json

import pytest

from limits.errors import BadInput
from limits.verdict import Outcome
from station.desk import open_desk
from station.errors import UserMistake
from station.sequencer.events import HookupAsked
from station.settings import Works


def test_a_retest_needs_a_reason_which_is_kept_shown_and_counted(works: Works, hands, station) -> None:
    settings = works.folder / "works.yaml"
    settings.write_text(settings.read_text() + "retest_reasons: {audit: an auditor asked for it}\n")
    recipe = works.recipes / "SK-V4.yaml"
    recipe.write_text(recipe.read_text().replace("overview:", "retests: 0\noverview:", 1))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        assert session.test("SKV-0001").verdict.outcome is Outcome.PASS
        hands.events.clear()
        with pytest.raises(UserMistake, match="--because CODE: audit \\(an auditor asked for it\\)"):
            session.test("SKV-0001")
        with pytest.raises(UserMistake, match="unknown reason 'cabling'; there are audit"):
            session.test("SKV-0001", because="cabling")
        assert not any(isinstance(event, HookupAsked) for event in hands.events)
        assert len(desk.store.runs("SKV-0001")) == 1
        session.test("SKV-0001", because="audit", why="third visit")
    shown = station("show", "SKV-0001", "--works", works.folder)
    assert "Run 2 was made because an auditor asked for it (audit): third visit" in shown.out
    facts = json.loads(station("show", "SKV-0001", "--works", works.folder, "--json").out)
    reason = {"code": "audit", "means": "an auditor asked for it", "why": "third visit"}
    assert [run["retest"] for run in facts["runs"]] == [None, reason]
    assert facts["readings_of"]["retest"] == reason
    assert "Retests: 1 audit." in station("yield", "--works", works.folder).out
    (row,) = json.loads(station("yield", "--works", works.folder, "--json").out)
    assert (row["retests"], row["retest_reasons"]) == (1.0, {"audit": 1})


@pytest.mark.parametrize(
    ("written", "said"),
    [("retests: 200\n", "a recipe allows 0 to 100 retests"), ("retests: some\n", "retests")],
)
def test_a_number_of_retests_that_is_none_is_told_at_its_place(works: Works, hands, written, said) -> None:
    recipe = works.recipes / "SK-V4.yaml"
    recipe.write_text(recipe.read_text().replace("overview:", f"{written}overview:", 1))
    with (
        open_desk(works.folder) as desk,
        desk.bench(hands, hands.events.append) as session,
        pytest.raises(BadInput, match=said) as told,
    ):
        session.test("SKV-0001")
    assert "SK-V4.yaml" in str(told.value)
