"""From a stored run to the record that the reports read; the pictures are drawn anew from the stored sweeps."""

from __future__ import annotations

from collections.abc import Mapping

from limits.quantity import Channels
from limits.reading import Reading
from limits.verdict import Level, Verdict
from reports.record import Document, Order, SweepNote, UnitRecord, Works
from station.database.entries import StoredRun, StoredText
from station.database.network import network_of
from station.errors import UserMistake
from station.measurements.evaluation import BenchData, evaluate
from station.measurements.load import read_load
from station.measurements.panels import draw_panels
from station.measurements.sweep import Hookup, Sweep
from station.orders import WorkOrder


def record_of(run: StoredRun, name: str, address: tuple[str, ...]) -> UnitRecord:
    """The record of a judged run, under the works' name and address.

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
        works=Works(name, address, run.head.station),
        order=_order(order),
        recipe=_document(run.head.recipe),
        limits=_document(run.head.limits),
        operator=run.head.operator,
        started=run.head.started,
        finished=run.finished,
        temperature_c=run.head.temperature_c,
        instruments=run.head.instruments,
        sweeps=tuple(_note(sweep) for sweep in run.sweeps),
        verdict=run.verdict,
        information=_not_promised(run.readings, run.verdict),
        resolution=run.resolution,
        panels=draw_panels(sweeps, Channels(order.tx_hz, order.rx_hz)),
        temperature_end_c=run.temperature_end_c,
        network=network_of(run, sweeps),
    )


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
