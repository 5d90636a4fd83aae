"""The catalogue of kinds is what a table accepts."""

from __future__ import annotations

from pydantic import BaseModel

from limits.kinds.catalog import KINDS
from limits.table import LimitForm


def test_every_kind_has_a_key_of_its_own_and_is_a_form() -> None:
    keys = [kind.key for kind in KINDS]
    assert keys == ["at_most", "at_least", "between", "mask"]
    assert len(set(keys)) == len(keys)
    assert all(issubclass(kind.bound, BaseModel) for kind in KINDS)
    assert list(LimitForm.model_fields) == keys
