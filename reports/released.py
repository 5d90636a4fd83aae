"""What a certificate says of a unit that the readings could not decide and a person released.

It states plainly which readings were undecided, who released the unit, when and why. As everywhere on a certificate,
the works' own limits are not told: where one of them was left undecided it is named without its number.
"""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.lib.units import mm

from limits.verdict import Decision, Level, Outcome
from reports import look, sections, wording
from reports.language import Language
from reports.layout import Align, Block, Column, Row, paragraph, space, stacked, table
from reports.record import UnitRecord
from reports.resolution import Resolution


def sentences(
    record: UnitRecord, words: Language, judged: Sequence[Decision], resolution: Resolution
) -> list[str]:
    """The result: what is met, what was left open, and by whom it was released."""
    missed = sum(decision.outcome is Outcome.UNDECIDED for decision in judged)
    told = words(
        "released-open" if missed else "released-own",
        serial=record.serial,
        name=record.limits.name,
        revision=record.limits.revision,
        met=len(judged) - missed,
        count=len(judged),
        open=missed,
    )
    return [told, words("released-by", person=resolution.person, day=words.day(resolution.made))]


def account(record: UnitRecord, manner: sections.Manner, resolution: Resolution) -> list[Block]:
    """The readings that were undecided, and the decision with its signer."""
    words = manner.words
    columns = (
        Column(words("characteristic"), 74.0 * mm),
        Column(words("found-at"), 22.0 * mm, Align.POINT),
        Column(words("reading"), 23.0 * mm, Align.POINT),
        Column(words("u"), 19.0 * mm, Align.POINT),
        Column(words("limit"), look.TEXT_WIDTH - 138.0 * mm),
    )
    paragraphs = [paragraph(text, look.BODY, look.TEXT_WIDTH) for text in _told(record, words, resolution)]
    return [
        sections.heading(words("released-heading"), manner.dress),
        *table(columns, [_row(decision, words) for decision in _open(record)], look.RESULTS),
        stacked([space(4.0), *paragraphs]),
    ]


def _open(record: UnitRecord) -> list[Decision]:
    """Each undecided reading once, by what the customer was promised where that was undecided."""
    chosen: dict[str, Decision] = {}
    for level in Level:
        for decision in record.verdict.at(level):
            if decision.outcome is Outcome.UNDECIDED:
                chosen.setdefault(decision.reading.name, decision)
    return list(chosen.values())


def _row(decision: Decision, words: Language) -> Row:
    reading = decision.reading
    u = wording.uncertainty(reading)
    promised = decision.level is Level.SPECIFICATION
    cells = (
        words.local(reading.title),
        words.numerals(sections.place(reading)[1]),
        words.numerals(wording.judged(decision) or wording.MISSING),
        wording.MISSING if u is None else words.numerals(u),
        words.local(wording.limit(decision.limit_text)) if promised else words("own-limit"),
    )
    return Row(cells, ((1, look.CELL_GREY), (2, look.CELL_STRONG)), words.local(reading.note))


def _told(record: UnitRecord, words: Language, resolution: Resolution) -> list[str]:
    key = wording.digest(resolution.fingerprint)
    return [
        words(
            "released-words",
            person=resolution.person,
            moment=words.moment(resolution.made),
            reason=resolution.reason,
        ),
        words("released-kept", number=resolution.number, run=record.run_number, key=key),
    ]
