"""Risks on request, on the command line, from runs that are in the store."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

import pytest

from limits.reading import Reading
from limits.verdict import Decision, Level, Outcome, Verdict
from station.database.entries import DocumentKind, RunHead, StoredText
from station.desk import open_desk
from station.settings import Works

NOW = datetime(2026, 11, 25, tzinfo=UTC)


@pytest.fixture
def said(works: Works, station: Callable[..., Any]) -> Callable[..., Any]:
    """The command line of a works with three units of SK-V4 judged."""
    text = StoredText.of(DocumentKind.RECIPE, "SK-V4", "A", b"recipe\n")
    with open_desk(works.folder) as desk:
        for unit, value in zip(desk.store.orders()[0].serials, (1.60, 1.64, 1.70), strict=False):
            reading = Reading("tx_loss", "TX loss", "dB", value, u=0.05)
            decision = Decision(
                reading, Level.WORKS, "at most 1.65 dB", "simple acceptance", Outcome.PASS, 0.1
            )
            run_id = desk.store.begin(
                RunHead(unit, "M. Tangen", "final test 1", NOW, text, text, text, None, ())
            ).run_id
            unsure = Reading("tx_ripple", "TX ripple", "dB", value)
            desk.store.finish(run_id, [reading, unsure], Verdict((decision,)), NOW)
    return lambda *words, **more: station("risk", *words, "--works", works.folder, **more)


def test_the_tables_fit_80_columns_and_say_what_is_assumed(said: Callable[..., Any]) -> None:
    told = said("SK-V4", "--at-most", "0.1 %", env={"COLUMNS": "80"})
    assert (told.code, told.err) == (0, "")
    assert max(map(len, told.out.splitlines())) <= 80
    words = " ".join(told.out.split())
    for part in (
        "Works limit, simple acceptance",
        "Guard",
        "fewer than 20 units",
        "Assumed: true values",
        "0.05 dB",
    ):
        assert part in words


def test_a_program_gets_every_figure(said: Callable[..., Any]) -> None:
    (facts,) = json.loads(said("SK-V4", "--characteristic", "tx_loss", "--json").out)
    works = facts["levels"][1]
    assert (facts["values"], facts["u"], works["level"]) == (3, 0.05, "works limit")
    assert 0.0 < works["consumer"] < works["consumer_of_passing"] < 0.2
    assert works["worst_passed"]["serial"] == "SKV-0002"


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("SK-V5",), "there is no recipe for model 'SK-V5'; did you mean"),
        (("SK-V4", "--characteristic", "tx_los"), "has no 'tx_los'; did you mean 'tx_loss'?"),
        (("SK-V4", "--characteristic", "rx_loss"), "no unit has a reading of 'rx_loss' of model SK-V4 yet"),
        (("SK-U4",), "no unit has a reading of model SK-U4 yet; test some with `station test SERIAL`"),
        (
            ("SK-V4", "--at-most", "3"),
            "--at-most: expected a share above 0 % and below 100 %, like '1 %', got '3'",
        ),
    ],
)
def test_each_mistake_gets_one_message(
    said: Callable[..., Any], words: tuple[str, ...], message: str
) -> None:
    told = said(*words)
    assert told.code == 2
    assert message in told.err


def test_a_limit_without_risks_stands_in_the_table_and_its_reason_below(said: Callable[..., Any]) -> None:
    """One characteristic was read without U."""
    facts = json.loads(said("SK-V4", "--json").out)
    left_out = {each["name"]: level["why"] for each in facts for level in each["levels"] if level["why"]}
    told = said("SK-V4").out
    lines = told.splitlines()
    assert left_out
    for name, why in left_out.items():
        assert any(name in line and "none told" in line for line in lines), name
        assert why in " ".join(told.split())
