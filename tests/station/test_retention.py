"""How long records are kept: what a works may write, and which day that is."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from limits.errors import BadInput
from station import settings
from station.retention import first_kept, years_of


@pytest.mark.parametrize(("text", "years"), [("10 years", 10), ("1 year", 1), ("for ever", None)])
def test_a_term_is_years_or_for_ever(text, years):
    assert years_of(text) == years


@pytest.mark.parametrize("text", ["0 years", "10", "10 months", "-1 years", "1e1 years", ""])
def test_anything_else_is_told_with_its_place(small_works, text):
    file = small_works.folder / settings.FILE
    file.write_text(f"{file.read_text()}keep_records: {text!r}\n")
    with pytest.raises(
        BadInput, match=r"works\.yaml:\d+:\d+: .*'for ever' or a number of years, like '10 years'"
    ):
        settings.load(small_works.folder)


def test_without_a_term_they_are_kept_for_ever(small_works):
    assert small_works.keep_years is None


@pytest.mark.parametrize(
    ("now", "first"),
    [(datetime(2026, 11, 25, 9, tzinfo=UTC), datetime(2016, 11, 25, 9, tzinfo=UTC)),
     (datetime(2028, 2, 29, tzinfo=UTC), datetime(2018, 2, 28, tzinfo=UTC))],
)  # fmt: skip
def test_the_term_ends_on_the_same_day_of_the_year(now, first):
    assert first_kept(10, now) == first
