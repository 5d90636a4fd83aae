"""What a unit's record costs beside the database's own driver, on each engine that a works may have.

Run by hand: `pytest tests/speed`. The driver alone writes the very rows and packed sweeps of such a record, in as
many transactions, each as durable: one when the run begins, one for each sweep, one for what came of it. On the
station's side stands all that it does with a unit's values until they are kept: rows made of them, sweeps packed,
what must be looked up or held against other writers, lines of the ledger.
"""

from __future__ import annotations

import getpass
import importlib.util
import os
import shutil
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import psycopg
import pytest

from limits.reading import Reading
from limits.verdict import Decision, Level, LimitLine, Outcome, Verdict
from reports.record import Instrument
from station.database.entries import DocumentKind, RunHead, RunId, StoredText
from station.database.store import Store
from station.measurements.sweep import HOOKUPS, Sweep, SweepSettings
from station.orders import Serial, WorkOrder

ROUNDS, REPEATS = 40, 5
BEGAN = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
SERIAL = Serial("SKV-0101")
POINTS, READINGS = 600, 20
"""As many as a VHF unit has; each reading is held to two limits."""

Write = tuple[str, list[Sequence[Any]]]
"""A statement, and the rows that it is for."""


@dataclass(frozen=True)
class Values:
    """What comes of testing one unit."""

    head: RunHead
    sweeps: tuple[Sweep, ...]
    verdict: Verdict

    @classmethod
    def usual(cls) -> Values:
        rng = np.random.default_rng(1)
        freq_hz = 154.1e6 + 12.5e3 * np.arange(POINTS)
        # As an analyzer gives them in 32 bits: curves, and noise 90 dB below a full wave.
        turns = np.linspace(0, 3, POINTS)[:, None, None] * np.array([[1, 2], [3, 4]])
        noise = rng.normal(size=(3, POINTS, 2, 2)) + 1j * rng.normal(size=(3, POINTS, 2, 2))
        curves = (0.9 * np.exp(-turns * (0.3 + 2j)) + 3e-5 * noise).astype(np.complex64)
        sweeps = tuple(
            Sweep(hookup, freq_hz, s.astype(np.complex128), SweepSettings(1e3, 1, 0.0), BEGAN, 0.6)
            for hookup, s in zip(HOOKUPS, curves, strict=True)
        )
        readings = [
            Reading(
                f"reading_{n}",
                f"Reading {n}, worst over TX ± 12.5 kHz",
                "dB",
                1.1 + n / 7,
                u=0.1,
                at_hz=156.6e6,
            )
            for n in range(READINGS)
        ]
        line = LimitLine((156.5875e6, 156.6125e6), (30.0, 30.0), "at most 30 dB")
        decisions = tuple(
            Decision(reading, level, "at most 30 dB", "simple acceptance", Outcome.PASS, 12.5, (line,))
            for reading in readings
            for level in (Level.SPECIFICATION, Level.WORKS)
        )
        kinds = (DocumentKind.RECIPE, DocumentKind.LIMIT_TABLE, DocumentKind.BENCH)
        texts = (StoredText.of(kind, "SK-V4", "A", b"# as long as such a file is\n" * 60) for kind in kinds)
        instruments = (
            Instrument("analyzer", "Any,Two-port analyzer,0,1.0"),
            Instrument("thermometer", "Any,T,0,1"),
        )
        head = RunHead(SERIAL, "Signe", "final test 1", BEGAN, *texts, 23.0, instruments)
        return cls(head, sweeps, Verdict(decisions))

    def keep(self, store: Store) -> RunId:
        """From the first row to the last."""
        run_id = store.begin(self.head).run_id
        for sweep in self.sweeps:
            store.keep_sweep(run_id, sweep)
        store.finish(run_id, [], self.verdict, BEGAN + timedelta(minutes=1))
        return run_id


