"""The certificate: what is on it, what is not, and that it is the same every time."""

from __future__ import annotations

import re
import subprocess
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import pytest

from limits.verdict import Level, LimitLine, Verdict
from reports import wording
from reports.certificate import certificate
from reports.errors import NotCertifiable
from reports.record import UnitRecord
from reports.typeface import install

TextOf = Callable[..., str]


def plain(text: object) -> str:
    return str(text).replace(wording.THIN, " ").replace(wording.MINUS, "-")


def squeezed(text: str) -> str:
    """No spaces at all: in reading order the outside reader takes a narrow space for none."""
    return re.sub(r"\s", "", text)


def words(text: str) -> str:
    """One space between words, so that a broken line does not matter."""
    return " ".join(text.split())


def test_every_number_of_the_record_is_printed(
    passing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    lines = text_of(certificate(passing, issued)).splitlines()
    for decision in passing.verdict.at(Level.SPECIFICATION):
        reading = decision.reading
        assert reading.at_hz is not None
        row = next(line for line in lines if line.startswith(reading.title))
        for wanted in (
            plain(wording.judged(decision)),
            wording.megahertz(reading.at_hz),
            plain(decision.limit_text),
            "pass",
        ):
            assert wanted in row
    for reading in passing.information:
        row = next(line for line in lines if line.startswith(reading.title))
        assert plain(wording.printed(reading) or "–") in row
        assert "for information" in row


def test_who_what_and_how_are_printed(passing: UnitRecord, issued: datetime, text_of: TextOf) -> None:
    text = squeezed(text_of(certificate(passing, issued), "-raw"))
    for wanted in (
        "Skerry Works",
        "Quay Road 4",
        "Test certificate",
        "No. SKV-0107-1",
        "Coastal Rescue Relay Service",
        "W-2026-031",
        "SK-V4",
        "156.8000 MHz",
        "161.4000 MHz",
        "25 November 2026, 14:05 to 14:09 UTC",
        "25 November 2026, 15:20 UTC",
        "meets specification SK-V4, revision C, in all 12 characteristics listed",
        "Decision rule: simple acceptance",
        "SK-V4 final test, revision A; SHA-256 begins 3f9a 02bc 77d1 e405",
        "SHA-256 begins b81d 99e0 a2c4 5f17",
        "22.6 °C",
        "final test 1, by M. Tangen",
        "SIMULATED BENCH,VECTOR-2P,0001,1.0",
        "TX-RX, load on ANT 801 100 Hz 4 0 dBm",
        "relate only to the unit named here",
        "neither power handling nor passive intermodulation",
        "Measurement uncertainty was not evaluated",
        "Never transmit unless the antenna",
        "20 dB is a VSWR of 1.22",
        "digitally signed PDF",
    ):
        assert squeezed(wanted) in text
    assert text.count("Endofcertificate") == 1


def test_every_page_carries_number_serial_and_its_count(
    passing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    pages = text_of(certificate(passing, issued)).split("\f")[:-1]
    assert len(pages) == 2
    for index, page in enumerate(pages, start=1):
        assert "Certificate SKV-0107-1 · Serial SKV-0107" in page
        assert f"Page {index} of 2" in page
    assert "End of certificate" in pages[-1]


def test_no_works_limit_is_on_it(passing: UnitRecord, issued: datetime, text_of: TextOf) -> None:
    """Neither as text nor as a line, nor as a digit more than the specification asks for."""
    secret = tuple(
        replace(
            d,
            limit_text="at most 7.7531 dB",
            margin=1e-9,
            lines=(LimitLine((150e6, 170e6), (7.7531, 7.7531), "at most 7.7531 dB"),),
        )
        if d.level is Level.WORKS
        else d
        for d in passing.verdict.decisions
    )
    told = certificate(replace(passing, verdict=Verdict(secret)), issued)
    without = Verdict(passing.verdict.at(Level.SPECIFICATION))
    assert told == certificate(replace(passing, verdict=without), issued)
    text = text_of(certificate(passing, issued))
    assert not re.search(
        r"works limit|at most 1\.5 dB|at least 75 dB|at least 20 dB|0\.15 dB", text, re.IGNORECASE
    )


def test_the_same_record_gives_the_same_bytes(passing: UnitRecord, issued: datetime) -> None:
    assert certificate(passing, issued) == certificate(passing, issued)


def test_another_reading_or_another_day_gives_other_bytes(
    make_record: Callable[..., UnitRecord], issued: datetime
) -> None:
    first = certificate(make_record(), issued)
    assert first != certificate(make_record({"tx_loss": 1.33}), issued)
    assert first != certificate(make_record(), issued.replace(day=26))


def test_all_fonts_are_embedded(
    passing: UnitRecord, issued: datetime, fonts_of: Callable[[bytes], list[tuple[str, bool]]]
) -> None:
    fonts = fonts_of(certificate(passing, issued))
    assert len(fonts) == 3
    for name, embedded in fonts:
        assert "SourceSansPro" in name
        assert embedded


def test_the_file_says_what_it_is(passing: UnitRecord, issued: datetime) -> None:
    pdf = certificate(passing, issued)
    assert re.search(rb"/Lang\s*\(en-GB\)", pdf)
    for wanted in (b"Test certificate SKV-0107-1", b"Skerry Works", b"D:20261125152000+00'00'"):
        assert wanted in pdf
    assert b"D:2000" not in pdf


@pytest.mark.parametrize("name", ["failing", "undecided"])
def test_a_unit_that_did_not_pass_gets_no_certificate(
    name: str, issued: datetime, request: pytest.FixtureRequest
) -> None:
    record: UnitRecord = request.getfixturevalue(name)
    with pytest.raises(NotCertifiable, match="failure sheet"):
        certificate(record, issued)


def test_a_record_without_any_decision_gets_no_certificate(passing: UnitRecord, issued: datetime) -> None:
    with pytest.raises(NotCertifiable):
        certificate(replace(passing, verdict=Verdict(())), issued)


def test_works_limits_alone_make_no_certificate(passing: UnitRecord, issued: datetime) -> None:
    works = Verdict(passing.verdict.at(Level.WORKS))
    with pytest.raises(NotCertifiable, match="specification"):
        certificate(replace(passing, verdict=works), issued)


def test_long_names_and_strange_letters_stay_on_the_page(
    crowded: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    text = text_of(certificate(crowded, issued), "-raw")
    told = words(text)
    assert "Ørsterbygd og Håøya Redningsselskap for" in told
    assert "Διάσωσης" in told
    assert "[U+6D77][U+5CB8]" in told
    assert "[U+0007]" in told
    assert "A character that the typeface lacks is shown by its Unicode number" in told
    assert "Þórhildur Ægisdóttir-Łukasiewicz van den Überwald" in told
    assert "U is the expanded uncertainty for a coverage of about 95 %, with k = 2, or less" in told
    assert "0123456789ABCDEF" * 9 in re.sub(r"\s", "", told)
    pages = text.split("\f")[:-1]
    titles = [page for page in pages if "Characteristic" in page]
    assert len(titles) == 2, "the table's head comes again on its second page"
    assert f"Page {len(pages)} of {len(pages)}" in pages[-1]


def test_only_characters_that_the_typeface_has_are_drawn(
    crowded: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    """What it lacks would be drawn as an empty box, and an outside reader would still find the letter."""
    drawn = {ord(character) for character in text_of(certificate(crowded, issued)) if not character.isspace()}
    assert drawn <= install()


def test_nothing_runs_over_the_edge_of_the_paper(
    crowded: UnitRecord, issued: datetime, need: Callable[[str], str], tmp_path: Path
) -> None:
    """Each word's box, as an outside reader finds it, lies inside the margins."""
    path = tmp_path / "crowded.pdf"
    path.write_bytes(certificate(crowded, issued))
    done = subprocess.run([need("pdftotext"), "-bbox", path, "-"], check=True, capture_output=True, text=True)
    boxes = re.findall(
        r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)">', done.stdout
    )
    assert len(boxes) > 500
    for left, top, right, bottom in (map(float, box) for box in boxes):
        assert left > 50.0 and right < 595.3 - 50.0
        assert top > 30.0 and bottom < 841.9 - 20.0


def test_a_guarded_rule_is_told_with_its_guard_band_and_the_u_of_every_reading(
    passing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    """ILAC-G8 asks that the customer is told the rule that was agreed; the works' own rule is not theirs to see."""
    guarded = {
        Level.SPECIFICATION: "guarded acceptance with w = 0.83 U",
        Level.WORKS: "guarded rejection with w = U",
    }
    decisions = tuple(
        replace(d, rule=guarded[d.level], reading=replace(d.reading, u=0.043))
        for d in passing.verdict.decisions
    )
    text = squeezed(text_of(certificate(replace(passing, verdict=Verdict(decisions)), issued), "-raw"))
    assert squeezed("Decision rule: guarded acceptance with w = 0.83 U.") in text
    assert squeezed("inside its limit by the guard band w = 0.83 U or more") in text
    assert squeezed("Reading U Limit") in text
    assert squeezed("0.05 dB") in text
    assert squeezed("guarded rejection") not in text
