"""The failure sheet: nobody takes it for a certificate, and it says first what failed and by how much."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest

from limits.verdict import Verdict
from reports.errors import NothingFailed
from reports.failure_sheet import failure_sheet
from reports.record import UnitRecord

TextOf = Callable[..., str]


@pytest.fixture(params=["failing", "undecided"])
def record(request: pytest.FixtureRequest) -> UnitRecord:
    found: UnitRecord = request.getfixturevalue(request.param)
    return found


def test_every_page_says_that_it_is_no_certificate(
    record: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    pages = text_of(failure_sheet(record, issued)).split("\f")[:-1]
    for page in pages:
        assert "NOT A CERTIFICATE" in page
        assert "For the works only" in page
    told = " ".join(pages)
    assert "Failure sheet" in told
    assert "Test certificate" not in told
    assert "signature" not in told.lower()
    assert "signed" not in told.lower()
    assert "Passed" not in told


def test_what_failed_comes_first_with_the_amount(
    failing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    text = text_of(failure_sheet(failing, issued))
    first, rest = text.index("What failed"), text.index("All readings")
    table = [" ".join(line.split()) for line in text[first:rest].splitlines()]
    loss = "TX to ANT insertion loss at the TX frequency 156.8000 1.604 dB"
    assert f"{loss} at most 1.6 dB specification 0.004 dB" in table
    assert f"{loss} at most 1.5 dB works limit 0.104 dB" in table
    assert any(line.endswith("19.6 dB at least 20 dB works limit 0.4 dB") for line in table)
    assert "2 of 12 characteristics miss a limit" in " ".join(text.split())


def test_both_limits_of_every_characteristic_are_shown(
    failing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    text = " ".join(text_of(failure_sheet(failing, issued)).split())
    assert "at most 0.2 dB at most 0.15 dB pass" in text
    assert "at least 18 dB at least 20 dB fail" in text
    assert "specification: at most 1.6 dB" in text
    assert "works limit: at most 1.5 dB" in text


def test_a_unit_inside_its_specification_is_said_to_be(
    make_record: Callable[..., UnitRecord], issued: datetime, text_of: TextOf
) -> None:
    text = text_of(failure_sheet(make_record({"tx_loss": 1.55}), issued))
    assert "The customer's specification is met, but not every works limit." in " ".join(text.split())


def test_a_reading_that_is_missing_is_told_with_its_reason(
    undecided: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    text = " ".join(text_of(failure_sheet(undecided, issued)).split())
    assert "What could not be decided" in text
    assert "cannot be told from the noise floor" in text
    assert "Undecided" in text


def test_a_run_in_which_nothing_was_judged_has_a_sheet(
    passing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    bare = replace(passing, verdict=Verdict(()), information=(), panels=(), sweeps=(), instruments=())
    assert "Nothing was judged" in text_of(failure_sheet(bare, issued))


def test_a_unit_that_passed_has_no_failure_sheet(passing: UnitRecord, issued: datetime) -> None:
    with pytest.raises(NothingFailed, match="make its certificate"):
        failure_sheet(passing, issued)


def test_the_same_record_gives_the_same_bytes(record: UnitRecord, issued: datetime) -> None:
    assert failure_sheet(record, issued) == failure_sheet(record, issued)


def test_all_fonts_are_embedded(
    record: UnitRecord, issued: datetime, fonts_of: Callable[[bytes], list[tuple[str, bool]]]
) -> None:
    fonts = fonts_of(failure_sheet(record, issued))
    assert fonts
    assert all(embedded and "SourceSansPro" in name for name, embedded in fonts)
