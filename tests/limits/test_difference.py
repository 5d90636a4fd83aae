"""Two revisions of a limit table against each other, in words."""

from __future__ import annotations

import pytest

from limits.difference import change, differences
from limits.table import of_text

HEAD = "limit_table: T\nrevision: A\nmodel: M\ndecision_rule: simple acceptance\nlimits:\n"
ROWS = """\
  isolation_at_tx: {specification: {at_least: 70 dB}, works: {at_least: 72 dB}}
  tx_notch: {works: {between: rx ± 40 kHz}}
  window: {works: {mask: [{over: low to high, at_least: 40 dB}]}}
"""


def told(old: str, new: str, text: str = HEAD + ROWS) -> tuple[str, ...]:
    assert old in text
    return differences(of_text(text, "before"), of_text(text.replace(old, new, 1), "after"))


@pytest.mark.parametrize(("old", "new", "lines"), [
    ("72 dB", "74 dB", ("isolation at tx, works limit: at least 72 -> 74 dB",)),
    ("rx ± 40 kHz", "rx ± 50 kHz", ("tx notch, works limit: between rx ± 40 -> 50 kHz",)),
    ("{specification: {at_least: 70 dB}, works: {at_least: 72 dB}}", "{specification: {at_least: 70 dB}}",
     ("isolation at tx, works limit: taken out, was at least 72 dB",)),
    ("{works: {between: rx ± 40 kHz}}", "{works: {at_most: rx}}",
     ("tx notch, works limit: between rx ± 40 kHz -> at most rx",)),
    ("low to high, at_least: 40 dB", "low to high, at_least: 42 dB",
     ("window, works limit: at least 40 -> 42 dB over low to high",)),
    ("rule: simple acceptance", "rule: guarded acceptance with w = U",
     ("decision rule: simple acceptance -> guarded acceptance with w = U",)),
    ("rule: simple acceptance", "rule: {specification: guarded acceptance with w = U, works: simple acceptance}",
     ("decision rule of the specification: simple acceptance -> guarded acceptance with w = U",)),
    ("model: M", "model: N", ("model: M -> N",)),
    ("  tx_notch:", "  tx_loss: {works: {at_most: 2 dB}}\n  tx_notch:", ("tx loss, works limit: new, at most 2 dB",)),
    ("  tx_notch: {works: {between: rx ± 40 kHz}}\n", "",
     ("tx notch, works limit: taken out, was between rx ± 40 kHz",)),
    ("revision: A", "revision: B  # and a comment", ()),
    ("{at_least: 70 dB}", "{ at_least:  70 dB }", ()),
])  # fmt: skip
def test_what_differs_is_told_in_words(old, new, lines):
    assert told(old, new) == lines


@pytest.mark.parametrize(("old", "new", "said"), [
    ("at least 72 dB", "at least 74 dB", "at least 72 -> 74 dB"),
    ("a", "b", "a -> b"),
    ("at most 2 dB", "at least 2 dB", "at most 2 dB -> at least 2 dB"),
    ("1 kHz", "1 MHz", "1 kHz -> 1 MHz"),
    ("from 1 to 2 dB", "from 3 to 4 dB", "from 1 to 2 dB -> from 3 to 4 dB"),
])  # fmt: skip
def test_the_words_around_a_number_are_said_once(old, new, said):
    assert change(old, new) == said
