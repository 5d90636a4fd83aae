"""Rows to values: everything that is asked of the store. Each function gets an open connection and only reads."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from limits.reading import Claim, Reading
from limits.verdict import Decision, Level, LimitLine, Outcome, Verdict
from reports.record import Instrument
from reports.resolution import Resolution
from station.database import calibrations, resolutions, schema, sweep_codec
from station.database.entries import (
    Because,
    CalibrationId,
    CertificateEntry,
    CertificateKind,
    DocumentKind,
    DoubtedSweep,
    LoadText,
    OrderKind,
    RunHead,
    RunId,
    RunLine,
    RunState,
    StoredRun,
    StoredText,
    UnitEntry,
)
from station.errors import StoreFault, UserMistake
from station.measurements.sweep import Sweep, SweepSettings, hookup_named
from station.orders import Serial, WorkOrder, serial_key

_UNIT = sa.select(schema.unit).where(schema.unit.c.serial_key == sa.bindparam("key"))
_HELD_UNIT = _UNIT.with_for_update()
_CANDIDATES = 500
"""How many serials are looked at for a near one; a works has far more."""


def orders(connection: Connection) -> tuple[WorkOrder, ...]:
    """Every work order of a customer, in the order of entry."""
    units = sa.select(schema.unit.c.order_id, schema.unit.c.serial).order_by(schema.unit.c.position)
    serials: dict[int, list[Serial]] = {}
    for order_id, serial in connection.execute(units):
        serials.setdefault(order_id, []).append(Serial(serial))
    production = schema.work_order.c.kind == OrderKind.PRODUCTION.value
    rows = connection.execute(sa.select(schema.work_order).where(production).order_by(schema.work_order.c.id))
    return tuple(_order(row, serials.get(row.id, ())) for row in rows)


def unit_row(connection: Connection, serial: str, *, hold: bool = False) -> Row[Any]:
    """The unit's row; `hold` keeps other writers from it. Raises UserMistake when nobody ordered the unit."""
    row = connection.execute(_HELD_UNIT if hold else _UNIT, {"key": serial_key(serial)}).one_or_none()
    if row is None:
        raise UserMistake(_unknown(connection, serial))
    return row


def unit(connection: Connection, serial: str) -> UnitEntry:
    """The unit and its order. Raises UserMistake when nobody ordered it."""
    row = unit_row(connection, serial)
    return UnitEntry(Serial(row.serial), _order_by_id(connection, row.order_id), _kind(connection, row))


def run(connection: Connection, run_id: RunId) -> StoredRun:
    """All of one run. Raises UserMistake when there is none of this number."""
    query = (
        sa.select(schema.run, schema.unit.c.serial, schema.unit.c.order_id)
        .join_from(schema.run, schema.unit)
        .where(schema.run.c.id == run_id)
    )
    row = connection.execute(query).one_or_none()
    if row is None:
        raise UserMistake(f"there is no run {run_id}; ask for a unit's history to see its runs")
    readings = _readings(connection, run_id)
    sweeps = _of_run(connection, schema.sweep, run_id)
    return StoredRun(
        run_id=run_id,
        run_number=row.run_number,
        head=_head(connection, row),
        order=_order_by_id(connection, row.order_id),
        state=RunState(row.state),
        why=row.why,
        finished=row.finished,
        readings=readings,
        verdict=_verdict(connection, row, readings),
        sweeps=tuple(_sweep(each) for each in sweeps if not each.doubt),
        doubted=tuple(DoubtedSweep(_sweep(each), each.doubt) for each in sweeps if each.doubt),
        calibration=None
        if row.calibration_id is None
        else calibrations.read(connection, CalibrationId(row.calibration_id)),
        temperature_end_c=row.temperature_end_c,
        resolutions=resolutions.of_runs(connection, [run_id]).get(run_id, ()),
    )


def runs(connection: Connection, serial: str) -> tuple[RunLine, ...]:
    """The runs of one unit, the first one first."""
    row = unit_row(connection, serial)
    chosen = sa.select(schema.run.c.id).where(schema.run.c.unit_id == row.id)
    return tuple(reversed(_lines(connection, chosen)))


def lines(connection: Connection, run_ids: Sequence[RunId] | sa.Select[Any]) -> tuple[RunLine, ...]:
    """These runs, the first one first."""
    chosen = sa.select(schema.run.c.id).where(schema.run.c.id.in_(run_ids))
    return tuple(reversed(_lines(connection, chosen)))


def latest_judged(connection: Connection, serial: str) -> StoredRun | None:
    """The unit's newest run with a verdict; None when there is none."""
    return _newest(connection, serial, schema.run.c.state == RunState.JUDGED.value)


def numbered(connection: Connection, serial: str, run_number: int) -> StoredRun | None:
    """The unit's run of this number; None when there is none."""
    return _newest(connection, serial, schema.run.c.run_number == run_number)


