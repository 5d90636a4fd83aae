"""Whether the calibration of a bench still holds, in words for readiness, the record and whoever asks."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta

from station.bench.calibration import CalibrationForm, expires
from station.bench.file import Bench
from station.database.entries import CalibrationHead, StoredCalibration
from station.database.store import Store
from station.errors import UserMistake
from station.measurements.load import Loads
from station.sequencer.plan import Plan
from station.sequencer.reasons import Circumstances, Reason
from station.sequencer.settling import awaits

CALIBRATE = "calibrate with `station calibrate`"

JITTER = timedelta(seconds=10)
"""By how much clocks that are set by a network may go back (a house rule, no source)."""


def in_force(bench: Bench, store: Store) -> StoredCalibration | None:
    """What sweeps on this bench are corrected by now; None where the station corrects nothing."""
    form = bench.calibration
    return store.latest_calibration(bench.name) if form is not None and form.by == "station" else None


def calibrated_at(bench: Bench, store: Store) -> datetime | None:
    """Since when sweeps are corrected as they are; where a day is known alone, from its beginning here."""
    form = bench.calibration
    if form is not None and form.by == "analyzer" and form.made is not None:
        return datetime.combine(form.made, time()).astimezone()
    calibration = in_force(bench, store)
    return calibration.head.made if calibration else None


def own_loads(calibration: StoredCalibration | None) -> Loads | None:
    """What a calibration knows of the loads that the bench itself puts on idle ports."""
    return calibration.findings.loads or None if calibration else None


def calibration_holds(around: Circumstances) -> Iterator[Reason]:
    """What speaks against the calibration in force, where the bench file says who calibrates."""
    form = around.bench.calibration
    if form is None:
        return
    if form.by == "analyzer" and form.made is not None:
        if form.made > around.now.astimezone().date():
            yield Reason(
                f"the analyzer was calibrated on {form.made}, which is still to come",
                "put the day right in bench.yaml, or this machine's clock",
            )
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
    if calibration.head.made > around.now + JITTER:
        yield Reason(
            f"{_named(calibration)} is still to come",
            f"set this machine's clock; if it was wrong then, {CALIBRATE}",
        )
    for what in against(calibration.head, form, around.bench, around.now, around.identity):
        yield Reason(f"{_named(calibration)} {what}", CALIBRATE)
    if form.temperature_change is not None:
        yield from _temperature(calibration, form.temperature_change, around)


def holds_until(head: CalibrationHead, form: CalibrationForm | None) -> datetime:
    """Of its own age limit and today's, the shorter one."""
    valid_for_s = head.valid_for_s if form is None else min(head.valid_for_s, form.valid_for)
    return expires(head.made, valid_for_s)


def against(
    head: CalibrationHead, form: CalibrationForm, bench: Bench, now: datetime, identity: str = ""
) -> Iterator[str]:
    """What speaks against a calibration, temperature aside; `identity` is empty where no analyzer was asked."""
    kit = bench.kit
    if now > holds_until(head, form):
        yield f"held until {_moment(holds_until(head, form))}"
    if identity and identity != head.analyzer:
        yield f"was made on another analyzer, {head.analyzer}; this one is {identity}"
    if kit is not None and kit.source.digest != head.kit.digest:
        yield f"was made with other words on its kit than {kit.source.file} has now"
    if form.cables != head.cables:
        yield f"was made with other cables, '{head.cables}'; bench.yaml names '{form.cables}'"


def _temperature(calibration: StoredCalibration, most_k: float, around: Circumstances) -> Iterator[Reason]:
    """A limit in kelvin is none where a temperature is unknown; what the unit still waits for is told elsewhere."""
    when, made_c, now_c = _named(calibration), calibration.head.temperature_c, around.bench_c
    if made_c is None:
        yield Reason(f"{when} was made at an unknown temperature; bench.yaml allows {most_k:g} K", CALIBRATE)
    elif now_c is not None:
        if abs(now_c - made_c) > most_k:
            what = f"{when} was made at {made_c:g} °C, it is {now_c:g} °C now; bench.yaml allows {most_k:g} K"
            yield Reason(what, CALIBRATE)
    elif not awaits(around.climate, around.now):
        way_out = "give --temperature '23 °C', or put a thermometer into bench.yaml"
        if around.climate.serial:
            way_out = "give --bench-temperature '23 °C', or let its recipe ask for settle and temperature"
        what = f"{when} holds within {most_k:g} K, and the temperature at the bench is not known"
        yield Reason(what, way_out)


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


def _named(calibration: StoredCalibration) -> str:
    return f"the calibration of {_moment(calibration.head.made)}"


def _moment(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%d %H:%M} UTC"
