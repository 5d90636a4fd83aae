"""The table of results on a certificate: every reading with its place, its U, its limit and its margin."""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.lib.units import mm

from limits.reading import Reading
from limits.verdict import Decision, Outcome
from reports import look, margin_mark, wording
from reports.language import Language
from reports.layout import Align, Block, Column, Row, table
from reports.sections import place


def results(judged: Sequence[Decision], information: Sequence[Reading], words: Language) -> list[Block]:
    """First what the customer was promised a limit for, then what is told for information."""
    readings = [*(decision.reading for decision in judged), *information]
    with_u = any(reading.u is not None for reading in readings)
    with_open = any(decision.outcome is Outcome.UNDECIDED for decision in judged)
    rows = [_judged_row(decision, words, with_u) for decision in judged]
    rows += [_information_row(reading, words, with_u) for reading in information]
    return table(_columns(words, with_u, with_open), rows, look.RESULTS)


def _columns(words: Language, with_u: bool, with_open: bool) -> list[Column]:
    between = [
        Column(words("found-at"), 17.0 * mm, Align.POINT),
        Column(words("reading"), 21.5 * mm, Align.POINT),
    ]
    if with_u:
        between.append(Column(words("u"), 15.5 * mm, Align.POINT))
    between.append(Column(words("limit"), 25.0 * mm))
    if with_u:
        between.append(Column(words("margin"), margin_mark.WIDTH + 2.5 * mm))
    between.append(Column(words("verdict"), (15.5 if with_open else 10.5) * mm))
    left = look.TEXT_WIDTH - sum(column.width for column in between)
    return [Column(words("characteristic"), left), *between]


def _judged_row(decision: Decision, words: Language, with_u: bool) -> Row:
    value = words.numerals(wording.judged(decision) or wording.MISSING)
    limit = words.local(wording.limit(decision.limit_text))
    row = _row(decision.reading, words, value, limit, words(decision.outcome.value), with_u)
    mark = margin_mark.margin_mark(decision)
    marks = ((len(row.cells) - 2, mark),) if mark else ()
    return Row(row.cells, row.styles, row.note, marks)


def _information_row(reading: Reading, words: Language, with_u: bool) -> Row:
    value = words.numerals(wording.printed(reading) or wording.MISSING)
    row = _row(reading, words, value, words("for-information"), "", with_u)
    return Row(row.cells, (*row.styles, (4 if with_u else 3, look.CELL_GREY)), row.note)


def _row(reading: Reading, words: Language, value: str, limit: str, verdict: str, with_u: bool) -> Row:
    u = words.numerals(wording.uncertainty(reading) or wording.MISSING)
    at = words.numerals(place(reading)[1])
    middle = (u, limit, "") if with_u else (limit,)
    cells = (words.local(reading.title), at, value, *middle, verdict)
    return Row(cells, ((1, look.CELL_GREY), (2, look.CELL_STRONG)), words.local(reading.note))
