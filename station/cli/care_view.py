"""What is swept again with more care and what there is no time for, in words."""

from __future__ import annotations

from reports import wording
from station.sequencer.care import Why, Wish
from station.sequencer.events import SweptAgain


def again_lines(event: SweptAgain) -> list[str]:
    """A line for each characteristic of a hook-up that wishes for more care."""
    look, lines = event.look, []
    if look.order is not None:
        bandwidth = wording.width(look.order.settings.bandwidth_hz)
        head = (
            f"  {event.hookup.name} again, where it counts: {len(look.order.freq_hz)} points at {bandwidth}."
        )
        lines = [head, *(f"    {_of(wish)}" for wish in look.again)]
    lines += [f"  No time left to sweep again: {_of(wish)}" for wish in look.left]
    return lines


def _of(wish: Wish) -> str:
    if wish.why is Why.NEAR_LIMIT and wish.margin is not None:
        side = "inside" if wish.margin >= 0 else "beyond"
        size = abs(wish.margin)
        gap = wording.width(size) if wish.item.unit == "Hz" else f"{size:.2g} {wish.item.unit}"
        return f"{wish.item.title}: {gap} {side} its limit"
    return f"{wish.item.title}: {wish.why.value}"
