"""An undecided unit on the command line: told the way out, released by a person, corrected, shown, certified."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from limits.verdict import Outcome
from station.desk import open_desk
from station.settings import Works

Said = Callable[..., Any]
RELEASE = ("release", "--by", "Astrid Holm", "--why", "The customer accepts the readings by letter")


@pytest.fixture
def said(works: Works, hands: Any, station: Said) -> Said:
    """The command line of a works where SKV-0001 was left undecided, for no U was evaluated."""
    table = works.limits / "SK-V4.yaml"
    rule = "decision_rule: {specification: guarded acceptance with w = U, works: simple acceptance}"
    table.write_text(table.read_text().replace("decision_rule: simple acceptance", rule))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        assert session.test("SKV-0001").verdict.outcome is Outcome.UNDECIDED

    def say(*words: str, **more: Any) -> Any:
        return station(*words, "--works", works.folder, **more)

    return say


def text_of(pdf: Path, need: Callable[[str], str]) -> str:
    done = subprocess.run(
        [need("pdftotext"), "-layout", pdf, "-"], check=True, capture_output=True, text=True
    )
    return " ".join(done.stdout.replace("\u202f", " ").split())


def test_an_undecided_unit_is_told_its_way_out_and_nothing_is_recorded(said: Said) -> None:
    told = said("resolve", "SKV-0001", env={"COLUMNS": "80"})
    assert told.code == 4
    assert "have its U" in told.out
    assert "No U: the uncertainty of run 1 of SKV-0001 was not evaluated" in told.out
    assert "station resolve SKV-0001 --run 1 release|reject --by NAME" in told.out
    assert max(map(len, told.out.splitlines())) <= 80
    facts = json.loads(said("show", "SKV-0001", "--json").out)["readings_of"]
    assert facts["resolutions"] == [] and facts["resolution"] is None
    assert {point["u"] for point in facts["undecided"]} == {None}


def test_a_released_unit_is_shown_counted_certified_and_can_be_corrected(
    said: Said, works: Works, need: Callable[[str], str]
) -> None:
    assert said("certify", "SKV-0001").code == 0
    released = said("resolve", "SKV-0001", *RELEASE)
    assert (released.code, released.err) == (0, "")
    assert "Signed by Skerry Works final test, key " in released.out
    assert "Failure sheet SKV-0001-1 of" in released.out
    assert "1 released, 3 untested" in said("orders").out
    assert "released by Astrid Holm on" in said("show", "SKV-0001").out
    assert said("certify", "SKV-0001").code == 0
    certificate = works.certificates / "SKV-0001-1-R1.pdf"
    assert "Reason: The customer accepts the readings by letter." in text_of(certificate, need)
    assert said("verify", certificate).code == 0

    again = said("resolve", "SKV-0001", "reject", "--by", "Astrid Holm", "--why", "taken back")
    assert again.code == 2 and "to correct that, add --corrects 1" in again.err
    turned = said(
        "resolve", "SKV-0001", "reject", "--by", "A. Berg", "--why", "taken back", "--corrects", "1"
    )
    assert turned.code == 0 and "call it back from the customer" in turned.out
    assert "1 rejected, 3 untested" in said("orders").out
    said("certify", "SKV-0001")
    assert "taken back" in text_of(works.certificates / "SKV-0001-1-R2 failure sheet.pdf", need)
    facts = json.loads(said("show", "SKV-0001", "--json").out)
    assert facts["readings_of"]["verdict"] == "undecided"
    assert [each["ruling"] for each in facts["readings_of"]["resolutions"]] == ["release", "reject"]
    assert [each["number"] for each in facts["documents"]] == ["SKV-0001-1", "SKV-0001-1-R1", "SKV-0001-1-R2"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (
            ("relase", *RELEASE[1:]),
            "a person decides release or reject, not 'relase'; did you mean 'release'?",
        ),
        (RELEASE[1:], "say what is decided: station resolve SERIAL release|reject"),
        (RELEASE[:3], "a decision needs a reason"),
        ((*RELEASE, "--run", "7"), "SKV-0001 has no run 7"),
        ((*RELEASE, "--corrects", "1"), "run 1 of SKV-0001 has no resolution 1 to correct"),
    ],
)
def test_each_mistake_gets_one_message(said: Said, words: tuple[str, ...], message: str) -> None:
    told = said("resolve", "SKV-0001", *words)
    assert told.code == 2
    assert message in told.err
    assert len(told.err.strip().splitlines()) == 1
