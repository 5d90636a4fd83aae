"""What was approved is only ever added to; the last approval of a recipe or table counts."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from station.database.approvals import Approval
from station.database.entries import DocumentKind, StoredText
from station.errors import UserMistake

NOW = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)


def approval(
    text: bytes, hours: int = 0, kind: DocumentKind = DocumentKind.RECIPE, name: str = "SK-V4"
) -> Approval:
    return Approval(
        StoredText.of(kind, name, "A", text), "Astrid Holm", NOW + timedelta(hours=hours), "as agreed"
    )


def test_the_last_approval_of_a_kind_and_name_counts_and_keeps_its_text(store):
    assert store.approval(DocumentKind.RECIPE, "SK-V4") is None
    first, second = approval(b"one\r\n"), approval(b"two", 1)
    others = approval(b"three", 2, DocumentKind.LIMIT_TABLE), approval(b"four", 3, name="SK-U4")
    for each in (first, second, *others):
        store.keep_approval(each)
    assert store.approval(DocumentKind.RECIPE, "SK-V4") == second
    assert store.approval(DocumentKind.LIMIT_TABLE, "SK-V4") == others[0]


def test_going_back_to_an_older_text_is_an_approval_too(store):
    for n, text in enumerate((b"one", b"two", b"one")):
        store.keep_approval(approval(text, n))
    assert store.approval(DocumentKind.RECIPE, "SK-V4") == approval(b"one", 2)


def test_the_very_text_that_counts_is_not_approved_again(store):
    store.keep_approval(approval(b"one"))
    with pytest.raises(UserMistake, match="recipe SK-V4 was approved so by Astrid Holm already"):
        store.keep_approval(approval(b"one", 1))
