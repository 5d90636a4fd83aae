"""Files that travel inside a PDF, as associated files (ISO 32000-2, 7.11.4 and 14.13; ISO 19005-3, 6.8).

They are written by the library that writes the pages: going over the finished file with a second one cost as much
as drawing it (12 ms), and gave the same. `attached` reads them back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from reportlab.pdfbase.pdfdoc import PDFArray, PDFDictionary, PDFName, PDFStream, PDFString, PDFZCompress
from reportlab.pdfgen.canvas import Canvas


class Relationship(StrEnum):
    """What a file is to the page (ISO 32000-2, table 43)."""

    ALTERNATIVE = "Alternative"
    """The same content in another form."""

    DATA = "Data"
    """What pictures on the page were drawn from."""


@dataclass(frozen=True, slots=True)
class Attachment:
    """One file inside a PDF."""

    name: str
    """Its name as a file; ASCII."""

    data: bytes
    media_type: str
    """E.g. `application/json`."""

    relationship: Relationship
    description: str


def attach(canvas: Canvas, attachments: Sequence[Attachment], stamp: str) -> None:
    """Put files into the document; `stamp` is their date as PDF writes it."""
    if not attachments:
        return
    document = canvas._doc
    specifications = {each.name: _specification(canvas, each, stamp) for each in attachments}
    # A name tree is searched by halves, so its names rise.
    names = [part for name in sorted(specifications) for part in (PDFString(name), specifications[name])]
    catalog = document.Catalog
    catalog.Names = PDFDictionary({"EmbeddedFiles": PDFDictionary({"Names": PDFArray(names)})})
    catalog.AF = PDFArray(list(specifications.values()))
    # The library writes only those entries of the catalogue that it lists, and knows no AF yet.
    catalog.__NoDefault__ = [*catalog.__NoDefault__, "AF"]


def _specification(canvas: Canvas, attachment: Attachment, stamp: str) -> object:
    document = canvas._doc
    stream = PDFStream(
        PDFDictionary(
            {
                "Type": PDFName("EmbeddedFile"),
                # A name of PDF writes the stroke of a media type by its number.
                "Subtype": f"/{attachment.media_type.replace('/', '#2F')}",
                "Params": PDFDictionary(
                    {
                        "Size": len(attachment.data),
                        "CreationDate": PDFString(stamp),
                        "ModDate": PDFString(stamp),
                    }
                ),
            }
        ),
        attachment.data,
        [PDFZCompress],
    )
    held = document.Reference(stream)
    name = PDFString(attachment.name)
    return document.Reference(
        PDFDictionary(
            {
                "Type": PDFName("Filespec"),
                "F": name,
                "UF": name,
                "Desc": PDFString(attachment.description),
                "AFRelationship": PDFName(attachment.relationship.value),
                "EF": PDFDictionary({"F": held, "UF": held}),
            }
        )
    )
