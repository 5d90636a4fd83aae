"""The nearest valid word, and what somebody wrote, in a message."""

from __future__ import annotations

from typing import Literal

import pytest

from limits.errors import BadInput
from limits.formwords import choices, got, nearest, suggest
from limits.quantity import Hertz
from limits.yamlfile import Form, parse


class Choice(Form):
    """Alternatives of one value."""

    mode: Literal["fast", "slow"] = "fast"
    step: Hertz | Literal["auto"] = "auto"
    pair: tuple[str, ...] = ()


def test_the_nearest_word_is_found_whatever_its_case() -> None:
    assert nearest("MHZ", ("Hz", "kHz", "MHz")) == "; did you mean 'MHz'?"
    assert nearest("tx_los", ("tx_loss", "rx_loss")) == "; did you mean 'tx_loss'?"
    assert nearest("spec", ("specification", "works")) == "; did you mean 'specification'?"
    assert nearest("zzz", ("tx_loss", "rx_loss")) == ""


def test_where_no_word_is_near_all_that_are_valid_are_told() -> None:
    assert [choices(["a"]), choices(("a", "b"))] == ["valid is a", "valid are a, b"]
    assert suggest("tx_los", ("tx_loss", "rx_loss")) == "; did you mean 'tx_loss'?"
    assert suggest("zzz", ("tx_loss", "rx_loss")) == "; valid are tx_loss, rx_loss"


def test_what_was_written_is_shown_short() -> None:
    assert got("x" * 100) == "'" + "x" * 57 + "...'"
    assert [got({}), got([]), got(["a"]), got("5")] == ["a group of keys", "an empty list", "a list", "'5'"]


def test_alternatives_of_one_value_are_one_mistake_and_choices_name_the_nearest() -> None:
    with pytest.raises(BadInput) as refused:
        parse("mode: fats\nstep: 5\npair: x", Choice, "c.yaml")
    assert [str(mistake) for mistake in refused.value.mistakes] == [
        "c.yaml:1:7: expected 'fast' or 'slow', got 'fats'; did you mean 'fast'?",
        "c.yaml:2:7: '5' has no unit; write a frequency like '2.5 MHz'; or: expected 'auto', got '5'",
        "c.yaml:3:7: expected a list, got 'x'",
    ]
