"""The test certificate of a unit that passed, or was released by a person: a record in, the bytes of a PDF out.

It shows the customer's specification and never the works limits. The same record and date of issue give the
same bytes. It is signed afterwards, by `signing`; what failed gets a `failure_sheet`, which is no certificate.
What is where on it is told beside the clauses that ask for it, in `tests/reports/test_checklist.py`.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from limits.verdict import Decision, Level, Outcome
from reports import look, released, sections
from reports.attaching import Attachment, Relationship
from reports.errors import NotCertifiable
from reports.language import Language
from reports.layout import Block, space, stacked
from reports.means import means
from reports.publishing import Metadata, Sheet, publish
from reports.record import UnitRecord
from reports.results import results
from reports.sections import Manner
from reports.statements import cautions, data, judgement, signature, statements
from reports.twin import network_file, twin, twin_file


def certificate(record: UnitRecord, issued: datetime) -> bytes:
    """The certificate as PDF. Raises NotCertifiable for a unit that neither passed nor was released."""
    _refuse(record)
    judged = record.verdict.at(Level.SPECIFICATION)
    manner = sections.manner_of(record)
    words, dress = manner.words, manner.dress
    told = twin(record, issued)
    sheet = Sheet(dress.size, dress.left, dress.size[1] - 14.0 * mm, dress.size[1] - 16.0 * mm)
    pages = sections.laid_out(
        _before_sweeps(record, manner, judged, issued),
        sections.charts(record, words, judged),
        _after_sweeps(record, manner, judged, told),
        sheet.rooms(look.FOOT),
    )
    metadata = Metadata(
        title=f"{words('title')} {record.number}",
        author=record.works.name,
        subject=words("about", model=record.order.model, serial=record.serial),
        keywords=(words("keyword"), record.serial, record.order.model, record.order.number),
        created=issued,
        attachments=_attachments(record, words, told),
        language=words.tag,
    )

    def furnish(canvas: Canvas, page: int, of: int) -> None:
        sections.foot(canvas, record, manner, words("certificate"), page, of)

    return publish(pages, metadata, furnish, sheet)


def _attachments(record: UnitRecord, words: Language, told: bytes) -> tuple[Attachment, ...]:
    """The twin, and where phases were measured the S-parameters that it names with their digest."""
    itself = Attachment(
        twin_file(record), told, "application/json", Relationship.ALTERNATIVE, words("twin-about")
    )
    if not record.network:
        return (itself,)
    network = Attachment(
        network_file(record),
        record.network.encode(),
        "text/plain",
        Relationship.DATA,
        words("network-about"),
    )
    return itself, network


def _refuse(record: UnitRecord) -> None:
    if record.outcome is not Outcome.PASS:
        raise NotCertifiable(
            f"{record.number}: {_standing(record)}, so there is no certificate; "
            "make a failure sheet, or test the unit again"
        )
    if not record.verdict.at(Level.SPECIFICATION):
        raise NotCertifiable(
            f"{record.number}: nothing was judged against a specification, so a certificate would say nothing; "
            f"limit table {record.limits.name} must hold a specification"
        )


def _standing(record: UnitRecord) -> str:
    if record.resolution is not None:
        return f"the unit was {record.resolution.sentence}"
    return f"the verdict is {record.verdict.outcome.value}"


def _before_sweeps(
    record: UnitRecord, manner: Manner, judged: Sequence[Decision], issued: datetime
) -> list[Block]:
    words, dress = manner.words, manner.dress
    return [
        sections.letterhead(record, manner, words("title"), words("number", number=record.number)),
        sections.facts(record, words, issued, words("issued")),
        space(9.0),
        *_outcome(record, manner, judged),
        sections.heading(words("results"), dress),
        *results(judged, record.information, words),
        *([sections.heading(words("sweeps"), dress)] if record.panels else []),
    ]


def _after_sweeps(record: UnitRecord, manner: Manner, judged: Sequence[Decision], told: bytes) -> list[Block]:
    words, dress = manner.words, manner.dress
    last = [signature(record, words), space(7.0), sections.end_mark(words("end"))]
    return [
        sections.heading(words("how"), dress),
        *means(record, words),
        sections.heading(words("says"), dress),
        sections.two_columns(statements(record, words, judged)),
        sections.heading(words("installation"), dress),
        sections.two_columns(cautions(words)),
        space(5.0),
        stacked([data(record, words, told), *last]),
    ]


def _outcome(record: UnitRecord, manner: Manner, judged: Sequence[Decision]) -> list[Block]:
    """Passed; or released by a person, and then all that a customer must know of it."""
    words, resolution = manner.words, record.resolution
    rule = judgement(words, judged)
    if resolution is None:
        sentences = [_met(record, words, len(judged)), rule]
        return [sections.statement(words("passed"), sentences, manner.dress.accent)]
    sentences = [*released.sentences(record, words, judged, resolution), rule]
    return [
        sections.statement(words("released"), sentences, look.ALARM),
        *released.account(record, manner, resolution),
    ]


def _met(record: UnitRecord, words: Language, count: int) -> str:
    return words(
        "meets-all" if count > 1 else "meets-one",
        serial=record.serial,
        name=record.limits.name,
        revision=record.limits.revision,
        count=count,
    )
