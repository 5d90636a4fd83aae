"""At which frequencies a bench is calibrated: where its orders are swept, in steps that the cables allow."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

from station.instruments.analyzer import Ability, Segment
from station.sequencer.plan import Plan

Stretch = tuple[float, float]
"""Lowest and highest frequency, in Hz."""

PROBE_POINTS = 51
"""Of each stretch, where a standard is only looked at again, or noise heard.

Four sweeps of them over two ways are 408 readings, from which a noise power is known to 1 / sqrt(408) = 5 %, the
floor to 0.2 dB (standard deviation), and a scatter between sweeps, of 306 degrees of freedom, to 1 / sqrt(612) = 4 %
(JCGM 100:2008, E.4.3). Worn connectors and leakage change their size slowly over a band; each band has points of its
own, however wide the others are.
"""


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


def probe_segments(segments: Sequence[Segment]) -> tuple[Segment, ...]:
    """The same stretches in PROBE_POINTS each; error terms are taken between their points as in every reading."""
    return tuple(replace(segment, points=PROBE_POINTS if segment.points > 1 else 1) for segment in segments)
