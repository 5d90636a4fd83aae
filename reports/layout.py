"""Pages out of blocks: text, tables and drawings of known height, stacked down the page and broken between.

A block is a height and a way to draw itself, so that pages are counted before the first stroke is made and
every page can carry `Page n of m`. Nothing here knows a record. Lengths are points; `top` is a block's upper
edge, and y grows upward, as the PDF library has it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial

from reportlab.lib.colors import Color
from reportlab.lib.rl_accel import escapePDF
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfgen.canvas import Canvas

from reports.typeface import Style, printable, width, wrapped

Draw = Callable[[Canvas, float, float], None]
"""Called with canvas, left edge and upper edge."""

CELL_GAP: float = 2.2 * mm
ROW_PADDING = 1.75


@dataclass(frozen=True, slots=True)
class Block:
    """Something that stays in one piece."""

    height: float
    draw: Draw
    stays_with_next: bool = False
    """Whether a page must not end right after it; a heading's wish."""

    again: Block | None = None
    """What is drawn once more above it where it opens a page; a table's head."""


class Align(StrEnum):
    """How the cells of a column stand."""

    LEFT = "left"
    RIGHT = "right"
    POINT = "point"
    """Numbers on their decimal point."""


@dataclass(frozen=True, slots=True)
class Column:
    head: str
    width: float
    align: Align = Align.LEFT


@dataclass(frozen=True, slots=True)
class TableLook:
    """The dress of a table."""

    head: Style
    cell: Style
    rule: Color
    """Colour of the hairline under each row."""

    strong_rule: Color
    """Colour of the line under the head."""


@dataclass(frozen=True, slots=True)
class Row:
    """One row of a table; `styles` overrides the look of single columns by index."""

    cells: tuple[str, ...]
    styles: tuple[tuple[int, Style], ...] = ()
    note: str = ""
    """Small print under the row, over its full width."""

    marks: tuple[tuple[int, Draw], ...] = ()
    """What is drawn instead of text, by index of the column; given the cell's left edge and a line's upper edge."""


def space(height: float) -> Block:
    """Nothing, of some height."""
    return Block(height, _nothing)


def say(canvas: Canvas, x: float, y: float, text: str, style: Style) -> None:
    """One line of text with its baseline at y; the only way text comes onto a page.

    Written as operators (ISO 32000-1, 9.4) rather than by the library's text objects, which take four times
    as long: half of what a certificate costs.
    """
    font = pdfmetrics.getFont(style.face)
    red, green, blue = style.colour.rgb()
    parts = [f"BT {red:.3f} {green:.3f} {blue:.3f} rg 1 0 0 1 {x:.2f} {y:.2f} Tm"]
    for subset, codes in font.splitString(printable(text), canvas._doc):
        name = font.getSubsetInternalName(subset, canvas._doc)
        parts.append(f"{name} {style.size:g} Tf ({escapePDF(codes)}) Tj")
    canvas.addLiteral(" ".join([*parts, "ET"]))


def paragraph(text: str, style: Style, room: float) -> Block:
    """A text in as many lines as it takes."""
    lines = wrapped(text, style, room)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for index, line in enumerate(lines):
            say(canvas, x, top - index * style.leading - style.size, line, style)

    return Block(len(lines) * style.leading, draw)


def stacked(blocks: Sequence[Block]) -> Block:
    """Several blocks as one that is not broken."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for block in blocks:
            block.draw(canvas, x, top)
            top -= block.height

    return Block(sum(block.height for block in blocks), draw)


def beside(*placed: tuple[float, Block]) -> Block:
    """Blocks next to each other, each with its distance from the left edge; tops aligned."""

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for offset, block in placed:
            block.draw(canvas, x + offset, top)

    return Block(max(block.height for _, block in placed), draw)


def table(columns: Sequence[Column], rows: Sequence[Row], look: TableLook) -> list[Block]:
    """One block for the head and one for each row; the head comes again on a new page."""
    points = [_point(column, index, rows, look) for index, column in enumerate(columns)]
    head = _head(columns, points, look)
    body = [replace(_row(columns, points, row, look), again=head) for row in rows]
    return [replace(head, stays_with_next=True), *body]


def paginate(blocks: Sequence[Block], first_room: float, room: float) -> list[list[Block]]:
    """The blocks of each page. A block taller than a page gets a page of its own and runs over its foot."""
    pages: list[list[Block]] = [[]]
    left = first_room
    for index, block in enumerate(blocks):
        if pages[-1] and _needed(blocks, index) > left:
            opening = [] if block.again is None else [block.again]
            pages.append(opening)
            left = room - sum(piece.height for piece in opening)
        pages[-1].append(block)
        left -= block.height
    return pages


def _needed(blocks: Sequence[Block], index: int) -> float:
    height = 0.0
    for block in blocks[index:]:
        height += block.height
        if not block.stays_with_next:
            break
    return height


def _nothing(canvas: Canvas, x: float, top: float) -> None:
    """Draws nothing."""


def _point(column: Column, index: int, rows: Sequence[Row], look: TableLook) -> float:
    """How far right of the column's left edge the decimal point stands."""
    if column.align is not Align.POINT:
        return 0.0
    return max((width(_whole(row.cells[index]), _style(row, index, look)) for row in rows), default=0.0)


