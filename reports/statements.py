"""What a certificate says in sentences, each from the works' language: the rule, the small print, the cautions."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from reportlab.lib.units import mm

from limits.reading import Reading
from limits.rules import Rule, rule_named
from limits.verdict import Decision
from reports import look, sections, wording
from reports.code import code, code_text
from reports.language import Language
from reports.layout import Block, beside, paragraph, space, stacked
from reports.record import UnitRecord
from reports.twin import digest_of, network_file, twin_file

CODE_SIDE = 27.0 * mm
KNOWN_RETURN_LOSS_DB = (14.0, 20.0)


def judgement(words: Language, judged: Sequence[Decision]) -> str:
    """Decision rule and uncertainty, plainly."""
    rules = [rule_named(name) for name in dict.fromkeys(decision.rule for decision in judged)]
    return " ".join([*(_rule(words, rule) for rule in rules), _uncertainty(words, judged)])


def _rule(words: Language, rule: Rule) -> str:
    return words(rule.kind.name, rule=rule.name, w=rule.name.partition(" with ")[2])


def _uncertainty(words: Language, judged: Iterable[Decision]) -> str:
    readings: list[Reading] = [decision.reading for decision in judged]
    stated = [reading.u is not None for reading in readings if reading.value is not None]
    if not any(stated):
        return words("without-u")
    return words("with-u" if all(stated) else "with-some-u")


def statements(record: UnitRecord, words: Language, judged: Sequence[Decision]) -> list[Block]:
    """What the certificate says and what it does not."""
    names = ["unit-only", "small-signals", "tuning", "own-test"]
    entries = [(words(name), words(f"{name}-is")) for name in names]
    entries.append((words("table"), _table(words, judged)))
    if sections.unprintable(record):
        entries.append((words("characters"), words("characters-is")))
    return [sections.run_in(*entry, sections.HALF) for entry in entries]


def _table(words: Language, judged: Sequence[Decision]) -> str:
    ratios = [wording.number(wording.vswr(each), 2) for each in KNOWN_RETURN_LOSS_DB]
    text = words("table-is", vswr14=words.numerals(ratios[0]), vswr20=words.numerals(ratios[1]))
    with_u = any(decision.reading.u for decision in judged)
    return f"{text} {words('table-margin')}" if with_u else text


def cautions(words: Language) -> list[Block]:
    """For whoever installs the unit."""
    names = ("load", "burns", "weight", "codes")
    return [sections.run_in(words(name), words(f"{name}-is"), sections.HALF) for name in names]


def data(record: UnitRecord, words: Language, told: bytes) -> Block:
    """The attached files with their digests, and the code that carries the twin's."""
    digest = digest_of(told)
    room = look.TEXT_WIDTH - CODE_SIDE - 4 * mm
    lines = [
        paragraph(words("data"), look.FINE_STRONG, room),
        paragraph(words("data-twin", twin=twin_file(record)), look.FINE, room),
        paragraph(wording.digest(digest, 0), look.FINE, room),
    ]
    if record.network:
        own = digest_of(record.network.encode())
        lines += [
            space(2.0),
            paragraph(words("data-network", network=network_file(record)), look.FINE, room),
            paragraph(wording.digest(own, 0), look.FINE, room),
        ]
    square = code(code_text(record.number, record.serial, digest), CODE_SIDE)
    return beside((0.0, stacked(lines)), (look.TEXT_WIDTH - CODE_SIDE, square))


def signature(record: UnitRecord, words: Language) -> Block:
    """What a digital signature is, for somebody who holds a print."""
    return stacked(
        [
            paragraph(words("signature"), look.FINE_STRONG, look.TEXT_WIDTH),
            paragraph(words("signature-is", works=record.works.name), look.FINE, look.TEXT_WIDTH),
        ]
    )
