"""No fixed text is missing in any language, and what the station writes of a reading is put into it."""

from __future__ import annotations

import ast
import re
import string
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

import reports
from limits.rules import RULES
from limits.verdict import Outcome, Verdict
from reports.certificate import certificate
from reports.house import House
from reports.language import LANGUAGES, language
from reports.record import CheckNote, UnitRecord
from reports.typeface import lacks
from station.measurements.catalog import MEASURES
from station.measurements.sweep import HOOKUPS, SINGLES, WHOLE

ENGLISH = language("en")
PICTURES = ("Isolation and rejection", "Pass bands", "Return loss", "TX port", "ANT to RX")
LIMITS = (
    "at most 1.80 dB",
    "at least 75 dB",
    "between 157.35 and 157.45 MHz",
    "at least 40 dB from 1570 to 1580 MHz; at least 48 dB from 1574 to 1576 MHz",
)
ENGLISH_WORDS = re.compile(
    r"\b(at|to|over|least|most|from|and|between|loss|worst|load|loads|on|with|port|ports|notch|depth|return|ripple|"
    r"bandwidth|isolation|rejection|pass|within|of|the|by)\b"
)


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text)


def fields(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def used() -> Iterator[str]:
    """The names of texts that the code asks for by a literal."""
    for path in Path(reports.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield node.value


@pytest.mark.parametrize("code", LANGUAGES)
def test_every_language_has_every_text_with_the_same_fields(code: str) -> None:
    spoken = language(code)
    assert set(spoken.texts) == set(ENGLISH.texts)
    assert {name: fields(text) for name, text in spoken.texts.items() if name not in RULE_NAMES} == {
        name: fields(text) for name, text in ENGLISH.texts.items() if name not in RULE_NAMES
    }
    assert len(spoken.months) == 12
    assert not any(lacks(text) for text in (*spoken.texts.values(), *spoken.months))


RULE_NAMES = {kind.name for kind in RULES}
"""Not every language repeats a rule's English name."""


def test_every_text_is_asked_for_somewhere() -> None:
    asked = set(used())
    derived = {f"check-{outcome}" for outcome in Outcome} | RULE_NAMES | {str(outcome) for outcome in Outcome}
    derived |= {f"{name}-is" for name in asked}
    assert set(ENGLISH.texts) - asked - derived == set()


def test_every_rule_and_outcome_has_its_words() -> None:
    for name in (*RULE_NAMES, *(f"check-{outcome}" for outcome in Outcome), *map(str, Outcome)):
        assert name in ENGLISH.texts


@pytest.mark.parametrize("code", [code for code in LANGUAGES if code != "en"])
def test_no_english_word_is_left_of_what_the_station_writes(code: str) -> None:
    titles = [
        measure.title.format(subject="TX to ANT", at="TX", over="TX ± 12.5 kHz", level="20 dB")
        for measure in MEASURES
    ]
    hookups = [str(hookup) for hookup in (*HOOKUPS, *SINGLES, WHOLE)]
    for text in (
        *titles,
        *PICTURES,
        *LIMITS,
        *hookups,
        "TX to RX isolation, worst within 5 MHz of the channels",
    ):
        told = language(code).local(text)
        assert not ENGLISH_WORDS.search(told), told


@pytest.mark.parametrize("text", [*PICTURES, *LIMITS])
def test_english_says_what_the_station_writes(text: str) -> None:
    assert ENGLISH.local(text) == text


def test_a_works_own_words_are_left_as_they_are() -> None:
    assert (
        language("de").local("Dämpfung nach Kundenvorschrift 12.5") == "Dämpfung nach Kundenvorschrift 12,5"
    )


def test_a_certificate_in_german_is_german_from_head_to_foot(
    passing: UnitRecord, issued: datetime, text_of: Callable[..., str]
) -> None:
    check = CheckNote("SKC-001", "Holm Calibration 2026-117", issued, Outcome.PASS, 18)
    decisions = tuple(replace(d, reading=replace(d.reading, u=0.043)) for d in passing.verdict.decisions)
    record = replace(
        passing,
        works=replace(passing.works, house=House(language="de")),
        verdict=Verdict(decisions),
        check=check,
        network="#\n",
    )
    pdf = certificate(record, issued)
    text = squeezed(text_of(pdf, "-raw"))
    for wanted in (
        "Prüfzeugnis",
        "Bestanden",
        "25. November 2026, 14:05 bis 14:09 UTC",
        "höchstens 1,6 dB",
        "Nur dieses Gerät",
        "Seite 1 von",
        "Ende des Prüfzeugnisses",
        "erweiterte Messunsicherheit",
    ):
        assert squeezed(wanted) in text
    assert re.search(r"1,31\d*dB", text)
    for texts in (
        ENGLISH.texts["method-is"],
        ENGLISH.texts["load-is"],
        ENGLISH.texts["tuning-is"],
        "Certificate",
    ):
        assert squeezed(texts) not in text
    assert re.search(rb"/Lang\s*\(de-DE\)", pdf)
