"""The house style as `works.yaml` writes it: logo, accent colour, language and paper of the certificates.

style:
  logo: logo.png              # PNG or JPEG, within the works folder
  accent: "#0d4553"
  language: en                # or de
  paper: A4                   # or Letter
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator

from limits.errors import BadInput, Mistake
from limits.formwords import got
from limits.quantity import Text
from limits.yamlfile import Form, read_bytes
from reports.house import LEAST_CONTRAST, House, Paper, contrast_with_paper, logo_mistake


def _accent(text: str) -> str:
    if not re.fullmatch(r"#[0-9A-Fa-f]{6}", text):
        raise ValueError(f'expected a colour like "#0d4553", in quotation marks, got {got(text)}')
    digits = text[1:].lower()
    contrast = contrast_with_paper(digits)
    if contrast < LEAST_CONTRAST:
        raise ValueError(
            f"{text} is too pale to be read on white paper: its contrast is {contrast:.1f}, and it must be at least "
            f"{LEAST_CONTRAST}; choose a darker colour"
        )
    return digits


class StyleForm(Form):
    """What certificates look like."""

    logo: Text | None = None
    """A PNG or JPEG picture, within the works folder."""

    accent: Annotated[Text, AfterValidator(_accent)] = "#0d4553"
    language: Literal["en", "de"] = "en"
    """Of the fixed texts."""

    paper: Literal["A4", "Letter"] = "A4"


def house_of(form: StyleForm, folder: Path, at_logo: Callable[[str], Mistake]) -> House:
    """The style with its logo read; `at_logo` says where it is named.

    Raises BadInput for a logo that cannot be used.
    """
    return House(
        accent=form.accent.removeprefix("#"),
        language=form.language,
        paper=Paper(form.paper),
        logo=_logo(folder / form.logo, at_logo) if form.logo else b"",
    )


def _logo(path: Path, at_logo: Callable[[str], Mistake]) -> bytes:
    try:
        data = read_bytes(path)
    except BadInput as error:
        raise BadInput(tuple(at_logo(f"the logo {path}: {each.what}") for each in error.mistakes)) from error
    if wrong := logo_mistake(data):
        raise BadInput((at_logo(f"the logo {path} {wrong}"),))
    return data
