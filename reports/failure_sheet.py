"""The failure sheet of a unit that failed, stayed undecided or was rejected: for the works and its technicians only.

Nobody may take it for a certificate: another title, a black band and frame on every page, and the words in
both margins. It says first what failed and by how much, and unlike a certificate it shows the works limits. It
ends with ruled lines for the workshop.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas

from limits.reading import Reading
from limits.verdict import Decision, Level, Outcome, Verdict
from reports import look, sections, wording
from reports.errors import NothingFailed
from reports.layout import CELL_GAP, Align, Block, Column, Row, say, space, table
from reports.means import means
from reports.publishing import Metadata, Sheet, publish
from reports.record import UnitRecord
from reports.sections import Manner
from reports.typeface import width

WARNING = "NOT A CERTIFICATE"
EDGE = 8.0 * mm
BAND = 11.0 * mm
ROOM = look.TEXT_WIDTH

PEN_LINE = 9.0 * mm
"""What a hand needs for a line."""

LEAST_REWORK = 4
"""So many lines for rework there are on every sheet, even if it takes a page more."""


def failure_sheet(record: UnitRecord, issued: datetime) -> bytes:
    """The failure sheet as PDF. Raises NothingFailed for a unit that passed or was released."""
    if record.outcome is Outcome.PASS:
        how = "passed" if record.resolution is None else f"was {record.resolution.sentence}"
        raise NothingFailed(
            f"{record.number}: the unit {how}, so there is no failure sheet; make its certificate"
        )
    metadata = Metadata(
        title=f"Failure sheet {record.number}, not a certificate",
        author=record.works.name,
        subject=f"Final test of cavity duplexer {record.order.model}, serial {record.serial}: "
        f"{record.resolution.ruling.done if record.resolution else record.verdict.outcome.value}",
        keywords=("failure sheet", record.serial, record.order.model),
        created=issued,
    )

    # For the works' own people, who write English with the rest of this program.
    manner = sections.manner_of(record, "en")
    size = manner.dress.size
    top = size[1] - EDGE - BAND - 6.0 * mm
    sheet = Sheet(size, manner.dress.left, top, top - 2.0 * mm)

    def furnish(canvas: Canvas, page: int, of: int) -> None:
        _mark(canvas, sheet)
        sections.foot(canvas, record, manner, "Failure sheet", page, of)

    return publish(_pages(record, manner, issued, sheet.rooms(look.FOOT)), metadata, furnish, sheet)


def _pages(
    record: UnitRecord, manner: Manner, issued: datetime, rooms: tuple[float, float]
) -> list[list[Block]]:
    """All that is told, and then room for a pen down to the foot of the last page."""
    pages = sections.laid_out(
        _before_sweeps(record, manner, issued),
        sections.charts(record, manner.words, record.verdict.decisions),
        [
            sections.heading("How it was measured", manner.dress),
            *means(record, manner.words),
            sections.heading("Rework", manner.dress),
            _for_a_pen(LEAST_REWORK, headed=True),
            space(4.0),
            sections.end_mark("End of failure sheet"),
        ],
        rooms,
    )
    left = rooms[len(pages) > 1] - sum(block.height for block in pages[-1])
    pages[-1].insert(-2, _for_a_pen(int(left // PEN_LINE)))
    return pages


def _mark(canvas: Canvas, sheet: Sheet) -> None:
    """Band, frame and margin words that no certificate has."""
    width_of_page, height_of_page = sheet.size
    wide, high = width_of_page - 2 * EDGE, height_of_page - 2 * EDGE
    canvas.setStrokeColor(look.INK)
    canvas.setLineWidth(2.4)
    canvas.rect(EDGE, EDGE, wide, high, stroke=1, fill=0)
    canvas.setFillColor(look.INK)
    canvas.rect(EDGE, EDGE + high - BAND, wide, BAND, stroke=0, fill=1)
    baseline = EDGE + high - BAND / 2 - 0.33 * look.BAND_STRONG.size
    say(canvas, sheet.left, baseline, WARNING, look.BAND_STRONG)
    purpose = "For the works only"
    say(canvas, sheet.left + ROOM - width(purpose, look.BAND_PLAIN), baseline, purpose, look.BAND_PLAIN)
    for x, turn in ((EDGE + 6.3 * mm, 90), (width_of_page - EDGE - 6.3 * mm, -90)):
        canvas.saveState()
        canvas.translate(x, height_of_page / 2)
        canvas.rotate(turn)
        say(canvas, -width(WARNING, look.MARGIN_WORDS) / 2, 0.0, WARNING, look.MARGIN_WORDS)
        canvas.restoreState()


def _before_sweeps(record: UnitRecord, manner: Manner, issued: datetime) -> list[Block]:
    dress = manner.dress
    decisions = record.verdict.decisions
    amiss = sorted(
        (group for group in _by_reading(decisions) if _outcome(group) is not Outcome.PASS), key=_severity
    )
    word, sentences = _result(record)
    blocks = [
        sections.letterhead(record, manner, "Failure sheet", f"No. {record.number}"),
        sections.facts(record, manner.words, issued, "Printed"),
        space(9.0),
        sections.statement(word, sentences, look.ALARM),
    ]
    if amiss:
        blocks += [sections.heading(_amiss_heading(amiss), dress), *_amiss(amiss, decisions)]
    if decisions or record.information:
        blocks += [sections.heading("All readings", dress), *_all_readings(record)]
    if record.panels:
        blocks.append(sections.heading("Sweeps", dress))
    return blocks


def _result(record: UnitRecord) -> tuple[str, list[str]]:
    """The verdict in a word or two, and what it rests on."""
    verdict = record.verdict
    if not verdict.decisions:
        return wording.headline(verdict.outcome), ["Nothing was judged."]
    judged = len(_names(verdict.decisions))
    failed = _names(verdict.failed())
    open_ones = {d.reading.name for d in verdict.decisions if d.outcome is Outcome.UNDECIDED} - failed
    works_only = bool(failed) and verdict.meets_specification
    parts = ["The unit meets the customer's specification in full."] if works_only else []
    if failed:
        whose = "the works' own limit" if works_only else "a limit"
        parts.append(f"{len(failed)} of {wording.count(judged, 'characteristic', 'characteristics')} ")
        parts[-1] += f"{'misses' if len(failed) == 1 else 'miss'} {whose}."
    if open_ones:
        parts.append(f"{len(open_ones)} of {judged} could not be decided.")
    word = "Failed on a works limit only" if works_only else wording.headline(verdict.outcome)
    sentences = [" ".join(parts), f"Decision rule: {_rules(verdict.decisions)}."]
    if record.resolution is None:
        return word, sentences
    told = f"The unit was {record.resolution.sentence}. Reason: {record.resolution.reason}"
    return "Rejected by a person's decision", [*sentences, told]


def _rules(decisions: Sequence[Decision]) -> str:
    """The rules by name; where the levels differ, each with its level."""
    named = dict.fromkeys((decision.rule, decision.level) for decision in decisions)
    rules = dict.fromkeys(rule for rule, _ in named)
    if len(rules) == 1:
        return next(iter(rules))
    return ", ".join(f"{rule} ({level.value})" for rule, level in named)


def _names(decisions: Sequence[Decision]) -> set[str]:
    return {decision.reading.name for decision in decisions}


def _outcome(group: Sequence[Decision]) -> Outcome:
    return Verdict(tuple(group)).outcome


def _severity(group: Sequence[Decision]) -> int:
    """What the customer was promised comes first, then what the works ask, then what is open."""
    if _outcome(group) is not Outcome.FAIL:
        return 2
    return 0 if _failed_at(group, Level.SPECIFICATION) else 1


def _failed_at(group: Sequence[Decision], level: Level) -> bool:
    return any(decision.level is level and decision.outcome is Outcome.FAIL for decision in group)


def _amiss_heading(amiss: Sequence[Sequence[Decision]]) -> str:
    outcomes = {_outcome(group) for group in amiss}
    if outcomes == {Outcome.FAIL}:
        return "What failed, and by how much"
    if outcomes == {Outcome.UNDECIDED}:
        return "What could not be decided"
    return "What failed, by how much, and what could not be decided"


def _amiss(amiss: Sequence[Sequence[Decision]], everything: Sequence[Decision]) -> list[Block]:
    columns = (
        Column("Characteristic", 54.0 * mm),
        Column("Found at, MHz", 20.5 * mm, Align.POINT),
        Column("Reading", 21.0 * mm, Align.POINT),
        Column("Specification", 22.5 * mm),
        Column("missed by", 16.5 * mm),
        Column("Works limit", 22.5 * mm),
        Column("missed by", ROOM - 157.0 * mm),
    )
    return table(columns, [_amiss_row(group, everything) for group in amiss], look.RESULTS)


def _amiss_row(group: Sequence[Decision], everything: Sequence[Decision]) -> Row:
    reading = group[0].reading
    at_level = {decision.level: decision for decision in group}
    limits: list[str] = []
    styles = [(0, look.CELL_STRONG), (2, look.CELL_STRONG)]
    for level in Level:
        decision = at_level.get(level)
        limits += (
            ["", ""]
            if decision is None
            else [wording.limit(decision.limit_text), _miss(decision, everything)]
        )
        if decision is not None and decision.outcome is not Outcome.PASS:
            styles.append((2 + len(limits), look.CELL_ALARM))
    value = str(wording.judged(group[0], everything) or wording.MISSING)
    return Row((reading.title, sections.place(reading)[1], value, *limits), tuple(styles), _why(group))


def _miss(decision: Decision, everything: Sequence[Decision]) -> str:
    if decision.outcome is Outcome.FAIL:
        return str(wording.distance(decision, everything) or wording.MISSING)
    return "met" if decision.outcome is Outcome.PASS else "undecided"


def _why(group: Sequence[Decision]) -> str:
    """The reading's own note; an open decision about a number without one is too near its limit."""
    overall = _outcome(group)
    note = next(decision.reading.note for decision in group if decision.outcome is overall)
    if note or overall is not Outcome.UNDECIDED:
        return note
    return "too near the limit for its uncertainty"


