"""From a stored run to the record that the reports read; the pictures are drawn anew from the stored sweeps."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

import yaml

from limits.quantity import Channels
from limits.reading import Reading
from limits.verdict import Level, Verdict
from reports.house import PLAIN, House
from reports.record import CheckNote, Document, Instrument, Order, SweepNote, UnitRecord, Works
from station.database.entries import StoredRun, StoredText
from station.database.network import network_of
from station.database.store import Store
from station.errors import UserMistake
from station.measurements.evaluation import BenchData, evaluate
from station.measurements.load import read_load
from station.measurements.panels import draw_panels
from station.measurements.sweep import Hookup, Sweep
from station.orders import WorkOrder


def record_of(
    run: StoredRun,
    name: str,
    address: tuple[str, ...],
    house: House = PLAIN,
    check: CheckNote | None = None,
) -> UnitRecord:
    """The record of a judged run, under the works' name and address; `check` is `check_before` it.

    Raises station.errors.UserMistake for a run that has no verdict.
    """
    if run.verdict is None or run.finished is None:
        why = f"{run.state}: {run.why}" if run.why else run.state
        raise UserMistake(
            f"run {run.run_number} of {run.head.serial} has no verdict ({why}); test the unit again"
        )
    order = run.order
    sweeps = evaluated(run)
    return UnitRecord(
        serial=run.head.serial,
        run_number=run.run_number,
        works=Works(name, address, run.head.station, house),
        order=_order(order),
        recipe=_document(run.head.recipe),
        limits=_document(run.head.limits),
        operator=run.head.operator,
        started=run.head.started,
        finished=run.finished,
        temperature_c=run.head.temperature_c,
        instruments=tuple(_calibrated(run)),
        sweeps=tuple(_note(sweep) for sweep in run.sweeps),
        verdict=run.verdict,
        information=_not_promised(run.readings, run.verdict),
        resolution=run.resolution,
        panels=draw_panels(sweeps, Channels(order.tx_hz, order.rx_hz)),
        temperature_end_c=run.temperature_end_c,
        check=check,
        network=network_of(run, sweeps),
    )


def check_before(store: Store, run: StoredRun) -> CheckNote | None:
    """The last check of the bench's standard before a run; None where the bench had none, or none was made."""
    standard = _bench(run).get("check_standard")
    serial = standard.get("serial") if isinstance(standard, dict) else None
    return store.check_before(str(serial), run.head.station, run.head.started) if serial else None


def evaluated(run: StoredRun) -> Mapping[Hookup, Sweep]:
    """The pairs of ports that a run was judged by, made again of what is stored with it."""
    return evaluate(run.sweeps, bench_data(run)).sweeps


def bench_data(run: StoredRun) -> BenchData:
    """What was known of the bench, as far as sweeps are corrected by it."""
    loads = {each.port: read_load(each.text.text, each.text.name) for each in run.head.loads}
    found = run.calibration.findings if run.calibration else None
    return BenchData(
        loads=loads or (found.loads if found else None) or None, terms=found.terms if found else None
    )


def _bench(run: StoredRun) -> dict[str, Any]:
    """What its bench file said, whatever form such files had at the time."""
    said = yaml.load(run.head.bench.text, Loader=getattr(yaml, "CSafeLoader", yaml.SafeLoader))
    return said if isinstance(said, dict) else {}


def _calibrated(run: StoredRun) -> Iterator[Instrument]:
    """The instruments, with what the bench file says of their calibration."""
    bench = _bench(run)
    for each in run.head.instruments:
        said = bench.get(each.role)
        when = str(said.get("calibrated", "")) if isinstance(said, dict) else ""
        yield replace(each, calibrated=when)


def _order(order: WorkOrder) -> Order:
    return Order(order.number, order.customer, order.model, order.tx_hz, order.rx_hz, order.due)


def _document(text: StoredText) -> Document:
    return Document(text.name, text.revision, text.digest)


def _note(sweep: Sweep) -> SweepNote:
    settings = sweep.settings
    return SweepNote(
        str(sweep.hookup), len(sweep.freq_hz), settings.bandwidth_hz, settings.averages, settings.power_dbm
    )


def _not_promised(readings: tuple[Reading, ...], verdict: Verdict) -> tuple[Reading, ...]:
    """Readings without a specification, also those that the works hold to a limit of their own."""
    promised = {decision.reading.name for decision in verdict.at(Level.SPECIFICATION)}
    # First as it was read; what the works' decision added to it says nothing to the customer.
    left: dict[str, Reading] = {}
    for reading in readings:
        if reading.name not in promised:
            left.setdefault(reading.name, reading)
    return tuple(left.values())
