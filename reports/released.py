"""What a certificate says of a unit that the readings could not decide and a person released.

It states plainly which readings were undecided, who released the unit, when and why. As everywhere on a certificate,
the works' own limits are not told: where one of them was left undecided it is named without its number.
"""

from __future__ import annotations

from collections.abc import Sequence

from reportlab.lib.units import mm

from limits.verdict import Decision, Level, Outcome
from reports import look, sections, wording
from reports.layout import Align, Block, Column, Row, paragraph, space, stacked, table
from reports.record import UnitRecord
from reports.resolution import Resolution

HEADLINE = "Released by a person's decision"
_OWN = "tighter limit of the works"


def sentences(record: UnitRecord, judged: Sequence[Decision], resolution: Resolution) -> list[str]:
    """The result: what is met, what was left open, and by whom it was released."""
    amount = wording.count(len(judged), "characteristic", "characteristics")
    specification = f"specification {record.limits.name}, revision {record.limits.revision}"
    rules = ", ".join(dict.fromkeys(decision.rule for decision in judged))
    missed = sum(decision.outcome is Outcome.UNDECIDED for decision in judged)
    if missed:
        met = f"meets {specification}, in {len(judged) - missed} of {amount} listed; {missed} could not be decided."
    else:
        met = f"meets {specification}, in {amount} listed; against a {_OWN} it could not be decided."
    return [
        f"Unit {record.serial} {met} Decision rule: {rules}.",
        f"It was {resolution.sentence}, for the reason given below.",
    ]


def account(record: UnitRecord, resolution: Resolution) -> list[Block]:
    """The readings that were undecided, and the decision with its signer."""
    return [
        sections.heading("What was undecided, and who released the unit"),
        *table(_COLUMNS, [_row(decision) for decision in _open(record)], look.RESULTS),
        stacked(
            [space(4.0)]
            + [paragraph(text, look.BODY, look.TEXT_WIDTH) for text in _words(record, resolution)]
        ),
    ]


_COLUMNS = (
    Column("Characteristic", 74.0 * mm),
    Column("Found at, MHz", 22.0 * mm, Align.POINT),
    Column("Reading", 23.0 * mm, Align.POINT),
    Column("U", 19.0 * mm, Align.POINT),
    Column("Limit", look.TEXT_WIDTH - 138.0 * mm),
)


def _open(record: UnitRecord) -> list[Decision]:
    """Each undecided reading once, by what the customer was promised where that was undecided."""
    chosen: dict[str, Decision] = {}
    for level in Level:
        for decision in record.verdict.at(level):
            if decision.outcome is Outcome.UNDECIDED:
                chosen.setdefault(decision.reading.name, decision)
    return list(chosen.values())


def _row(decision: Decision) -> Row:
    reading = decision.reading
    u = wording.uncertainty(reading)
    promised = decision.level is Level.SPECIFICATION
    cells = (
        reading.title,
        sections.place(reading)[1],
        str(wording.judged(decision) or wording.MISSING),
        wording.MISSING if u is None else str(u),
        wording.limit(decision.limit_text) if promised else _OWN,
    )
    return Row(cells, ((1, look.CELL_GREY), (2, look.CELL_STRONG)), reading.note)


def _words(record: UnitRecord, resolution: Resolution) -> list[str]:
    return [
        f"{resolution.person} released the unit on {wording.moment(resolution.made)}. "
        f"Reason: {resolution.reason}",
        f"The readings and the verdict, undecided, stand as measured. The decision is kept as number "
        f"{resolution.number} about run {record.run_number}, signed by the works with the key "
        f"{wording.digest(resolution.fingerprint)}.",
    ]