def _all_readings(record: UnitRecord) -> list[Block]:
    columns = (
        Column("Characteristic", 63.5 * mm),
        Column("Found at, MHz", 20.5 * mm, Align.POINT),
        Column("Reading", 24.0 * mm, Align.POINT),
        Column("Specification", 24.0 * mm),
        Column("Works limit", 24.0 * mm),
        Column("Verdict", ROOM - 156.0 * mm),
    )
    decisions = record.verdict.decisions
    rows = [_reading_row(group) for group in _by_reading(decisions)]
    rows += [
        _information_row(reading) for reading in record.information if reading.name not in _names(decisions)
    ]
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
    worst = _outcome(decisions)
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


def _for_a_pen(lines: int, *, headed: bool = False) -> Block:
    """Ruled room for what the workshop found and did, and the next test."""
    columns = (
        ("What was found", 55.0 * mm),
        ("What was done", 55.0 * mm),
        ("By", 18.0 * mm),
        ("Date", 20.0 * mm),
        ("Next test", ROOM - 148.0 * mm),
    )
    head = look.SMALL.leading if headed else 0.0

    def draw(canvas: Canvas, x: float, top: float) -> None:
        for name, wide in columns:
            if headed:
                say(canvas, x, top - look.SMALL.size, name, look.SMALL)
            canvas.setStrokeColor(look.GREY)
            canvas.setLineWidth(0.4)
            for line in range(1, lines + 1):
                y = top - head - line * PEN_LINE
                canvas.line(x, y, x + wide - CELL_GAP, y)
            x += wide

    return Block(head + lines * PEN_LINE, draw)
