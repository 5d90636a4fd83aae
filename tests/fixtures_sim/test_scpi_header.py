"""Headers against the published cases, and the rules of the tree."""

from __future__ import annotations

from typing import Any

import pytest

from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.header import CommandTree, short_form


def found(pattern: str, text: str) -> tuple[int, ...] | None:
    tree: CommandTree[str] = CommandTree()
    tree.add(pattern, "here")
    try:
        return tree.find(text)[1]
    except ScpiError:
        return None


def test_every_published_case_matches_or_does_not(scpi_rules: Any) -> None:
    cases = scpi_rules["header_match_cases"]
    assert len(cases) == 23
    for case in cases:
        suffixes = found(case["pattern"], case["text"])
        assert (suffixes is not None) == case["match"], case
        if "suffix" in case:
            assert list(suffixes or ()) == case["suffix"], case


def test_short_forms_are_those_published(scpi_rules: Any) -> None:
    for mnemonic, short in scpi_rules["mnemonic_examples"].items():
        assert short_form(mnemonic) == short


def test_optional_node_in_the_middle_may_be_left_out() -> None:
    pattern = "SOURce:POWer[:LEVel][:IMMediate][:AMPLitude]"
    for text in (
        "sour:pow",
        "SOUR:POW:LEV",
        "sour:pow:imm:ampl",
        "source:power:level:immediate:amplitude",
        "sour:pow:ampl",
    ):
        assert found(pattern, text) == (), text
    assert found(pattern, "sour:pow:ampl:lev") is None


def test_query_and_command_of_one_header_are_kept_apart() -> None:
    tree: CommandTree[str] = CommandTree()
    tree.add("FORMat:BORDer", "command")
    tree.add("FORMat:BORDer?", "query")
    assert tree.find("FORM:BORD")[0] == "command"
    assert tree.find("FORM:BORD?")[0] == "query"


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("FOO:BAR", -113),
        ("FREQ2", -113),
        ("*FOO", -113),
        ("FREQUENCYOFTHEOTHER", -112),
        ("FREQ:STAR:MORE", -113),
    ],
)
def test_what_nobody_knows_has_the_standard_number(text: str, number: int) -> None:
    tree: CommandTree[str] = CommandTree()
    tree.add("FREQuency:STARt", "here")
    with pytest.raises(ScpiError) as caught:
        tree.find(text)
    assert caught.value.number == number
