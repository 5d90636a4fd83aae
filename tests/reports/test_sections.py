"""The parts that both documents share: what they say, and how they divide a page."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from limits.reading import Reading
from reports import sections
from reports.language import language
from reports.layout import Block, space
from reports.record import Document, UnitRecord


@pytest.mark.parametrize(
    ("span_hz", "at_hz", "expected"),
    [
        ((156e6, 157e6), 156.5e6, ("156.0000–157.0000", "156.5000")),
        ((156.5e6, 156.5e6), 156.5e6, ("", "156.5000")),
        ((156e6, 157e6), None, ("156.0000–157.0000", "")),
        (None, 156.5e6, ("", "156.5000")),
        (None, None, ("", "")),
    ],
)
def test_one_frequency_is_not_told_twice(
    span_hz: tuple[float, float] | None, at_hz: float | None, expected: tuple[str, str]
) -> None:
    assert sections.place(Reading("r", "R", "dB", 1.0, at_hz=at_hz, span_hz=span_hz)) == expected


def pictures(height: float) -> list[Block]:
    """Two rows that show their height."""
    return [space(height), space(height)]


@pytest.mark.parametrize(
    ("room", "expected", "count"),
    [
        (500.0, sections.PANEL_HEIGHTS[0], 1),
        (2 * sections.PANEL_HEIGHTS[2] + 1.0, sections.PANEL_HEIGHTS[2], 1),
        (sections.PANEL_HEIGHTS[0], sections.PANEL_HEIGHTS[0], 2),
    ],
    ids=["plenty", "tight", "no height saves a page"],
)
def test_pictures_are_as_tall_as_they_can_be_without_a_page_more(
    room: float, expected: float, count: int
) -> None:
    pages = sections.laid_out([], pictures, [], (room, room))
    assert len(pages) == count
    assert pages[0][0].height == expected


@pytest.mark.parametrize(("panels", "rows"), [(0, 0), (1, 1), (2, 1), (3, 2), (5, 3)])
def test_pictures_stand_two_in_a_row(panels: int, rows: int, passing: UnitRecord) -> None:
    some = replace(passing, panels=(*passing.panels, *passing.panels)[:panels])
    blocks = sections.charts(some, language("en"), passing.verdict.decisions)(100.0)
    heights = [block.height for block in blocks]
    assert heights.count(100.0) + heights.count(100.0 * sections.TALLER) == rows


def test_columns_of_small_print_are_about_equal() -> None:
    entries = [space(10.0) for _ in range(6)]
    assert sections.two_columns(entries).height == 30.0
    assert sections.two_columns([space(50.0), space(10.0), space(10.0)]).height == 50.0


def test_a_long_number_pushes_the_title_to_a_line_of_its_own(passing: UnitRecord) -> None:
    manner = sections.manner_of(passing)
    usual = sections.letterhead(passing, manner, "Test certificate", "No. SKV-0107-1")
    long = sections.letterhead(passing, manner, "Test certificate", f"No. {'SKV-0107-' * 8}")
    assert long.height > usual.height


@pytest.mark.parametrize(
    "change",
    [
        lambda record: replace(record, operator="王"),
        lambda record: replace(record, recipe=Document("配方", "A", "00")),
        lambda record: replace(record, information=(Reading("r", "損失", "dB", 1.0),)),
    ],
    ids=["operator", "recipe", "reading"],
)
def test_a_character_without_a_glyph_is_noticed_anywhere(
    change: Callable[[UnitRecord], UnitRecord], passing: UnitRecord
) -> None:
    assert not sections.unprintable(passing)
    assert sections.unprintable(change(passing))
