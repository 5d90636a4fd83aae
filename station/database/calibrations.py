"""Calibrations of the benches, to rows and back. Each function gets an open connection inside a transaction."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Row

from limits.reading import FloatArray
from station.database import schema, sweep_codec, write
from station.database.entries import (
    Calibration,
    CalibrationHead,
    CalibrationId,
    DocumentKind,
    StoredCalibration,
    StoredText,
)
from station.database.gather import Key
from station.errors import StoreFault
from station.measurements.calibration import ErrorTerms
from station.measurements.load import Load
from station.measurements.noise import MeasuredNoise
from station.measurements.standards import Findings, Residual, Step, Swept
from station.measurements.sweep import ComplexArray, Hookup, hookup_named


def insert(connection: Connection, calibration: Calibration) -> tuple[CalibrationId, list[tuple[str, Key]]]:
    """Keep all of a calibration; its number, and which texts are new."""
    head, findings = calibration.head, calibration.findings
    texts = (head.kit, *head.kit_files)
    new = write.keep_texts(connection, texts)
    number = CalibrationId(write.insert(connection, schema.calibration, _head_row(head)))
    _insert_rows(connection, schema.calibration_document, number, [{"digest": each.digest} for each in texts])
    _insert_rows(connection, schema.error_terms, number, list(_terms_rows(findings.terms)))
    residuals = [
        {
            "what": each.what,
            "port": each.port,
            "value_db": each.value_db,
            "at_hz": each.at_hz,
            "turn_deg": each.turn_deg,
        }
        for each in findings.residuals
    ]
    _insert_rows(connection, schema.residual, number, residuals)
    heard = [
        {
            "bandwidth_hz": each.bandwidth_hz,
            "floor_dbm": each.floor_dbm,
            "trace_db": each.trace_db,
            "leakage_db": each.leakage_db,
        }
        for each in findings.noise
    ]
    _insert_rows(connection, schema.noise, number, heard)
    loads = [
        {
            "port": port,
            "name": load.file,
            "points": len(load.freq_hz),
            "data": sweep_codec.encode(load.freq_hz, load.reflection[:, None, None]),
        }
        for port, load in findings.loads.items()
    ]
    _insert_rows(connection, schema.calibration_load, number, loads)
    _insert_rows(connection, schema.standard_sweep, number, list(_sweep_rows(calibration.swept)))
    return number, new


def latest(connection: Connection, station: str) -> StoredCalibration | None:
    """The one that was kept last of a station, whatever clock it was made by; None when it has none."""
    table = schema.calibration.c
    query = sa.select(table.id).where(table.station == station).order_by(table.id.desc()).limit(1)
    number = connection.execute(query).scalar_one_or_none()
    return None if number is None else read(connection, CalibrationId(number))


def heads(connection: Connection, station: str, latest: int) -> tuple[CalibrationHead, ...]:
    """What is known of so many of the latest of a station, the newest first, without what they found."""
    table = schema.calibration
    query = sa.select(table).where(table.c.station == station).order_by(table.c.id.desc()).limit(latest)
    return tuple(_head(connection, row) for row in connection.execute(query).all())


def read(connection: Connection, number: CalibrationId) -> StoredCalibration:
    """One calibration. Raises StoreFault when there is none of this number."""
    table = schema.calibration
    row = connection.execute(sa.select(table).where(table.c.id == number)).one_or_none()
    if row is None:
        raise StoreFault(f"there is no calibration {number}; the database was changed by hand")
    terms: dict[Hookup, ErrorTerms] = {}
    for each in _rows(connection, schema.error_terms, number):
        terms |= dict.fromkeys(map(hookup_named, each.hookups.split()), _terms(each))
    findings = Findings(
        terms=terms,
        residuals=tuple(
            Residual(each.what, each.port, each.value_db, each.at_hz, each.turn_deg)
            for each in _rows(connection, schema.residual, number)
        ),
        noise=tuple(
            MeasuredNoise(each.bandwidth_hz, each.floor_dbm, each.trace_db, each.leakage_db)
            for each in _rows(connection, schema.noise, number)
        ),
        loads={each.port: _load(each) for each in _rows(connection, schema.calibration_load, number)},
    )
    return StoredCalibration(number, _head(connection, row), findings)


def _head_row(head: CalibrationHead) -> dict[str, Any]:
    return {
        "station": head.station,
        "operator": head.operator,
        "made": head.made,
        "valid_for_s": head.valid_for_s,
        "analyzer": head.analyzer,
        "temperature_c": head.temperature_c,
        "cables": head.cables,
        "load_return_loss_db": head.load_return_loss_db,
    }


def _head(connection: Connection, row: Row[Any]) -> CalibrationHead:
    named, document = schema.calibration_document.c, schema.document
    query = (
        sa.select(document)
        .join(schema.calibration_document, named.digest == document.c.digest)
        .where(named.calibration_id == row.id)
        .order_by(named.position)
    )
    kit, *files = (
        StoredText(DocumentKind(each.kind), each.name, each.revision, each.digest, each.text)
        for each in connection.execute(query)
    )
    return CalibrationHead(
        station=row.station,
        operator=row.operator,
        made=row.made,
        valid_for_s=row.valid_for_s,
        analyzer=row.analyzer,
        temperature_c=row.temperature_c,
        cables=row.cables,
        kit=kit,
        kit_files=tuple(files),
        load_return_loss_db=row.load_return_loss_db,
    )


def _terms_rows(terms: Mapping[Hookup, ErrorTerms]) -> Iterator[dict[str, Any]]:
    """One row for each set of terms, whatever number of hook-ups it is for."""
    for each in {id(one): one for one in terms.values()}.values():
        yield {
            "hookups": " ".join(hookup.name for hookup, one in terms.items() if one is each),
            "largest_step_hz": each.largest_step_hz,
            "points": len(each.freq_hz),
            **{name: sweep_codec.encode(each.freq_hz, plane) for name, plane in _planes(each).items()},
        }


def _planes(terms: ErrorTerms) -> dict[str, ComplexArray]:
    return {"leak": terms.leak, "match": terms.match, "tracking": terms.tracking}


def _terms(row: Row[Any]) -> ErrorTerms:
    planes: list[tuple[FloatArray, ComplexArray]] = [
        sweep_codec.decode(blob) for blob in (row.leak, row.match, row.tracking)
    ]
    leak, match, tracking = (s for _, s in planes)
    return ErrorTerms(planes[0][0], leak, match, tracking, row.largest_step_hz)


def _load(row: Row[Any]) -> Load:
    freq_hz, s = sweep_codec.decode(row.data)
    return Load(row.name, freq_hz, s[:, 0, 0], (0, 0))


def _sweep_rows(swept: Swept) -> Iterator[dict[str, Any]]:
    for step, sweeps in swept.items():
        for sweep in sweeps:
            row = write.sweep_row(sweep)
            del row["doubt"]
            yield {**_step_row(step), **row}


def _step_row(step: Step) -> dict[str, Any]:
    return {
        "standard": step.standard,
        "test_ports": "-".join(map(str, step.ports)),
        "use": step.use.value,
    }


def _insert_rows(
    connection: Connection, table: sa.Table, number: CalibrationId, rows: Sequence[Mapping[str, Any]]
) -> None:
    placed = [{"calibration_id": number, "position": place, **row} for place, row in enumerate(rows)]
    if placed:
        connection.execute(table.insert(), placed)


def _rows(connection: Connection, table: sa.Table, number: CalibrationId) -> Sequence[Row[Any]]:
    query = sa.select(table).where(table.c.calibration_id == number).order_by(table.c.position)
    return connection.execute(query).all()