class Driver:
    """The rows of one kept record, written again and again by the database's driver alone."""

    def __init__(self, connection: Any, run_id: int, hole: str) -> None:
        """`hole` is how the driver writes a place for a value."""
        self._connection, self._hole = connection, hole
        self._rows = {
            table: self._of(table, run_id) for table in ("run", "instrument", "sweep", "reading", "decision")
        }
        self._lines = self._newest_line()
        # Downwards, since the station counts upwards in the same tables.
        self._next = 0

    def _select(self, sql: str) -> tuple[list[str], list[tuple[Any, ...]]]:
        cursor = self._connection.cursor()
        cursor.execute(sql)
        return [each[0] for each in cursor.description], cursor.fetchall()

    def _of(self, table: str, run_id: int) -> tuple[list[str], list[tuple[Any, ...]]]:
        names, rows = self._select(
            f"SELECT * FROM {table} WHERE {'id' if table == 'run' else 'run_id'} = {run_id}"
        )
        assert rows, table
        return names, [tuple(map(self._json, row)) for row in rows]

    def _json(self, value: Any) -> Any:
        return psycopg.types.json.Jsonb(value) if isinstance(value, list) else value

    def close(self) -> None:
        self._connection.close()

    def _newest_line(self) -> tuple[list[str], list[tuple[Any, ...]]]:
        return self._select("SELECT * FROM ledger_entry ORDER BY number DESC LIMIT 1")

    def keep(self) -> None:
        """The same transactions."""
        run_id = self._next = self._next - 1
        ended = ("finished", "outcome", "state")
        names, [run] = self._rows["run"]
        new = {**dict(zip(names, run, strict=True)), "id": run_id, "run_number": run_id}
        begun = {**new, "finished": None, "outcome": None, "state": "running"}
        self._transaction(
            [self._insert("run", names, [list(begun.values())]), self._copies("instrument", run_id)]
        )
        for place in range(len(self._rows["sweep"][1])):
            self._transaction([self._copies("sweep", run_id, place)])
        told = ", ".join(f"{name} = {self._hole}" for name in ended)
        update = (
            f"UPDATE run SET {told} WHERE id = {self._hole}",
            [[*(new[name] for name in ended), run_id]],
        )
        names, [line] = self._lines
        chained = {**dict(zip(names, line, strict=True)), "number": run_id}
        entry = self._insert("ledger_entry", names, [list(chained.values())])
        self._transaction([update, self._copies("reading", run_id), self._copies("decision", run_id), entry])

    def _copies(self, table: str, run_id: int, place: int | None = None) -> Write:
        names, rows = self._rows[table]
        assert names[0] == "run_id"
        some = rows if place is None else rows[place : place + 1]
        return self._insert(table, names, [(run_id, *row[1:]) for row in some])

    def _insert(self, table: str, names: list[str], rows: list[Sequence[Any]]) -> Write:
        holes = ", ".join([self._hole] * len(names))
        return f"INSERT INTO {table} ({', '.join(names)}) VALUES ({holes})", rows

    def _transaction(self, writes: list[Write]) -> None:
        cursor = self._connection.cursor()
        if self._hole == "?":
            cursor.execute("BEGIN IMMEDIATE")
        for statement, rows in writes:
            if len(rows) == 1:
                cursor.execute(statement, rows[0])
            else:
                cursor.executemany(statement, rows)
        self._connection.commit()


@contextmanager
def server() -> Iterator[str]:
    """The folder of the socket of a PostgreSQL server as it is installed: every commit waits for the disk."""
    spec = importlib.util.spec_from_file_location("shared", Path(__file__).parents[1] / "conftest.py")
    shared = sys.modules["shared"] = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(shared)
    programs = os.pathsep.join(map(str, shared.DEBIANS))
    pg_ctl = shutil.which("pg_ctl", path=f"{os.environ['PATH']}{os.pathsep}{programs}")
    if pg_ctl is None:
        pytest.skip("pg_ctl is not installed; DEVELOPERS.md says how to get it")
    user = "postgres" if os.geteuid() == 0 else getpass.getuser()
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    if os.geteuid() == 0:
        shutil.chown(folder, user)
    running = shared.Server(pg_ctl, folder, user)
    try:
        running.run("-o", f"-A trust -U {user} -N", "init")
        running.run("-l", str(folder / "log"), "-o", f"-c listen_addresses= -k {folder}", "start")
        yield f"postgresql://{user}@/postgres?host={folder}"
        running.run("-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder)


@contextmanager
def sqlite_file() -> Iterator[str]:
    folder = Path(tempfile.mkdtemp(prefix="record-"))
    yield f"sqlite:///{folder / 'records.sqlite'}"
    shutil.rmtree(folder)


def driver(url: str, run_id: int) -> Driver:
    """A bare connection set up as the station's is."""
    if url.startswith("postgresql"):
        return Driver(psycopg.connect(url), run_id, "%s")
    connection = sqlite3.connect(url.removeprefix("sqlite:///"), isolation_level=None)
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")
    return Driver(connection, run_id, "?")


def in_turn(calls: Mapping[str, Callable[[], object]]) -> dict[str, list[float]]:
    """Median seconds of each call, one for each of several repeats; the calls take turns, so load hits all."""
    medians: dict[str, list[float]] = {name: [] for name in calls}
    for _ in range(REPEATS):
        times: dict[str, list[float]] = {name: [] for name in calls}
        for _ in range(ROUNDS):
            for name, call in calls.items():
                begun = time.perf_counter()
                call()
                times[name].append(time.perf_counter() - begun)
        for name in calls:
            medians[name].append(statistics.median(times[name]))
    return medians


@pytest.mark.parametrize("place", [sqlite_file, server], ids=["SQLite", "PostgreSQL"])
def test_a_units_record_costs_at_most_twice_the_bare_driver(place: Callable[[], Any]) -> None:
    values = Values.usual()
    with place() as url, Store.open(url, create=True) as store:
        store.add_orders([WorkOrder("SKO-1", "", "SK-V4", 156.6e6, 157.4e6, (SERIAL,), date(2026, 12, 18))])
        bare = driver(url, values.keep(store))
        found = in_turn({"station": lambda: values.keep(store), "driver": bare.keep})
        bare.close()
    ratios = sorted(ours / theirs for ours, theirs in zip(found["station"], found["driver"], strict=True))
    middle = statistics.median(ratios)
    shown = ", ".join(f"{name} {1e3 * statistics.median(each):.2f} ms" for name, each in found.items())
    print(f"\n{place.__name__}: {shown}; ratio {middle:.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f})")  # noqa: T201
    assert middle <= 2.0
