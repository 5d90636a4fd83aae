"""House style: what a works may choose, and what is refused."""

from __future__ import annotations

import io
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest
from PIL import Image

from reports.certificate import certificate
from reports.failure_sheet import failure_sheet
from reports.house import House, Paper, contrast_with_paper, logo_mistake
from reports.record import UnitRecord


def picture(kind: str, size: tuple[int, int] = (120, 40), mode: str = "RGB") -> bytes:
    kept = io.BytesIO()
    Image.new(mode, size, (200, 30, 40) if mode == "RGB" else (200, 30, 40, 0)).save(kept, kind)
    return kept.getvalue()


def dressed(record: UnitRecord, house: House) -> UnitRecord:
    return replace(record, works=replace(record.works, house=house))


@pytest.mark.parametrize(
    ("colour", "ratio"), [("ffffff", 1.0), ("000000", 21.0), ("777777", 4.48), ("767676", 4.54)]
)
def test_contrast_is_that_of_wcag(colour: str, ratio: float) -> None:
    """767676 is the palest grey that WCAG lets stand on white at 4.5 to 1 (common knowledge of the trade)."""
    assert contrast_with_paper(colour) == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_logo_may_be_png_or_jpeg(kind: str) -> None:
    assert logo_mistake(picture(kind)) == ""


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no PNG or JPEG"),
        (b"<svg/>", "no PNG or JPEG"),
        (picture("GIF"), "no PNG or JPEG"),
        (picture("PNG")[:-40], "no PNG or JPEG"),
        (picture("PNG", (2001, 10)), "2001 by 10 pixels"),
        (bytes(300 * 1024), "300 kB"),
    ],
    ids=["empty", "SVG", "GIF", "torn", "too wide", "too large"],
)
def test_what_cannot_be_a_logo_is_refused_in_words(data: bytes, said: str) -> None:
    assert said in logo_mistake(data)


@pytest.mark.parametrize(("paper", "size"), [(Paper.A4, "595.276 x 841.89"), (Paper.LETTER, "612 x 792")])
@pytest.mark.parametrize("kind", ["certificate", "failure sheet"])
def test_paper_is_what_the_works_chose(
    kind: str,
    paper: Paper,
    size: str,
    passing: UnitRecord,
    failing: UnitRecord,
    issued: datetime,
    need: Callable[[str], str],
    tmp_path: Path,
) -> None:
    house = House(paper=paper)
    made = (
        certificate(dressed(passing, house), issued)
        if kind == "certificate"
        else failure_sheet(dressed(failing, house), issued)
    )
    (tmp_path / "made.pdf").write_bytes(made)
    told = subprocess.run(
        [need("pdfinfo"), tmp_path / "made.pdf"], check=True, capture_output=True, text=True
    )
    assert f"Page size:       {size} pts" in told.stdout


@pytest.mark.parametrize("mode", ["RGB", "RGBA"])
def test_a_logo_is_drawn_in_its_own_colours_at_the_head_of_the_first_page(
    mode: str, passing: UnitRecord, issued: datetime, need: Callable[[str], str], tmp_path: Path
) -> None:
    pdf = certificate(dressed(passing, House(logo=picture("PNG", mode=mode))), issued)
    (tmp_path / "made.pdf").write_bytes(pdf)
    command = [
        need("pdftoppm"),
        "-r",
        "50",
        "-png",
        "-f",
        "1",
        "-l",
        "1",
        tmp_path / "made.pdf",
        tmp_path / "page",
    ]
    subprocess.run(command, check=True, capture_output=True)
    with Image.open(next(tmp_path.glob("page*.png"))) as page:
        colours = page.crop((0, 0, page.width // 2, page.height // 12)).convert("RGB").getcolors(100_000)
    assert ((200, 30, 40) in {colour for _, colour in colours}) == (mode == "RGB"), (
        "what is clear stays clear"
    )


def test_the_accent_is_the_works_own(passing: UnitRecord, issued: datetime) -> None:
    usual, own = certificate(passing, issued), certificate(dressed(passing, House(accent="7a1f3d")), issued)
    assert usual != own
    assert len(usual) == pytest.approx(len(own), rel=0.01)
