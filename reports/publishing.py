"""From laid-out pages to the bytes of a PDF: fonts embedded, metadata set, nothing taken from the clock.

The same pages give the same bytes: the file's dates come from the record, its identity from its content.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from reportlab import rl_config
from reportlab.pdfgen.canvas import Canvas

from reports.attaching import Attachment, attach
from reports.layout import Block
from reports.typeface import REGULAR, install, printable

Furnish = Callable[[Canvas, int, int], None]
"""Called with canvas, page number from 1 and number of pages, before the page's blocks are drawn."""


@dataclass(frozen=True, slots=True)
class Metadata:
    """What a PDF says of itself to archives and readers."""

    title: str
    author: str
    subject: str
    keywords: tuple[str, ...]
    created: datetime
    attachments: tuple[Attachment, ...] = ()
    """What goes with the pages inside the file."""

    language: str = "en-GB"
    """Of the text, as BCP 47 has it."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """Where text stands on the paper, in points."""

    size: tuple[float, float]
    left: float
    top: float
    """The upper edge of the first page's text."""

    next_top: float
    """The same of the other pages."""

    def rooms(self, foot: float) -> tuple[float, float]:
        """The heights for text above a foot, on the first page and on the others."""
        return self.top - foot, self.next_top - foot


def publish(
    pages: Sequence[Sequence[Block]],
    metadata: Metadata,
    furnish: Furnish,
    sheet: Sheet,
) -> bytes:
    """Draw all pages."""
    install()
    # The library's habit of writing streams as ASCII is one of 1990s mail; it takes time and a quarter more room.
    rl_config.useA85 = 0
    buffer = io.BytesIO()
    # Without an initial font of our own the library names Helvetica on each page and embeds none.
    canvas = Canvas(
        buffer,
        pagesize=sheet.size,
        pageCompression=1,
        invariant=1,
        initialFontName=REGULAR,
        lang=metadata.language,
        pdfVersion=(1, 7),
    )
    _describe(canvas, metadata)
    attach(canvas, metadata.attachments, _stamp(metadata.created))
    for index, blocks in enumerate(pages):
        furnish(canvas, index + 1, len(pages))
        top = sheet.top if index == 0 else sheet.next_top
        for block in blocks:
            block.draw(canvas, sheet.left, top)
            top -= block.height
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _describe(canvas: Canvas, metadata: Metadata) -> None:
    canvas.setTitle(printable(metadata.title))
    canvas.setAuthor(printable(metadata.author))
    canvas.setSubject(printable(metadata.subject))
    canvas.setKeywords([printable(word) for word in metadata.keywords])
    canvas.setCreator("Duplexer final-test station")
    stamp = _stamp(metadata.created)
    canvas.setDateFormatter(lambda *moment: stamp)


def _stamp(moment: datetime) -> str:
    return f"D:{moment.astimezone(UTC):%Y%m%d%H%M%S}+00'00'"