def certificates(connection: Connection, serial: str) -> tuple[CertificateEntry, ...]:
    """What was made of the unit's runs, the oldest first."""
    row = unit_row(connection, serial)
    query = (
        sa.select(schema.certificate)
        .join_from(schema.certificate, schema.run)
        .where(schema.run.c.unit_id == row.id)
        .order_by(schema.certificate.c.id)
    )
    return tuple(_certificate(each) for each in connection.execute(query))


def runs_before(connection: Connection, moment: datetime) -> int:
    """How many runs began before a moment."""
    query = sa.select(sa.func.count()).where(schema.run.c.started < moment)
    return int(connection.execute(query).scalar_one())


def all_certificates(connection: Connection) -> tuple[CertificateEntry, ...]:
    """What was made of any unit's runs, the oldest first."""
    query = sa.select(schema.certificate).order_by(schema.certificate.c.id)
    return tuple(_certificate(each) for each in connection.execute(query))


def certificate_known_by(connection: Connection, sha256: str, number: str) -> CertificateEntry | None:
    """The one whose file has this digest, else the one of this number; None when there is neither."""
    table = schema.certificate
    for known in (table.c.sha256 == sha256, table.c.number == number):
        row = connection.execute(sa.select(table).where(known).limit(1)).one_or_none()
        if row is not None:
            return _certificate(row)
    return None


def certificate_of(connection: Connection, run_id: RunId, resolution: int) -> CertificateEntry | None:
    """What was made of one run, as it stood with this decision of a person; None when nothing was."""
    table = schema.certificate
    wanted = (table.c.run_id == run_id) & (table.c.resolution == resolution)
    row = connection.execute(sa.select(table).where(wanted)).one_or_none()
    return None if row is None else _certificate(row)


def _certificate(row: Row[Any]) -> CertificateEntry:
    return CertificateEntry(
        RunId(row.run_id),
        row.number,
        CertificateKind(row.kind),
        row.issued,
        row.sha256,
        row.file,
        row.resolution,
    )