def _whole(text: str) -> str:
    """What stands left of the decimal point."""
    number = text.partition("\u202f")[0]
    return number.partition(".")[0]


def _head(columns: Sequence[Column], points: Sequence[float], look: TableLook) -> Block:
    texts = [wrapped(column.head, look.head, column.width - CELL_GAP) for column in columns]
    tallest = max(len(lines) for lines in texts)
    height = tallest * look.head.leading + 2 * ROW_PADDING

    def draw(canvas: Canvas, x: float, top: float) -> None:
        total = sum(column.width for column in columns)
        left = x
        for column, lines in zip(columns, texts, strict=True):
            # Heads of different heights stand on one base line, next to their numbers.
            first = top - ROW_PADDING - (tallest - len(lines)) * look.head.leading
            for index, line in enumerate(lines):
                start = _start(column, left, 0.0, line, look.head)
                say(canvas, start, first - index * look.head.leading - look.head.size, line, look.head)
            left += column.width
        _line(canvas, x, top - height, total, 0.7, look.strong_rule)

    return Block(height, draw)


def _row(columns: Sequence[Column], points: Sequence[float], row: Row, look: TableLook) -> Block:
    styles = [_style(row, index, look) for index in range(len(columns))]
    texts = [
        wrapped(text, style, column.width - CELL_GAP)
        for text, style, column in zip(row.cells, styles, columns, strict=True)
    ]
    total = sum(column.width for column in columns)
    note = paragraph(row.note, look.head, total - CELL_GAP) if row.note else space(0.0)
    height = max(len(lines) for lines in texts) * look.cell.leading + 2 * ROW_PADDING

    def draw(canvas: Canvas, x: float, top: float) -> None:
        left = x
        for column, point, style, lines in zip(columns, points, styles, texts, strict=True):
            for index, line in enumerate(lines):
                start = _start(column, left, point, line, style)
                say(
                    canvas, start, top - ROW_PADDING - index * look.cell.leading - look.cell.size, line, style
                )
            left += column.width
        for index, mark in row.marks:
            mark(canvas, x + sum(column.width for column in columns[:index]), top - ROW_PADDING - 1.6)
        note.draw(canvas, x, top - height + ROW_PADDING)
        _line(canvas, x, top - height - note.height, total, 0.3, look.rule)

    return Block(height + note.height, draw)


def _start(column: Column, left: float, point: float, text: str, style: Style) -> float:
    if column.align is Align.RIGHT:
        return left + column.width - CELL_GAP - width(text, style)
    if column.align is Align.POINT and point:
        return left + point - width(_whole(text), style)
    return left


def _style(row: Row, index: int, look: TableLook) -> Style:
    return next((style for column, style in row.styles if column == index), look.cell)


def _line(canvas: Canvas, x: float, y: float, length: float, weight: float, colour: Color) -> None:
    canvas.setStrokeColor(colour)
    canvas.setLineWidth(weight)
    canvas.line(x, y, x + length, y)


def rule(length: float, weight: float, colour: Color) -> Block:
    """A line across."""
    return Block(weight, partial(_draw_rule, length, weight, colour))


def _draw_rule(length: float, weight: float, colour: Color, canvas: Canvas, x: float, top: float) -> None:
    _line(canvas, x, top, length, weight, colour)
