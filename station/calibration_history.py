"""The calibrations that a station made until now, and which of them its runs are corrected by."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

from station.bench.file import Bench
from station.database.entries import CalibrationHead
from station.database.store import Store
from station.sequencer.calibration_age import JITTER, against, holds_until


@dataclass(frozen=True, slots=True)
class PastCalibration:
    """One of them, as it stands today."""

    head: CalibrationHead
    until: datetime
    """When it holds no more, by its own age limit or by that of the bench file, whichever is shorter."""

    why_not: tuple[str, ...]
    """Why no run is corrected by it; empty for the one in force. Analyzer and temperature are asked at the bench."""

    @property
    def in_force(self) -> bool:
        """Whether runs are corrected by it, as far as a desk can tell."""
        return not self.why_not


def past_calibrations(store: Store, bench: Bench, now: datetime, latest: int) -> tuple[PastCalibration, ...]:
    """So many of the latest of a station, the newest first."""
    heads = store.calibration_heads(bench.name, latest)
    return tuple(
        PastCalibration(head, holds_until(head, bench.calibration), tuple(_why_not(place, head, bench, now)))
        for place, head in enumerate(heads)
    )


def _why_not(place: int, head: CalibrationHead, bench: Bench, now: datetime) -> Iterator[str]:
    form = bench.calibration
    if form is None or form.by != "station":
        yield "bench.yaml does not say that the station calibrates"
        return
    if place:
        yield "a later one took its place"
        return
    if head.made > now + JITTER:
        yield "is still to come, by this machine's clock"
    yield from against(head, form, bench, now)
