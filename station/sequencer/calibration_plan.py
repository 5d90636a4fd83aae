"""At which frequencies a bench is calibrated: where its orders are swept, in steps that the cables allow."""

from __future__ import annotations

import math
from collections.abc import Iterable

from station.instruments.analyzer import Ability, Segment
from station.sequencer.plan import Plan

Stretch = tuple[float, float]
"""Lowest and highest frequency, in Hz."""


def stretches_of(plans: Iterable[Plan]) -> tuple[Stretch, ...]:
    """What the plans sweep, each order from its lowest to its highest frequency."""
    return tuple(
        (order.segments[0].start_hz, order.segments[-1].stop_hz) for plan in plans for order in plan.orders
    )


def calibration_segments(
    stretches: Iterable[Stretch], largest_step_hz: float, ability: Ability
) -> tuple[Segment, ...]:
    """Evenly spaced segments over all stretches, a step wider at both ends where the analyzer goes so far.

    Stretches that meet then are one.
    """
    wide = sorted(
        (max(low - largest_step_hz, ability.low_hz), min(high + largest_step_hz, ability.high_hz))
        for low, high in stretches
    )
    joined: list[Stretch] = []
    for low, high in wide:
        if joined and low <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], high))
        else:
            joined.append((low, high))
    return tuple(
        Segment(low, high, math.ceil((high - low) / largest_step_hz - 1e-9) + 1) for low, high in joined
    )
