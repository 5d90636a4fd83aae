"""The parts that a certificate and a failure sheet share, each from a record to blocks of a page."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from reportlab.lib.colors import Color
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.verdict import Decision
from reports import look, wording
from reports.charts import draw_panel, shows
from reports.frame import Channel
from reports.language import Language, language
from reports.layout import Block, beside, paginate, paragraph, rule, say, space, stacked
from reports.letterhead import LOGO_ROOM, draw_logo
from reports.record import Panel, UnitRecord
from reports.typeface import SEMIBOLD, Style, fitted, lacks, width

GUTTER = 7.0 * mm
HALF = (look.TEXT_WIDTH - GUTTER) / 2
PANEL_HEIGHTS = tuple(height * mm for height in (72.0, 66.0, 60.0, 56.0, 50.0, 46.0))
"""From the tallest; see `laid_out`."""

TALLER = 1.15
"""How much so a picture over the full width is."""

LABEL_WIDTH = 22.0 * mm


@dataclass(frozen=True, slots=True)
class Manner:
    """How a document speaks and looks."""

    words: Language
    dress: look.Dress


def manner_of(record: UnitRecord, code: str = "") -> Manner:
    """That of the works; in the language of `code` where one is given."""
    house = record.works.house
    return Manner(language(code or house.language), look.dress_of(house))


def letterhead(record: UnitRecord, manner: Manner, title: str, numbered: str) -> Block:
    """Who issues it, what it is, and its number."""
    works, dress = record.works, manner.dress
    # The number must never be cut, so a long one pushes the title to a line of its own.
    apart = width(title, look.TITLE) + width(numbered, dress.verdict) + GUTTER > look.TEXT_WIDTH
    over = LOGO_ROOM if works.house.logo else 0.0

    def draw(canvas: Canvas, x: float, top: float) -> None:
        right = x + look.TEXT_WIDTH
        aside = draw_logo(canvas, works.house.logo, x, top + 3.0) if over else 0.0
        top -= over
        name = fitted(works.name, dress.letterhead, 0.5 * look.TEXT_WIDTH)
        say(canvas, x + aside, top - 11.0, name, dress.letterhead)
        address = fitted(" · ".join(works.address), look.SMALL, 0.48 * look.TEXT_WIDTH)
        say(canvas, right - width(address, look.SMALL), top - 11.0, address, look.SMALL)
        canvas.setStrokeColor(dress.accent)
        canvas.setLineWidth(1.0)
        canvas.line(x, top - 17.5, right, top - 17.5)
        say(canvas, x, top - 50.0, title, look.TITLE)
        shown = fitted(numbered, dress.verdict, look.TEXT_WIDTH)
        say(
            canvas, right - width(shown, dress.verdict), top - (68.0 if apart else 50.0), shown, dress.verdict
        )

    return Block((86.0 if apart else 68.0) + over, draw)


def facts(record: UnitRecord, words: Language, issued: datetime, issued_label: str) -> Block:
    """What was tested, for whom, on which channels and when."""
    order = record.order
    left = (
        (words("customer"), order.customer, look.FACT_STRONG),
        (words("order"), order.number, look.FACT),
        (words("model"), words("model-is", model=order.model), look.FACT),
        (words("serial"), record.serial, look.FACT_STRONG),
    )
    right = (
        (words("tx-channel"), words.numerals(wording.frequency(order.tx_hz)), look.FACT_STRONG),
        (words("rx-channel"), words.numerals(wording.frequency(order.rx_hz)), look.FACT_STRONG),
        (words("tested"), words.period(record.started, record.finished), look.FACT),
        (issued_label, words.moment(issued), look.FACT),
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


def heading(text: str, dress: look.Dress) -> Block:
    """The title of a section, kept with what follows."""
    inner = stacked([space(9.0), paragraph(text, dress.heading, look.TEXT_WIDTH), space(2.5)])
    return Block(inner.height, inner.draw, stays_with_next=True)


def statement(word: str, sentences: Sequence[str], colour: Color) -> Block:
    """The result in one word and its sentence, behind a bar."""
    room = look.TEXT_WIDTH - 12.0
    style = Style(SEMIBOLD, 13.0, 16.5, colour)
    body = [paragraph(sentence, look.BODY, room) for sentence in sentences]
    inner = stacked([paragraph(word, style, room), space(1.5), *body])

    def draw(canvas: Canvas, x: float, top: float) -> None:
        canvas.setFillColor(colour)
        canvas.rect(x, top - inner.height - 1.0, 2.6, inner.height, stroke=0, fill=1)
        inner.draw(canvas, x + 12.0, top)

    return Block(inner.height + 3.0, draw)


def charts(
    record: UnitRecord, words: Language, decisions: Sequence[Decision]
) -> Callable[[float], list[Block]]:
    """Makes the record's pictures for a height, two in a row; an odd first one has a row of its own and is taller.

    Each limit is drawn once, in the picture that shows it largest.
    """
    channels = (Channel("TX", record.order.tx_hz), Channel("RX", record.order.rx_hz))
    shown = [_spoken(panel, words) for panel in record.panels]
    limits = _shared_out(shown, [_said(each, words) for each in decisions])

    def picture(index: int, wide: float, high: float) -> Block:
        def draw(canvas: Canvas, x: float, top: float) -> None:
            area = (x, top - high, wide, high)
            draw_panel(canvas, shown[index], area, limits[index], channels, words.numerals)

        return Block(high, draw)

    def made(height: float) -> list[Block]:
        odd = len(shown) % 2
        blocks = [picture(0, look.TEXT_WIDTH, TALLER * height), space(8.0)] if odd else []
        for left in range(odd, len(shown), 2):
            pair = (0.0, picture(left, HALF, height)), (HALF + GUTTER, picture(left + 1, HALF, height))
            blocks += [beside(*pair), space(8.0)]
        return blocks

    return made


def _shared_out(panels: Sequence[Panel], decisions: Sequence[Decision]) -> list[list[Decision]]:
    shares: list[list[Decision]] = [[] for _ in panels]
    for decision in decisions:
        able = [index for index, panel in enumerate(panels) if shows(panel, decision)]
        if able:
            largest = min(able, key=lambda index: panels[index].value[1] - panels[index].value[0])
            shares[largest].append(decision)
    return shares


def _spoken(panel: Panel, words: Language) -> Panel:
    traces = tuple(replace(trace, title=words.local(trace.title)) for trace in panel.traces)
    return replace(panel, title=words.local(panel.title), traces=traces)


def _said(decision: Decision, words: Language) -> Decision:
    lines = tuple(replace(line, words=words.local(line.words)) for line in decision.lines)
    return replace(decision, lines=lines)


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


def foot(canvas: Canvas, record: UnitRecord, manner: Manner, kind: str, page: int, pages: int) -> None:
    """Number, serial and `Page n of m`, at the foot of every page."""
    words, left, y = manner.words, manner.dress.left, look.FOOT - 6.0 * mm
    canvas.setStrokeColor(look.PALE)
    canvas.setLineWidth(0.5)
    canvas.line(left, y + 11.0, left + look.TEXT_WIDTH, y + 11.0)
    count = words("page", page=page, pages=pages)
    wide = width(count, look.SMALL)
    text = " · ".join(
        (record.works.name, f"{kind} {record.number}", words("serial-of", serial=record.serial))
    )
    say(canvas, left, y, fitted(text, look.SMALL, look.TEXT_WIDTH - wide - GUTTER), look.SMALL)
    say(canvas, left + look.TEXT_WIDTH - wide, y, count, look.SMALL)


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
