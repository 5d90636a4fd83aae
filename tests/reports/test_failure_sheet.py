"""The failure sheet: nobody takes it for a certificate, and it says first what failed and by how much."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

import pytest

from limits.verdict import Level, Outcome, Verdict
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
    loss = "TX to ANT insertion loss at the TX 156.8000 1.604 dB"
    assert f"{loss} at most 1.6 dB 0.004 dB at most 1.5 dB 0.104 dB" in table
    assert sum(loss in line for line in table) == 1, "one row for a characteristic"
    assert any(line.endswith("19.6 dB at least 18 dB met at least 20 dB 0.4 dB") for line in table)
    assert "2 of 12 characteristics miss a limit" in " ".join(text.split())


def test_the_worst_comes_first(
    make_record: Callable[..., UnitRecord], undecided: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    """What misses the specification, then what misses a works limit only, then what is open."""
    mixed = make_record({"tx_loss": 1.55, "rx_return_loss": 10.0})
    lost = [d for d in undecided.verdict.decisions if d.outcome is Outcome.UNDECIDED]
    names = {decision.reading.name for decision in lost}
    others = [d for d in mixed.verdict.decisions if d.reading.name not in names]
    text = text_of(failure_sheet(replace(mixed, verdict=Verdict((*lost, *others))), issued))
    start = text.index("What failed, by how much, and what could not be decided")
    part = text[start : text.index("All readings")]
    titles = ("Return loss at RX", "TX to ANT insertion loss at the TX", "TX to RX isolation at the RX")
    places = [part.index(title) for title in titles]
    assert places == sorted(places)


def test_there_are_ruled_lines_for_rework(record: UnitRecord, issued: datetime, text_of: TextOf) -> None:
    last = " ".join(text_of(failure_sheet(record, issued)).split("\f")[-2].split())
    assert "Rework What was found What was done By Date Next test End of failure sheet" in last


def test_a_characteristic_with_a_works_limit_only_is_listed_once(
    failing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    """It is told for information on a certificate, so it comes in the record both ways."""
    bare = replace(failing, panels=(), information=())
    works = Verdict(tuple(d for d in bare.verdict.decisions if d.level is Level.WORKS))
    both = replace(bare, verdict=works, information=tuple({d.reading: None for d in works.decisions}))
    text = text_of(failure_sheet(both, issued))
    assert text[text.index("All readings") :].count("ripple over the RX channel") == 1


def test_both_limits_of_every_characteristic_are_shown(
    failing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    text = " ".join(text_of(failure_sheet(failing, issued)).split())
    assert "at most 0.2 dB at most 0.15 dB pass" in text
    assert "at least 18 dB at least 20 dB fail" in text


def test_a_unit_inside_its_specification_is_said_to_be(
    make_record: Callable[..., UnitRecord], issued: datetime, text_of: TextOf
) -> None:
    text = text_of(failure_sheet(make_record({"tx_loss": 1.55}), issued))
    told = " ".join(text.split())
    assert "Failed on a works limit only" in told
    assert "The unit meets the customer's specification in full." in told
    assert "1 of 12 characteristics misses the works' own limit." in told


def test_a_unit_outside_its_specification_is_not_said_to_be_inside(
    failing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    text = text_of(failure_sheet(failing, issued))
    assert "works limit only" not in text
    assert "in full" not in text


def test_a_reading_that_is_missing_is_told_with_its_reason(
    undecided: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    text = " ".join(text_of(failure_sheet(undecided, issued)).split())
    assert "What could not be decided" in text
    assert "cannot be told from the noise floor" in text
    assert "Undecided" in text


def test_where_the_levels_have_rules_of_their_own_each_is_told_with_its_level(
    failing: UnitRecord, issued: datetime, text_of: TextOf
) -> None:
    decisions = tuple(
        replace(d, rule="guarded acceptance with w = U") if d.level is Level.SPECIFICATION else d
        for d in failing.verdict.decisions
    )
    text = " ".join(text_of(failure_sheet(replace(failing, verdict=Verdict(decisions)), issued)).split())
    assert (
        "Decision rule: guarded acceptance with w = U (specification), simple acceptance (works limit)."
        in text
    )


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
