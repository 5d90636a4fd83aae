"""The failure sheet of a unit that failed or stayed undecided: for the works and its technicians only.

Nobody may take it for a certificate: another title, a black band and frame on every page, and the words in
both margins. It says first what failed and by how much, and unlike a certificate it shows the works limits.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.verdict import Decision, Level, Outcome
from reports import look, sections, wording
from reports.errors import NothingFailed
from reports.layout import Align, Block, Column, Row, say, space, table
from reports.publishing import Metadata, publish
from reports.record import UnitRecord
from reports.typeface import width

WARNING = "NOT A CERTIFICATE"
EDGE = 8.0 * mm
BAND = 11.0 * mm
TOP = look.PAGE_HEIGHT - EDGE - BAND - 6.0 * mm
NEXT_TOP = TOP - 2.0 * mm

ROOM = look.TEXT_WIDTH


def failure_sheet(record: UnitRecord, issued: datetime) -> bytes:
    """The failure sheet as PDF. Raises NothingFailed for a unit that passed."""
    if record.verdict.outcome is Outcome.PASS:
        raise NothingFailed(
            f"{record.number}: the unit passed, so there is no failure sheet; make its certificate"
        )
    pages = sections.laid_out(
        _before_sweeps(record, issued),
        lambda height: sections.charts(record, record.verdict.decisions, height),
        [
            sections.heading("How it was measured"),
            *sections.means(record),
            sections.end_mark("End of failure sheet"),
        ],
        (TOP - look.FOOT, NEXT_TOP - look.FOOT),
    )
    metadata = Metadata(
        title=f"Failure sheet {record.number}, not a certificate",
        author=record.works.name,
        subject=f"Final test of cavity duplexer {record.order.model}, serial {record.serial}: "
        f"{record.verdict.outcome.value}",
        keywords=("failure sheet", record.serial, record.order.model),
        created=issued,
    )

    def furnish(canvas: Canvas, page: int, of: int) -> None:
        _mark(canvas)
        sections.foot(canvas, record, "Failure sheet", page, of)

    return publish(pages, metadata, furnish, look.MARGIN, (TOP, NEXT_TOP))


def _mark(canvas: Canvas) -> None:
    """Band, frame and margin words that no certificate has."""
    wide, high = look.PAGE_WIDTH - 2 * EDGE, look.PAGE_HEIGHT - 2 * EDGE
    canvas.setStrokeColor(look.INK)
    canvas.setLineWidth(2.4)
    canvas.rect(EDGE, EDGE, wide, high, stroke=1, fill=0)
    canvas.setFillColor(look.INK)
    canvas.rect(EDGE, EDGE + high - BAND, wide, BAND, stroke=0, fill=1)
    baseline = EDGE + high - BAND / 2 - 0.33 * look.BAND_STRONG.size
    say(canvas, look.MARGIN, baseline, WARNING, look.BAND_STRONG)
    purpose = "For the works only"
    say(canvas, look.MARGIN + ROOM - width(purpose, look.BAND_PLAIN), baseline, purpose, look.BAND_PLAIN)
    for x, turn in ((EDGE + 6.3 * mm, 90), (look.PAGE_WIDTH - EDGE - 6.3 * mm, -90)):
        canvas.saveState()
        canvas.translate(x, look.PAGE_HEIGHT / 2)
        canvas.rotate(turn)
        say(canvas, -width(WARNING, look.MARGIN_WORDS) / 2, 0.0, WARNING, look.MARGIN_WORDS)
        canvas.restoreState()


def _before_sweeps(record: UnitRecord, issued: datetime) -> list[Block]:
    verdict = record.verdict
    failed = sorted(verdict.failed(), key=lambda decision: decision.level is Level.WORKS)
    open_ones = [decision for decision in verdict.decisions if decision.outcome is Outcome.UNDECIDED]
    blocks = [
        sections.letterhead(record, "Failure sheet", f"No. {record.number}"),
        sections.facts(record, issued, "Printed"),
        space(9.0),
        sections.statement(wording.headline(verdict.outcome), _result(record, failed, open_ones), look.ALARM),
    ]
    if failed:
        blocks += [sections.heading("What failed, and by how much"), *_failures(failed, verdict.decisions)]
    if open_ones:
        blocks += [sections.heading("What could not be decided"), *_open(open_ones)]
    if verdict.decisions or record.information:
        blocks += [sections.heading("All readings"), *_all_readings(record)]
    if record.panels:
        blocks.append(sections.heading("Sweeps"))
    return blocks


def _result(record: UnitRecord, failed: Sequence[Decision], open_ones: Sequence[Decision]) -> list[str]:
    if not record.verdict.decisions:
        return ["Nothing was judged."]
    judged = len(_names(record.verdict.decisions))
    parts = []
    if failed:
        parts.append(f"{len(_names(failed))} of {judged} characteristics miss a limit.")
    if open_ones:
        parts.append(f"{len(_names(open_ones))} of {judged} could not be decided.")
    if record.verdict.meets_specification:
        parts.append("The customer's specification is met, but not every works limit.")
    rules = ", ".join(dict.fromkeys(decision.rule for decision in record.verdict.decisions))
    return [f"{' '.join(parts)} Decision rule: {rules}."]


def _names(decisions: Sequence[Decision]) -> set[str]:
    return {decision.reading.name for decision in decisions}


def _failures(failed: Sequence[Decision], everything: Sequence[Decision]) -> list[Block]:
    columns = (
        Column("Characteristic", 63.5 * mm),
        Column("Found at, MHz", 20.5 * mm, Align.POINT),
        Column("Reading", 20.0 * mm, Align.POINT),
        Column("Limit", 24.0 * mm),
        Column("Whose limit", 22.0 * mm),
        Column("By", ROOM - 150.0 * mm, Align.POINT),
    )
    rows = [
        Row(
            (
                decision.reading.title,
                sections.place(decision.reading)[1],
                str(wording.judged(decision, everything) or wording.MISSING),
                wording.limit(decision.limit_text),
                decision.level.value,
                str(wording.distance(decision, everything) or wording.MISSING),
            ),
            ((0, look.CELL_STRONG), (2, look.CELL_STRONG), (5, look.CELL_ALARM)),
            decision.reading.note,
        )
        for decision in failed
    ]
    return table(columns, rows, look.RESULTS)


def _open(open_ones: Sequence[Decision]) -> list[Block]:
    columns = (
        Column("Characteristic", 63.5 * mm),
        Column("Reading", 20.0 * mm, Align.POINT),
        Column("Limit", 24.0 * mm),
        Column("Whose limit", 22.0 * mm),
        Column("Why", ROOM - 129.5 * mm),
    )
    rows = [
        Row(
            (
                decision.reading.title,
                str(wording.judged(decision) or wording.MISSING),
                wording.limit(decision.limit_text),
                decision.level.value,
                decision.reading.note or "too near the limit for its uncertainty",
            ),
            ((0, look.CELL_STRONG),),
        )
        for decision in open_ones
    ]
    return table(columns, rows, look.RESULTS)


def _all_readings(record: UnitRecord) -> list[Block]:
    columns = (
        Column("Characteristic", 63.5 * mm),
        Column("Found at, MHz", 20.5 * mm, Align.POINT),
        Column("Reading", 24.0 * mm, Align.POINT),
        Column("Specification", 24.0 * mm),
        Column("Works limit", 24.0 * mm),
        Column("Verdict", ROOM - 156.0 * mm),
    )
    rows = [_reading_row(decisions) for decisions in _by_reading(record.verdict.decisions)]
    rows += [_information_row(reading) for reading in record.information]
    return table(columns, rows, look.RESULTS)


def _by_reading(decisions: Sequence[Decision]) -> list[list[Decision]]:
    """The decisions on one reading together; a mask's readings differ where its levels found different points."""
    groups: dict[tuple[str, float | None, float | None], list[Decision]] = {}
    for decision in decisions:
        key = (decision.reading.name, decision.reading.value, decision.reading.at_hz)
        groups.setdefault(key, []).append(decision)
    return list(groups.values())


def _reading_row(decisions: Sequence[Decision]) -> Row:
    reading = decisions[0].reading
    value = wording.judged(decisions[0], decisions)
    texts = {decision.level: wording.limit(decision.limit_text) for decision in decisions}
    outcomes = {decision.outcome for decision in decisions}
    worst = next(
        outcome for outcome in (Outcome.FAIL, Outcome.UNDECIDED, Outcome.PASS) if outcome in outcomes
    )
    cells = (
        reading.title,
        sections.place(reading)[1],
        wording.MISSING if value is None else str(value),
        texts.get(Level.SPECIFICATION, wording.MISSING),
        texts.get(Level.WORKS, wording.MISSING),
        wording.verdict(worst),
    )
    style = look.CELL if worst is Outcome.PASS else look.CELL_ALARM
    return Row(cells, ((2, look.CELL_STRONG), (5, style)), reading.note)


def _information_row(reading: Reading) -> Row:
    value = wording.printed(reading)
    text = wording.MISSING if value is None else str(value)
    cells = (reading.title, sections.place(reading)[1], text, wording.MISSING, wording.MISSING, "")
    return Row(cells, ((2, look.CELL_STRONG),), reading.note)
