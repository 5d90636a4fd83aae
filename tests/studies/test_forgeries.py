"""The study of forgeries, small: no changed certificate verifies, and both genuine ones do."""

from __future__ import annotations

from types import ModuleType


def test_of_changes_of_every_kind_none_verifies_as_intact(study: ModuleType) -> None:
    done = study.changes(100, seed=2)
    assert study.accepted(done) == []
    assert {change for change, _, _ in done} == {change.__name__ for change in study.CHANGES}


def test_the_genuine_ones_verify_at_their_level(study: ModuleType) -> None:
    found = [(one.name, one.checked(one.pdf)) for one in study.genuine()]
    assert [(name, each.status, each.level) for name, each in found] == [
        ("B-B", "valid", "B-B"),
        ("B-LT", "valid", "B-LT"),
    ]


def test_a_signatures_twin_is_told_by_the_timestamp_over_it_alone(study: ModuleType) -> None:
    found = [(one.name, one.checked(study.twin(one)).status) for one in study.genuine()]
    assert found == [("B-B", "valid"), ("B-LT", "altered")]
