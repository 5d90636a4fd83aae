"""What the typeface can print, and how texts are broken into lines."""

from __future__ import annotations

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from reports.look import BODY
from reports.typeface import fitted, lacks, printable, width, wrapped


@pytest.mark.parametrize(
    "text", ["Ørsted & Łódź", "Υπηρεσία Διάσωσης", "Спасатель № 7", "20\u202fdB ± 0,3 °C", "plain"]
)
def test_latin_greek_and_cyrillic_are_printed_as_they_are(text: str) -> None:
    assert printable(text) == text
    assert not lacks(text)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("海岸", "[U+6D77][U+5CB8]"),
        ("a\x07b", "a[U+0007]b"),
        ("a\u202eb", "a[U+202E]b"),
        ("🛟", "[U+1F6DF]"),
    ],
)
def test_what_the_typeface_lacks_is_shown_by_its_number(text: str, expected: str) -> None:
    assert printable(text) == expected
    assert lacks(text)


def test_accents_are_composed_and_line_breaks_are_spaces() -> None:
    assert printable("Cafe\u0301\tund\nmehr") == "Café und mehr"
    assert not lacks("Cafe\u0301\tund\nmehr")


@settings(deadline=None)
@example(text="/\U0010003a", room=40.0)
@given(text=st.text(max_size=80), room=st.floats(40.0, 200.0))
def test_no_line_is_wider_than_its_room_and_no_letter_is_lost(text: str, room: float) -> None:
    lines = wrapped(text, BODY, room)
    assert max(width(line, BODY) for line in lines) <= room
    assert "".join(lines).replace(" ", "") == printable(text).replace(" ", "")


def test_a_word_too_long_for_a_line_is_cut_after_a_hyphen() -> None:
    lines = wrapped("SKV-0107-WITH-A-VERY-LONG-SERIAL-NUMBER", BODY, 90.0)
    assert len(lines) > 1
    assert all(line.endswith("-") for line in lines[:-1])


def test_a_text_too_wide_is_cut_with_an_ellipsis() -> None:
    shown = fitted("Coastal Rescue Relay Service", BODY, 60.0)
    assert shown.endswith("…")
    assert width(shown, BODY) <= 60.0
    assert fitted("short", BODY, 60.0) == "short"
