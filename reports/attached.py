"""What travels inside a certificate, read back: the bytes of a PDF in, the twin and the Touchstone text out; and
whether the page names it.

Read by the library that checks signatures, so that what is compared is what was checked.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from pyhanko.pdf_utils.reader import PdfFileReader

from reports.canonical import Json, parsed
from reports.errors import NoTwin, OtherForm
from reports.twin import FORM, digest_of


@dataclass(frozen=True, slots=True)
class Twin:
    """The machine-readable part of a certificate, as it stands in the file."""

    data: bytes
    """JSON as it was written."""

    network: str
    """Touchstone text; empty where the certificate has none."""

    said: Mapping[str, Any]
    """What `data` says; see `schemas`."""

    @property
    def digest(self) -> str:
        """SHA-256 of `data`, which page and QR code show; 64 hexadecimal digits."""
        return digest_of(self.data)


def twin_in(pdf: bytes) -> Twin:
    """The twin inside a certificate.

    Raises NoTwin where there is none, or where its parts do not belong together. Of damaged bytes the PDF library
    raises what it likes; `verifying` holds the list.
    """
    files = files_in(pdf)
    texts = [name for name in files if name.endswith(".json")]
    if len(texts) != 1:
        raise NoTwin(f"this PDF carries {len(texts)} JSON files, where a certificate carries its one twin")
    data = files.pop(texts[0])
    said = _understood(data)
    if texts[0] != f"{said['number']}.json":
        raise NoTwin(f"the attached {texts[0]} is the twin of another certificate, {said['number']}")
    return Twin(data, _network(said, files), said)


def names_on_page(pdf: bytes, digest: str) -> bool:
    """Whether a page of a certificate shows this digest as text, in whatever groups and lines.

    The typeface is embedded so that ASCII keeps its codes, as the drawing library does by default; so the digits are
    looked for in the texts of the pages as they are drawn.
    """
    pages = PdfFileReader(io.BytesIO(pdf)).root["/Pages"]["/Kids"]
    for number in range(len(pages)):
        shown = _DRAWN.findall(pages[number]["/Contents"].data)
        if digest.encode() in b"".join(shown).replace(b" ", b""):
            return True
    return False


_DRAWN = re.compile(rb"\(((?:[^()\\]|\\.)*)\) Tj")
"""A text as it is drawn (ISO 32000-1, 7.3.4.2 and 9.4.3)."""


def files_in(pdf: bytes) -> dict[str, bytes]:
    """Every attached file by its name, in the name tree's order."""
    listed = PdfFileReader(io.BytesIO(pdf)).root
    for name in ("/Names", "/EmbeddedFiles", "/Names"):
        if name not in listed:
            return {}
        listed = listed[name]
    pairs = range(0, len(listed) - 1, 2)
    return {str(listed[place]): bytes(listed[place + 1]["/EF"]["/F"].data) for place in pairs}


def _understood(data: bytes) -> dict[str, Any]:
    try:
        said: Json = parsed(data)
    except ValueError as error:
        raise NoTwin(f"the attached JSON cannot be read: {error}") from error
    if not isinstance(said, dict) or said.get("form") != FORM:
        raise OtherForm(f"the attached JSON is not of the form {FORM}; read it with a newer program")
    return said


def _network(said: Mapping[str, Any], others: Mapping[str, bytes]) -> str:
    named = said["network"]
    expected = set() if named is None else {named["file"]}
    if set(others) != expected:
        raise NoTwin(
            f"attached beside the twin: {', '.join(sorted(others)) or 'nothing'}; "
            f"it names {', '.join(expected) or 'nothing'}"
        )
    if named is None:
        return ""
    data = others[named["file"]]
    if digest_of(data) != named["sha256"]:
        raise NoTwin(f"the attached {named['file']} is not the one that the twin names")
    return data.decode()
