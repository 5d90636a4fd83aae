"""How and with what a unit was measured: sweeps, instruments and when they were calibrated, the check standard of the
day, documents, people. What a result is traced by (ISO/IEC 17025, 7.8.2.1 c, f, n)."""

from __future__ import annotations

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from reports import look, wording
from reports.language import Language
from reports.layout import Align, Block, Column, Row, beside, paragraph, say, space, stacked, table
from reports.record import CheckNote, Document, Instrument, UnitRecord
from reports.sections import GUTTER, HALF

LABEL = 26.0 * mm


def means(record: UnitRecord, words: Language) -> list[Block]:
    """All of it."""
    about = stacked([_line_of(*row) for row in _circumstances(record, words)])
    return [
        beside((0.0, _sweeps(record, words)), (HALF + GUTTER, _instruments(record, words))),
        space(6.0),
        about,
    ]


def _sweeps(record: UnitRecord, words: Language) -> Block:
    columns = (
        Column(words("hookup"), 34 * mm),
        Column(words("points"), 11 * mm, Align.RIGHT),
        Column(words("bandwidth"), 15 * mm, Align.RIGHT),
        Column(words("averages"), 13.5 * mm, Align.RIGHT),
        Column(words("power"), HALF - 73.5 * mm + 2.2 * mm, Align.RIGHT),
    )
    rows = [
        Row(
            (
                words.local(sweep.hookup),
                str(sweep.points),
                words.numerals(wording.width(sweep.bandwidth_hz)),
                str(sweep.averages),
                words.numerals(wording.power(sweep.power_dbm)),
            )
        )
        for sweep in record.sweeps
    ]
    return stacked(table(columns, rows, look.MEANS))


def _instruments(record: UnitRecord, words: Language) -> Block:
    columns = (Column(words("instrument"), 24 * mm), Column(words("identity"), HALF - 24 * mm))
    rows = [Row((words.local(each.role), _identity(each, words))) for each in record.instruments]
    if record.check is not None:
        rows.append(Row((words("check-standard"), _check(record.check, words))))
    return stacked(table(columns, rows, look.MEANS))


def _identity(instrument: Instrument, words: Language) -> str:
    # Only the station's own words of a calibration are put into the language; an instrument speaks for itself.
    own = instrument.role == "calibration"
    text = words.local(instrument.identity) if own else instrument.identity
    return (
        f"{text}. {words('calibrated', calibrated=instrument.calibrated)}" if instrument.calibrated else text
    )


def _check(check: CheckNote, words: Language) -> str:
    return words(
        "check-of-day",
        serial=check.serial,
        certificate=check.certificate,
        moment=words.moment(check.started),
        result=words(f"check-{check.outcome.value}", count=check.readings),
    )


def _circumstances(record: UnitRecord, words: Language) -> tuple[tuple[str, str], ...]:
    works = record.works
    place = words("place-is", works=works.name, station=works.station, operator=record.operator)
    return (
        (words("recipe"), _document(record.recipe, words)),
        (words("specification"), _document(record.limits, words)),
        (words("method"), words("method-is")),
        (words("temperature"), _temperatures(record, words)),
        (words("place"), place),
    )


def _document(document: Document, words: Language) -> str:
    shown = wording.digest(document.digest)
    return words("document", name=document.name, revision=document.revision, digest=shown)


def _temperatures(record: UnitRecord, words: Language) -> str:
    def spoken(value: float | None) -> str:
        return words("not-recorded") if value is None else words.numerals(wording.temperature(value))

    if record.temperature_end_c is None:
        return spoken(record.temperature_c)
    return words("temperature-both", start=spoken(record.temperature_c), end=spoken(record.temperature_end_c))


def _line_of(label: str, text: str) -> Block:
    body = paragraph(text, look.FINE, look.TEXT_WIDTH - LABEL)

    def draw(canvas: Canvas, x: float, top: float) -> None:
        say(canvas, x, top - look.FINE.size, label, look.LABEL)
        body.draw(canvas, x + LABEL, top)

    return Block(body.height + 0.6, draw)
