"""The house style in `works.yaml`: what may be chosen, and each mistake in one clear line at its place."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from PIL import Image

from limits.errors import BadInput
from reports.house import House, Paper
from station.settings import load

WORKS = "name: Skerry Works\naddress: [Quay 4]\n"


def works(folder: Path, style: str) -> Path:
    (folder / "works.yaml").write_text(WORKS + style)
    return folder


@pytest.fixture
def logo(tmp_path: Path) -> bytes:
    kept = io.BytesIO()
    Image.new("RGB", (80, 30), (20, 60, 90)).save(kept, "PNG")
    (tmp_path / "logo.png").write_bytes(kept.getvalue())
    return kept.getvalue()


def test_a_works_that_says_nothing_has_the_plain_style(tmp_path: Path) -> None:
    assert load(works(tmp_path, "")).house == House()


def test_logo_colour_language_and_paper_are_the_works_choice(tmp_path: Path, logo: bytes) -> None:
    style = 'style: {logo: logo.png, accent: "#7A1F3D", language: de, paper: Letter}\n'
    assert load(works(tmp_path, style)).house == House("7a1f3d", "de", Paper.LETTER, logo)


@pytest.mark.parametrize(
    ("style", "said"),
    [
        (
            'style: {accent: "#9fb4c0"}',
            "3:17: #9fb4c0 is too pale to be read on white paper: its contrast is 2.2",
        ),
        ("style: {accent: teal}", '3:17: expected a colour like "#0d4553", in quotation marks, got '),
        ("style: {language: fr}", "3:19: "),
        ("style: {paper: A5}", "3:16: "),
        ("style: {logo: none.png}", "3:15: the logo "),
        (
            "style: {logo: works.yaml}",
            "is no PNG or JPEG picture that can be read; save the logo as one of these",
        ),
        ("style: {logo: ..}", "this is a folder, not a file"),
        ("style: {colour: red}", "colour"),
    ],
)
def test_each_mistake_is_told_at_its_place(style: str, said: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput) as caught:
        load(works(tmp_path, style + "\n"))
    (mistake,) = caught.value.mistakes
    assert mistake.file.endswith("works.yaml")
    assert mistake.line == 3
    assert said in f"{mistake.line}:{mistake.column}: {mistake.what}"
