"""From laid-out pages to the bytes of a PDF: fonts embedded, metadata set, nothing taken from the clock.

The same pages give the same bytes: the file's dates come from the record, its identity from its content.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from reportlab import rl_config
from reportlab.lib.pagesizes import A4
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


def publish(
    pages: Sequence[Sequence[Block]],
    metadata: Metadata,
    furnish: Furnish,
    left: float,
    tops: tuple[float, float],
) -> bytes:
    """Draw all pages; `tops` are the upper edges of the first page's text and of the others'."""
    install()
    # The library's habit of writing streams as ASCII is one of 1990s mail; it takes time and a quarter more room.
    rl_config.useA85 = 0
    buffer = io.BytesIO()
    # Without an initial font of our own the library names Helvetica on each page and embeds none.
    canvas = Canvas(
        buffer,
        pagesize=A4,
        pageCompression=1,
        invariant=1,
        initialFontName=REGULAR,
        lang="en-GB",
        pdfVersion=(1, 7),
    )
    _describe(canvas, metadata)
    attach(canvas, metadata.attachments, _stamp(metadata.created))
    for index, blocks in enumerate(pages):
        furnish(canvas, index + 1, len(pages))
        top = tops[0] if index == 0 else tops[1]
        for block in blocks:
            block.draw(canvas, left, top)
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
