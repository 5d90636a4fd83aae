"""Mistakes and how they are printed."""

from __future__ import annotations

from limits.errors import BadInput, Mistake


def test_a_mistake_prints_as_much_of_its_place_as_is_known() -> None:
    assert str(Mistake("odd", "a.yaml", 3, 7)) == "a.yaml:3:7: odd"
    assert str(Mistake("odd", "a.yaml")) == "a.yaml: odd"
    assert str(Mistake("odd")) == "odd"


def test_bad_input_prints_every_mistake_on_its_own_line() -> None:
    refused = BadInput((Mistake("odd", "a", 1, 2), Mistake("even", "a", 3, 4)))
    assert str(refused) == "a:1:2: odd\na:3:4: even"