def _unknown(connection: Connection, serial: str) -> str:
    key = serial_key(serial)
    half = max(1, len(key) // 2)
    column = schema.unit.c.serial_key
    # Only what shares a half with it can be a slip of a few characters; all serials would take minutes.
    query = sa.select(column, schema.unit.c.serial).limit(_CANDIDATES)
    near: dict[str, str] = {}
    for like in (
        column.startswith(key[:half], autoescape=True),
        column.endswith(key[half:], autoescape=True),
    ):
        near.update((row[0], row[1]) for row in connection.execute(query.where(like)))
    close = [near[match] for match in difflib.get_close_matches(key, near, n=3, cutoff=0.6)]
    said = f"did you mean {', '.join(close)}? Otherwise import" if close else "import"
    return f"no work order has a unit with serial {serial!r}; {said} the work order that it belongs to"


def _newest(connection: Connection, serial: str, chosen: sa.ColumnElement[bool]) -> StoredRun | None:
    query = (
        sa.select(schema.run.c.id)
        .where(schema.run.c.unit_id == unit_row(connection, serial).id, chosen)
        .order_by(schema.run.c.run_number.desc())
        .limit(1)
    )
    run_id = connection.execute(query).scalar_one_or_none()
    return None if run_id is None else run(connection, RunId(run_id))


def _order(row: Row[Any], serials: Iterable[Serial]) -> WorkOrder:
    return WorkOrder(row.number, row.customer, row.model, row.tx_hz, row.rx_hz, tuple(serials), row.due)


def _order_by_id(connection: Connection, order_id: int) -> WorkOrder:
    units = (
        sa.select(schema.unit.c.serial)
        .where(schema.unit.c.order_id == order_id)
        .order_by(schema.unit.c.position)
    )
    row = connection.execute(sa.select(schema.work_order).where(schema.work_order.c.id == order_id)).one()
    return _order(row, connection.execute(units).scalars())


def _kind(connection: Connection, unit: Row[Any]) -> OrderKind:
    table = schema.work_order.c
    return OrderKind(connection.execute(sa.select(table.kind).where(table.id == unit.order_id)).scalar_one())


def _head(connection: Connection, row: Row[Any]) -> RunHead:
    loads = _of_run(connection, schema.load, row.id)
    digests = (row.recipe_digest, row.limits_digest, row.bench_digest)
    wanted = {*digests, *(load.digest for load in loads)}
    query = sa.select(schema.document).where(schema.document.c.digest.in_(wanted))
    texts = {
        each.digest: StoredText(DocumentKind(each.kind), each.name, each.revision, each.digest, each.text)
        for each in connection.execute(query)
    }
    recipe, limits, bench = (texts[digest] for digest in digests)
    return RunHead(
        serial=Serial(row.serial),
        operator=row.operator,
        station=row.station,
        started=row.started,
        recipe=recipe,
        limits=limits,
        bench=bench,
        temperature_c=row.temperature_c,
        instruments=tuple(
            Instrument(each.role, each.identity) for each in _of_run(connection, schema.instrument, row.id)
        ),
        loads=tuple(LoadText(load.port, texts[load.digest]) for load in loads),
        calibration=None if row.calibration_id is None else CalibrationId(row.calibration_id),
        settled_since=row.settled_since,
        because=_because(row),
    )


def _because(row: Row[Any]) -> Because | None:
    return row.retest_code and Because(row.retest_code, row.retest_means, row.retest_why or "")


def _of_run(connection: Connection, table: sa.Table, run_id: int) -> Sequence[Row[Any]]:
    query = sa.select(table).where(table.c.run_id == run_id).order_by(table.c.position)
    return connection.execute(query).all()


def _readings(connection: Connection, run_id: int) -> tuple[Reading, ...]:
    return tuple(reading_of(row) for row in _of_run(connection, schema.reading, run_id))


def reading_of(row: Row[Any]) -> Reading:
    """A row of the table of readings as the reading it was."""
    return Reading(
        name=row.name,
        title=row.title,
        unit=row.unit,
        value=row.value,
        u=row.u,
        at_hz=row.at_hz,
        span_hz=None if row.span_low_hz is None else (row.span_low_hz, row.span_high_hz),
        trace=row.trace,
        note=row.note,
        claim=Claim(row.claim),
    )


def _verdict(connection: Connection, run_row: Row[Any], readings: Sequence[Reading]) -> Verdict | None:
    if run_row.state != RunState.JUDGED.value:
        return None
    verdict = Verdict(
        tuple(
            Decision(
                reading=readings[row.reading],
                level=Level(row.level),
                limit_text=row.limit_text,
                rule=row.rule,
                outcome=Outcome(row.outcome),
                margin=row.margin,
                lines=tuple(LimitLine(tuple(freq), tuple(value), words) for freq, value, words in row.lines),
            )
            for row in _of_run(connection, schema.decision, run_row.id)
        )
    )
    if verdict.outcome.value != run_row.outcome:
        what = f"its stored outcome is {run_row.outcome}, its decisions say {verdict.outcome.value}"
        raise StoreFault(
            f"run {run_row.run_number} of {run_row.serial}: {what}; the database was changed by hand"
        )
    return verdict


def _sweep(row: Row[Any]) -> Sweep:
    freq_hz, s = sweep_codec.decode(row.data)
    return Sweep(
        hookup=hookup_named(row.ports),
        freq_hz=freq_hz,
        s=s,
        settings=SweepSettings(row.bandwidth_hz, row.averages, row.power_dbm),
        started=row.started,
        took_s=row.took_s,
        phase=row.phase,
    )


def _lines(connection: Connection, chosen: sa.Select[Any]) -> tuple[RunLine, ...]:
    """The chosen runs, the newest first."""
    table = schema.run.c
    query = (
        sa.select(schema.run, schema.unit.c.serial, schema.work_order.c.model, schema.work_order.c.number)
        .join_from(schema.run, schema.unit)
        .join(schema.work_order)
        .where(table.id.in_(chosen))
        .order_by(table.id.desc())
    )
    failed = _failed(connection, chosen)
    resolved = resolutions.of_runs(connection, chosen)
    return tuple(
        _line(row, tuple(failed.get(row.id, ())), next(reversed(resolved.get(row.id, ())), None))
        for row in connection.execute(query)
    )


def _line(row: Row[Any], failed: tuple[str, ...], resolution: Resolution | None) -> RunLine:
    return RunLine(
        run_id=RunId(row.id),
        serial=Serial(row.serial),
        run_number=row.run_number,
        model=row.model,
        order_number=row.number,
        operator=row.operator,
        station=row.station,
        started=row.started,
        finished=row.finished,
        state=RunState(row.state),
        why=row.why,
        outcome=None if row.outcome is None else Outcome(row.outcome),
        failed=failed,
        resolution=resolution,
        because=_because(row),
    )


def _failed(connection: Connection, chosen: sa.Select[Any]) -> dict[int, dict[str, None]]:
    """Per run the titles that failed, each once, in the order of the limit table."""
    decision, reading = schema.decision.c, schema.reading.c
    query = (
        sa.select(decision.run_id, reading.title)
        .join_from(
            schema.decision,
            schema.reading,
            (decision.run_id == reading.run_id) & (decision.reading == reading.position),
        )
        .where(decision.run_id.in_(chosen), decision.outcome == Outcome.FAIL.value)
        .order_by(decision.run_id, decision.position)
    )
    titles: dict[int, dict[str, None]] = {}
    for run_id, title in connection.execute(query):
        titles.setdefault(run_id, {})[title] = None
    return titles
