"""Two revisions of a recipe against each other, in words."""

from __future__ import annotations

import pytest

from station.sequencer.recipe import of_text
from station.sequencer.revision import differences

RECIPE = """\
recipe: SK-V4 final test
revision: A
model: SK-V4
limit_table: SK-V4
analyzer: {bandwidth: 1 kHz, averages: 1, power: 0 dBm}
overview: {over: low - 2.5 MHz to high + 2.5 MHz, step: 25 kHz}
characteristics:
  tx_loss: {measure: loss, path: TX to ANT, at: tx}
  tx_ripple: {measure: ripple, path: TX to ANT, over: tx ± 12.5 kHz, step: 2.5 kHz}
"""
RIPPLE = "  tx_ripple: {measure: ripple, path: TX to ANT, over: tx ± 12.5 kHz, step: 2.5 kHz}\n"
LOSS = "  tx_loss: {measure: loss, path: TX to ANT, at: tx}\n"


@pytest.mark.parametrize(("old", "new", "lines"), [
    ("averages: 1", "averages: 4", ("analyzer, averages: 1 -> 4",)),
    ("bandwidth: 1 kHz", "bandwidth: 300 Hz", ("analyzer, bandwidth: 1 kHz -> 300 Hz",)),
    ("overview:", "conditions: {settle: 20 min}\noverview:", ("conditions: new, settle 20 min",)),
    (", step: 2.5 kHz}", ", step: 5 kHz}", ("tx ripple, step: 2.5 -> 5 kHz",)),
    ("at: tx}", "at: tx, title: Loss}", ("tx loss, title: new, Loss",)),
    (RIPPLE, "", ("tx ripple: taken out",)),
    ("  tx_loss:", "  rx_loss: {measure: loss, path: ANT to RX, at: rx}\n  tx_loss:",
     ("rx loss: new, measure loss, path ANT to RX, at rx",)),
    (LOSS + RIPPLE, RIPPLE + LOSS, ("characteristics: in another order",)),
    ("revision: A", "revision: B", ()),
    ("overview: {over", "# why\noverview: {  over", ()),
    ("limit_table: SK-V4", "limit_table: SK-V5", ("limit table: SK-V4 -> SK-V5",)),
])  # fmt: skip
def test_what_differs_is_told_in_words(old, new, lines):
    assert old in RECIPE
    assert differences(of_text(RECIPE, "old"), of_text(RECIPE.replace(old, new, 1), "new")) == lines
