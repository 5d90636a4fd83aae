"""Whether the calibration of a bench still holds, in words for readiness, the record and whoever asks."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from station.bench.calibration import expires
from station.bench.file import Bench
from station.database.entries import StoredCalibration
from station.database.store import Store
from station.errors import UserMistake
from station.measurements.load import Loads
from station.sequencer.plan import Plan
from station.sequencer.reasons import Circumstances, Reason

CALIBRATE = "calibrate with `station calibrate`"


def in_force(bench: Bench, store: Store) -> StoredCalibration | None:
    """What sweeps on this bench are corrected by now; None where the station corrects nothing."""
    form = bench.calibration
    return store.latest_calibration(bench.name) if form is not None and form.by == "station" else None


def own_loads(calibration: StoredCalibration | None) -> Loads | None:
    """What a calibration knows of the loads that the bench itself puts on idle ports."""
    return calibration.findings.loads or None if calibration else None


def calibration_holds(around: Circumstances) -> Iterator[Reason]:
    """What speaks against the calibration in force, where the bench file says who calibrates."""
    form = around.bench.calibration
    if form is None:
        return
    if form.by == "analyzer" and form.made is not None:
        if around.now > expires(form.made, form.valid_for):
            yield Reason(
                f"the analyzer was calibrated on {form.made}, which held until "
                f"{_moment(expires(form.made, form.valid_for))}",
                "calibrate it with its own means and write the day into bench.yaml",
            )
        return
    calibration = around.store.latest_calibration(around.bench.name)
    if calibration is None:
        yield Reason("the bench was never calibrated", CALIBRATE)
        return
    for what in _against(calibration, around):
        yield Reason(what, CALIBRATE)


def _against(calibration: StoredCalibration, around: Circumstances) -> Iterator[str]:
    head, form = calibration.head, around.bench.calibration
    kit = around.bench.kit
    when = f"the calibration of {_moment(head.made)}"
    # Of its own age limit and today's, the shorter one.
    valid_for_s = min(head.valid_for_s, form.valid_for) if form else head.valid_for_s
    if around.now > expires(head.made, valid_for_s):
        yield f"{when} held until {_moment(expires(head.made, valid_for_s))}"
    if around.identity and around.identity != head.analyzer:
        yield f"{when} was made on another analyzer, {head.analyzer}; this one is {around.identity}"
    if kit is not None and kit.source.digest != head.kit.digest:
        yield f"{when} was made with other words on its kit than {kit.source.file} has now"
    if form is None or form.temperature_change is None:
        return
    if around.temperature_c is None or head.temperature_c is None:
        return
    moved = abs(around.temperature_c - head.temperature_c)
    if moved > form.temperature_change:
        yield (
            f"{when} was made at {head.temperature_c:g} °C, it is {around.temperature_c:g} °C now; "
            f"bench.yaml allows {form.temperature_change:g} K"
        )


def in_words(bench: Bench, calibration: StoredCalibration | None) -> str:
    """What is known of the calibration, in one line, for the record of a run."""
    form = bench.calibration
    if form is None:
        return "nothing is known of it"
    if form.by == "analyzer":
        return f"by the analyzer's own means, {form.made}, as the bench file says"
    if calibration is None:
        return "none"
    head = calibration.head
    return f"by the station, {_moment(head.made)}, kit {head.kit.name}, cables {head.cables}, {head.operator}"


def refuse_uncalibrated(plan: Plan, calibration: StoredCalibration | None) -> None:
    """Raises UserMistake where a plan sweeps what was not calibrated for."""
    if calibration is None:
        return
    for order in plan.orders:
        terms = calibration.findings.terms.get(order.hookup)
        if terms is None:
            raise UserMistake(f"the bench was not calibrated for {order.hookup.name}; {CALIBRATE}")
        if why := terms.outside(order.freq_hz):
            raise UserMistake(
                f"{why}; {CALIBRATE}, which takes in the frequencies of all open orders, or say which with --over"
            )


def _moment(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
