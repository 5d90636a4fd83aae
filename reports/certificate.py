"""The test certificate of a unit that passed, or was released by a person: a record in, the bytes of a PDF out.

It shows the customer's specification and never the works limits. The same record and date of issue give the
same bytes. It is signed afterwards, by `signing`; what failed gets a `failure_sheet`, which is no certificate.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.rules import rule_named
from limits.verdict import Decision, Level, Outcome
from reports import look, released, sections, wording
from reports.attaching import Attachment, Relationship
from reports.errors import NotCertifiable
from reports.layout import Align, Block, Column, Row, paragraph, space, stacked, table
from reports.publishing import Metadata, publish
from reports.record import UnitRecord
from reports.twin import network_file, twin, twin_file

TOP = look.PAGE_HEIGHT - 14.0 * mm
NEXT_TOP = look.PAGE_HEIGHT - 16.0 * mm


def certificate(record: UnitRecord, issued: datetime) -> bytes:
    """The certificate as PDF. Raises NotCertifiable for a unit that neither passed nor was released."""
    _refuse(record)
    judged = record.verdict.at(Level.SPECIFICATION)
    pages = sections.laid_out(
        _before_sweeps(record, judged, issued),
        lambda height: sections.charts(record, judged, height),
        _after_sweeps(record, judged),
        (TOP - look.FOOT, NEXT_TOP - look.FOOT),
    )
    metadata = Metadata(
        title=f"Test certificate {record.number}",
        author=record.works.name,
        subject=f"Final test of cavity duplexer {record.order.model}, serial {record.serial}",
        keywords=("test certificate", record.serial, record.order.model, record.order.number),
        created=issued,
        attachments=_attachments(record, issued),
    )

    def furnish(canvas: Canvas, page: int, of: int) -> None:
        sections.foot(canvas, record, "Certificate", page, of)

    return publish(pages, metadata, furnish, look.MARGIN, (TOP, NEXT_TOP))


def _attachments(record: UnitRecord, issued: datetime) -> tuple[Attachment, ...]:
    """The twin, and where phases were measured the S-parameters that it names with their digest."""
    told = Attachment(
        twin_file(record),
        twin(record, issued),
        "application/json",
        Relationship.ALTERNATIVE,
        "The certificate as JSON",
    )
    if not record.network:
        return (told,)
    network = Attachment(
        network_file(record),
        record.network.encode(),
        "text/plain",
        Relationship.DATA,
        "S-parameters as Touchstone, ports TX, ANT, RX",
    )
    return told, network


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


def _before_sweeps(record: UnitRecord, judged: Sequence[Decision], issued: datetime) -> list[Block]:
    return [
        sections.letterhead(record, "Test certificate", f"No. {record.number}"),
        sections.facts(record, issued, "Issued"),
        space(9.0),
        *_outcome(record, judged),
        sections.heading("Results"),
        *_results(judged, record.information),
        *([sections.heading("Sweeps")] if record.panels else []),
    ]


def _after_sweeps(record: UnitRecord, judged: Sequence[Decision]) -> list[Block]:
    return [
        sections.heading("How it was measured"),
        *sections.means(record),
        sections.heading("What this certificate says, and what it does not"),
        sections.two_columns(_statements(record, judged)),
        sections.heading("For the installation"),
        sections.two_columns(_cautions()),
        space(4.0),
        stacked([_signature(record), space(7.0), sections.end_mark("End of certificate")]),
    ]


def _outcome(record: UnitRecord, judged: Sequence[Decision]) -> list[Block]:
    """Passed; or released by a person, and then all that a customer must know of it."""
    resolution = record.resolution
    if resolution is None:
        return [sections.statement(wording.headline(Outcome.PASS), _result(record, judged), look.ACCENT)]
    sentences = released.sentences(record, judged, resolution)
    return [
        sections.statement(released.HEADLINE, sentences, look.ALARM),
        *released.account(record, resolution),
    ]


def _result(record: UnitRecord, judged: Sequence[Decision]) -> list[str]:
    amount = wording.count(len(judged), "characteristic", "characteristics")
    listed = f"in all {amount} listed" if len(judged) > 1 else f"in the {amount} listed"
    rules = ", ".join(dict.fromkeys(decision.rule for decision in judged))
    return [
        f"Unit {record.serial} meets specification {record.limits.name}, revision {record.limits.revision}, "
        f"{listed}. Decision rule: {rules}."
    ]


def _results(judged: Sequence[Decision], information: Sequence[Reading]) -> list[Block]:
    readings = [*(decision.reading for decision in judged), *information]
    with_u = any(reading.u is not None for reading in readings)
    open_ones = any(decision.outcome is Outcome.UNDECIDED for decision in judged)
    rows = [_judged_row(decision, with_u) for decision in judged]
    rows += [_information_row(reading, with_u) for reading in information]
    return table(_columns(with_u, open_ones), rows, look.RESULTS)


def _columns(with_u: bool, with_open: bool) -> list[Column]:
    verdict = (16.5 if with_open else 10.5) * mm
    columns = [
        Column("Characteristic", (60.5 if with_u else 74.0) * mm - verdict),
        Column("Over, MHz", 31.0 * mm),
        Column("Found at, MHz", 20.5 * mm, Align.POINT),
        Column("Reading", 23.0 * mm, Align.POINT),
    ]
    if with_u:
        columns.append(Column("U", 15.0 * mm, Align.POINT))
    spent = sum(column.width for column in columns)
    return [*columns, Column("Limit", look.TEXT_WIDTH - spent - verdict), Column("Verdict", verdict)]


def _judged_row(decision: Decision, with_u: bool) -> Row:
    verdict = wording.verdict(decision.outcome)
    return _row(
        decision.reading,
        str(wording.judged(decision) or wording.MISSING),
        wording.limit(decision.limit_text),
        verdict,
        with_u,
    )


def _information_row(reading: Reading, with_u: bool) -> Row:
    value = wording.printed(reading)
    row = _row(reading, wording.MISSING if value is None else str(value), "for information", "", with_u)
    return Row(row.cells, (*row.styles, (len(row.cells) - 2, look.CELL_GREY)), row.note)


def _row(reading: Reading, value: str, limit: str, verdict: str, with_u: bool) -> Row:
    u = wording.uncertainty(reading)
    middle = [wording.MISSING if u is None else str(u)] if with_u else []
    cells = (reading.title, *sections.place(reading), value, *middle, limit, verdict)
    return Row(cells, ((1, look.CELL_GREY), (3, look.CELL_STRONG)), reading.note)


def _statements(record: UnitRecord, judged: Sequence[Decision]) -> list[Block]:
    rules = dict.fromkeys(decision.rule for decision in judged)
    explained = " ".join(rule_named(rule).words for rule in rules)
    entries = [
        ("Decision rule", explained),
        ("This unit only", "The results relate only to the unit named here, as it was when it was tested."),
        (
            "Small signals",
            "The test was made with small signals. It covers neither power handling nor passive intermodulation.",
        ),
        ("Uncertainty", _uncertainty([decision.reading for decision in judged])),
        (
            "Tuning",
            "The unit is tuned to the two channels named here. The readings hold while its tuning is left as it is.",
        ),
        (
            "Reading the table",
            "Losses, isolation and return loss are positive dB. A return loss of "
            + ", ".join(
                f"{rl:g}{wording.THIN}dB is a VSWR of {wording.number(wording.vswr(rl), 2)}"
                for rl in (14.0, 20.0)
            )
            + ".",
        ),
    ]
    if sections.unprintable(record):
        note = "A character that the typeface lacks is shown by its Unicode number, such as [U+4E2D]."
        entries.append(("Characters", note))
    return [sections.run_in(*entry, sections.HALF) for entry in entries]


def _uncertainty(readings: Sequence[Reading]) -> str:
    evaluated = [reading for reading in readings if reading.u is not None]
    if not evaluated:
        return "Measurement uncertainty was not evaluated."
    text = (
        "U is the expanded uncertainty for a coverage of about 95 %, with k = 2 unless a bounded contribution leads; "
        "k is then smaller."
    )
    if len(evaluated) < len(readings):
        text += " Where no U is given it was not evaluated."
    return text


def _cautions() -> list[Block]:
    entries = (
        (
            "Load before power",
            "Never transmit unless the antenna, or a load that bears the full power, is connected.",
        ),
        (
            "Radio-frequency burns",
            "Take the transmitter out of service, and make sure that it stays so, "
            "before a connector is touched or loosened.",
        ),
        ("Weight", "The unit is heavy. Lift it with help and fix it to a structure that carries it."),
        (
            "Mains, earthing, lightning, exposure",
            "Local codes and the conditions of the licence come before anything said here; "
            "this is work for licensed practitioners.",
        ),
    )
    return [sections.run_in(*entry, sections.HALF) for entry in entries]


def _signature(record: UnitRecord) -> Block:
    text = (
        f"This certificate is issued by {record.works.name} as a digitally signed PDF. The signature is part of the "
        "file and not of the page: the signature panel of a PDF reader shows who signed and whether anything has "
        "been changed since. A print does not carry it."
    )
    return stacked(
        [
            paragraph("Digital signature", look.FINE_STRONG, look.TEXT_WIDTH),
            paragraph(text, look.FINE, look.TEXT_WIDTH),
        ]
    )
