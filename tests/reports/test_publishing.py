"""The bytes of a PDF: as many pages as were laid out, described, and the same every time."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from reportlab.lib.pagesizes import A4
from reportlab.pdfgen.canvas import Canvas

from reports.layout import Block, paragraph, say
from reports.look import BODY
from reports.publishing import Metadata, Sheet, publish

ABOUT = Metadata("Title", "Skerry Works", "Subject", ("one", "two"), datetime(2026, 3, 2, 9, 0, tzinfo=UTC))
LEFT = 50.0


def sheet(next_top: float) -> Sheet:
    return Sheet(A4, LEFT, 800.0, next_top)


def nothing(canvas: Canvas, page: int, of: int) -> None:
    """No furniture."""


def page_of(text: str) -> list[Block]:
    return [paragraph(text, BODY, 400.0)]


def boxes(pdf: bytes, need: Callable[[str], str], tmp_path: Path) -> list[tuple[float, float, str]]:
    """Left edge, upper edge and text of each word, as an outside reader finds them."""
    path = tmp_path / "page.pdf"
    path.write_bytes(pdf)
    done = subprocess.run([need("pdftotext"), "-bbox", path, "-"], check=True, capture_output=True, text=True)
    found = re.findall(r'<word xMin="([\d.]+)" yMin="([\d.]+)"[^>]*>(.*?)</word>', done.stdout)
    return [(float(left), float(top), text) for left, top, text in found]


def test_each_page_is_furnished_with_its_number_and_their_count(text_of: Callable[..., str]) -> None:
    def furnish(canvas: Canvas, page: int, of: int) -> None:
        say(canvas, LEFT, 30.0, f"leaf {page} among {of}", BODY)

    pages = text_of(publish([page_of("first"), page_of("second")], ABOUT, furnish, sheet(700.0)))
    first, second, rest = pages.split("\f")
    assert "first" in first and "leaf 1 among 2" in first
    assert "second" in second and "leaf 2 among 2" in second
    assert rest == ""


def test_the_first_page_begins_at_its_own_height(need: Callable[[str], str], tmp_path: Path) -> None:
    pdf = publish([page_of("first"), page_of("second")], ABOUT, nothing, sheet(700.0))
    (left, top, _), (other_left, other_top, _) = boxes(pdf, need, tmp_path)
    assert left == other_left == pytest.approx(LEFT)
    assert other_top - top == pytest.approx(100.0)


def test_blocks_stand_below_each_other(need: Callable[[str], str], tmp_path: Path) -> None:
    pdf = publish([[*page_of("upper"), *page_of("lower")]], ABOUT, nothing, sheet(800.0))
    (_, upper, _), (_, lower, _) = boxes(pdf, need, tmp_path)
    assert lower - upper == pytest.approx(BODY.leading)


def test_only_what_is_told_changes_the_bytes() -> None:
    def made(about: Metadata, text: str) -> bytes:
        return publish([page_of(text)], about, nothing, sheet(800.0))

    later = replace(ABOUT, created=ABOUT.created + timedelta(seconds=1))
    elsewhere = replace(ABOUT, created=ABOUT.created.astimezone(timezone(timedelta(hours=2))))
    assert made(ABOUT, "text") == made(ABOUT, "text") == made(elsewhere, "text")
    assert len({made(ABOUT, "text"), made(later, "text"), made(ABOUT, "other")}) == 3


def test_the_file_names_its_title_its_author_and_its_date() -> None:
    pdf = publish([page_of("text")], ABOUT, nothing, sheet(800.0))
    for wanted in (b"Title", b"Skerry Works", b"Subject", b"D:20260302090000+00'00'"):
        assert wanted in pdf
