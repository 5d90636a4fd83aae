"""The parts that a certificate and a failure sheet share, each from a record to blocks of a page."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from datetime import datetime

from reportlab.lib.colors import Color
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.verdict import Decision
from reports import look, wording
from reports.charts import draw_panel, shows
from reports.frame import Channel
from reports.layout import (
    Align,
    Block,
    Column,
    Row,
    beside,
    paginate,
    paragraph,
    rule,
    say,
    space,
    stacked,
    table,
)
from reports.record import Document, Panel, UnitRecord
from reports.typeface import Style, fitted, lacks, width

GUTTER = 7.0 * mm
HALF = (look.TEXT_WIDTH - GUTTER) / 2
PANEL_HEIGHTS = tuple(height * mm for height in (72.0, 66.0, 60.0, 56.0, 50.0, 46.0))
"""From the tallest; see `laid_out`."""

LABEL_WIDTH = 22.0 * mm


def letterhead(record: UnitRecord, title: str, numbered: str) -> Block:
    """Who issues it, what it is, and its number."""
    works = record.works
    # The number must never be cut, so a long one pushes the title to a line of its own.
    apart = width(title, look.TITLE) + width(numbered, look.VERDICT) + GUTTER > look.TEXT_WIDTH

    def draw(canvas: Canvas, x: float, top: float) -> None:
        right = x + look.TEXT_WIDTH
        name = fitted(works.name, look.LETTERHEAD, 0.5 * look.TEXT_WIDTH)
        say(canvas, x, top - 11.0, name, look.LETTERHEAD)
        address = fitted(" · ".join(works.address), look.SMALL, 0.48 * look.TEXT_WIDTH)
        say(canvas, right - width(address, look.SMALL), top - 11.0, address, look.SMALL)
        canvas.setStrokeColor(look.ACCENT)
        canvas.setLineWidth(1.0)
        canvas.line(x, top - 17.5, right, top - 17.5)
        say(canvas, x, top - 50.0, title, look.TITLE)
        shown = fitted(numbered, look.VERDICT, look.TEXT_WIDTH)
        say(canvas, right - width(shown, look.VERDICT), top - (68.0 if apart else 50.0), shown, look.VERDICT)

    return Block(86.0 if apart else 68.0, draw)


def facts(record: UnitRecord, issued: datetime, issued_label: str) -> Block:
    """What was tested, for whom, on which channels and when."""
    order = record.order
    left = (
        ("Customer", order.customer, look.FACT_STRONG),
        ("Order", order.number, look.FACT),
        ("Model", f"{order.model}, cavity duplexer", look.FACT),
        ("Serial number", record.serial, look.FACT_STRONG),
    )
    right = (
        ("TX channel", wording.frequency(order.tx_hz), look.FACT_STRONG),
        ("RX channel", wording.frequency(order.rx_hz), look.FACT_STRONG),
        ("Tested", wording.period(record.started, record.finished), look.FACT),
        (issued_label, wording.moment(issued), look.FACT),
    )
    return beside((0.0, _fact_list(left)), (HALF + GUTTER, _fact_list(right)))


def _fact_list(rows: Sequence[tuple[str, str, Style]]) -> Block:
    return stacked([_fact(*row) for row in rows])


def _fact(label: str, value: str, style: Style) -> Block:
    text = paragraph(value, style, HALF - LABEL_WIDTH)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        say(canvas, x, top - style.size, label, look.LABEL)
        text.draw(canvas, x + LABEL_WIDTH, top)

    return Block(text.height + 2.6, draw)


def heading(text: str) -> Block:
    """The title of a section, kept with what follows."""
    inner = stacked([space(9.0), paragraph(text, look.HEADING, look.TEXT_WIDTH), space(2.5)])
    return Block(inner.height, inner.draw, stays_with_next=True)


def statement(word: str, sentences: Sequence[str], colour: Color) -> Block:
    """The result in one word and its sentence, behind a bar."""
    room = look.TEXT_WIDTH - 12.0
    style = Style(look.VERDICT.face, look.VERDICT.size, look.VERDICT.leading, colour)
    body = [paragraph(sentence, look.BODY, room) for sentence in sentences]
    inner = stacked([paragraph(word, style, room), space(1.5), *body])

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.setFillColor(colour)
        canvas.rect(x, top - inner.height - 1.0, 2.6, inner.height, stroke=0, fill=1)
        inner.draw(canvas, x + 12.0, top)

    return Block(inner.height + 3.0, draw)


def charts(record: UnitRecord, decisions: Sequence[Decision], height: float) -> list[Block]:
    """The record's pictures, two in a row; the first has a row of its own where their number is odd.

    Each limit is drawn once, in the first picture that can show it.
    """
    channels = (Channel("TX", record.order.tx_hz), Channel("RX", record.order.rx_hz))
    panels = list(zip(record.panels, _shared_out(record.panels, decisions), strict=True))
    blocks: list[Block] = []
    if len(panels) % 2:
        blocks += [_picture(*panels.pop(0), channels, (look.TEXT_WIDTH, height)), space(8.0)]
    for left, right in zip(panels[::2], panels[1::2], strict=True):
        pair = beside(
            (0.0, _picture(*left, channels, (HALF, height))),
            (HALF + GUTTER, _picture(*right, channels, (HALF, height))),
        )
        blocks += [pair, space(8.0)]
    return blocks


def _shared_out(panels: Sequence[Panel], decisions: Sequence[Decision]) -> list[list[Decision]]:
    shares: list[list[Decision]] = [[] for _ in panels]
    for decision in decisions:
        for panel, share in zip(panels, shares, strict=True):
            if shows(panel, decision):
                share.append(decision)
                break
    return shares


def _picture(
    panel: Panel,
    decisions: Sequence[Decision],
    channels: Sequence[Channel],
    size: tuple[float, float],
) -> Block:
    wide, high = size

    def draw(canvas: Canvas, x: float, top: float) -> None:
        draw_panel(canvas, panel, (x, top - high, wide, high), decisions, channels)

    return Block(high, draw)


def laid_out(
    before: Sequence[Block],
    pictures: Callable[[float], Sequence[Block]],
    after: Sequence[Block],
    rooms: tuple[float, float],
) -> list[list[Block]]:
    """The pages, with the pictures as tall as they can be without a page more.

    `pictures` makes their blocks for a height; `rooms` are those of the first page and of the others.
    """
    trials = [paginate([*before, *pictures(height), *after], *rooms) for height in PANEL_HEIGHTS]
    fewest = min(len(pages) for pages in trials)
    return next(pages for pages in trials if len(pages) == fewest)


def means(record: UnitRecord) -> list[Block]:
    """How it was measured: sweeps, instruments, documents, people."""
    sweeps = stacked(
        table(_SWEEP_COLUMNS, [_sweep_row(record, index) for index in range(len(record.sweeps))], look.MEANS)
    )
    instruments = stacked(
        table(
            (Column("Instrument", 24 * mm), Column("Identity, as it answers", HALF - 24 * mm)),
            [Row((instrument.role, instrument.identity)) for instrument in record.instruments],
            look.MEANS,
        )
    )
    about = stacked([_line_of(*row) for row in _circumstances(record)])
    return [beside((0.0, sweeps), (HALF + GUTTER, instruments)), space(6.0), about]


_SWEEP_COLUMNS = (
    Column("Hook-up", 34 * mm),
    Column("Points", 11 * mm, Align.RIGHT),
    Column("Bandwidth", 15 * mm, Align.RIGHT),
    Column("Averages", 13.5 * mm, Align.RIGHT),
    Column("Power", HALF - 73.5 * mm + 2.2 * mm, Align.RIGHT),
)


def _sweep_row(record: UnitRecord, index: int) -> Row:
    sweep = record.sweeps[index]
    bandwidth, power = wording.width(sweep.bandwidth_hz), wording.power(sweep.power_dbm)
    return Row((sweep.hookup, str(sweep.points), bandwidth, str(sweep.averages), power))


def _circumstances(record: UnitRecord) -> tuple[tuple[str, str], ...]:
    return (
        ("Recipe", _document(record.recipe)),
        ("Limit table", _document(record.limits)),
        ("Unit temperature", wording.temperatures(record.temperature_c, record.temperature_end_c)),
        ("Tested at", f"{record.works.name}, {record.works.station}, by {record.operator}"),
    )


def _document(document: Document) -> str:
    return f"{document.name}, revision {document.revision}; SHA-256 begins {wording.digest(document.digest)}"


def _line_of(label: str, text: str) -> Block:
    body = paragraph(text, look.FINE, look.TEXT_WIDTH - 26 * mm)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        say(canvas, x, top - look.FINE.size, label, look.LABEL)
        body.draw(canvas, x + 26 * mm, top)

    return Block(body.height + 0.6, draw)


def run_in(lead: str, text: str, room: float) -> Block:
    """A short statement with its subject in bold above it."""
    return stacked([paragraph(lead, look.FINE_STRONG, room), paragraph(text, look.FINE, room), space(3.2)])


def two_columns(entries: Sequence[Block]) -> Block:
    """Small print in two columns of about equal height, in reading order."""
    total = sum(entry.height for entry in entries)
    split, height = 0, 0.0
    while split < len(entries) and height + entries[split].height / 2 < total / 2:
        height += entries[split].height
        split += 1
    return beside((0.0, stacked(entries[:split])), (HALF + GUTTER, stacked(entries[split:])))


def end_mark(text: str) -> Block:
    """The last line of a document, between two rules."""
    wide = width(text, look.SMALL)
    side = (look.TEXT_WIDTH - wide) / 2 - 4 * mm
    line = rule(side, 0.5, look.GREY)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        line.draw(canvas, x, top - 8.0)
        line.draw(canvas, x + look.TEXT_WIDTH - side, top - 8.0)
        say(canvas, x + (look.TEXT_WIDTH - wide) / 2, top - 10.3, text, look.SMALL)

    return Block(14.0, draw)


def foot(canvas: Canvas, record: UnitRecord, kind: str, page: int, pages: int) -> None:
    """Number, serial and `Page n of m`, at the foot of every page."""
    y = look.FOOT - 6.0 * mm
    canvas.setStrokeColor(look.PALE)
    canvas.setLineWidth(0.5)
    canvas.line(look.MARGIN, y + 11.0, look.MARGIN + look.TEXT_WIDTH, y + 11.0)
    count = f"Page {page} of {pages}"
    wide = width(count, look.SMALL)
    text = f"{record.works.name} · {kind} {record.number} · Serial {record.serial}"
    say(canvas, look.MARGIN, y, fitted(text, look.SMALL, look.TEXT_WIDTH - wide - GUTTER), look.SMALL)
    say(canvas, look.MARGIN + look.TEXT_WIDTH - wide, y, count, look.SMALL)


def place(reading: Reading) -> tuple[str, str]:
    """The frequencies a reading looks at and the one it was found at, in MHz; one of them where they are the same."""
    at = "" if reading.at_hz is None else wording.megahertz(reading.at_hz)
    if reading.span_hz is None:
        return "", at
    over = wording.span(*reading.span_hz)
    return ("", at) if over == at else (over, at)


def unprintable(record: UnitRecord) -> bool:
    """Whether some text of the record holds a character that has to be shown by its number."""
    return any(lacks(text) for text in _texts(record))


def _texts(record: UnitRecord) -> Iterator[str]:
    yield from (
        record.serial,
        record.operator,
        record.works.name,
        record.works.station,
        *record.works.address,
    )
    yield from (record.order.number, record.order.customer, record.order.model)
    if record.resolution is not None:
        yield from (record.resolution.person, record.resolution.why)
    for document in (record.recipe, record.limits):
        yield from (document.name, document.revision)
    for instrument in record.instruments:
        yield from (instrument.role, instrument.identity)
    yield from (sweep.hookup for sweep in record.sweeps)
    for decision in record.verdict.decisions:
        yield from (decision.reading.title, decision.limit_text, decision.reading.note)
    for reading in record.information:
        yield from (reading.title, reading.note)
    for panel in record.panels:
        yield from (panel.title, *(trace.title for trace in panel.traces))
