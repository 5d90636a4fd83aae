"""What the station adds to a unit: to its bare parts with instant sweeps, to the analyzer's own time with real ones.

Run by hand: `pytest tests/speed`. The bare parts are what nobody can do without who wants a unit measured, stored
and certified: the very messages of that unit sent on a bare socket and their answers waited for, its very rows and
packed sweeps in one raw SQLite commit (write-ahead log, FULL), the page alone, its P-256 signature alone. Not among
them, so the station's own cost: recipe and limits read for each unit, the plan, numbers made of the blocks, each
sweep in a durable commit of its own before anything is made of it, readings, decisions, the run read back for the
certificate, the certificate's file.

The instrument is a process of its own on a core of its own where there are two. With the simulated bench its work
stands on both sides; played from a recording it stands on neither, which is the harder test.
"""

from __future__ import annotations

import os
import pickle
import select
import socket
import sqlite3
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import pytest

from limits.verdict import Outcome
from reports.certificate import certificate
from reports.signing import SigningKey, sign
from station.benchwork import OpenBench
from station.cli.simulator import Hands, Ports, hands_of, simulated_bench
from station.desk import Desk, make_works, open_desk
from station.keyring import make_key, open_key
from station.measurements.sweep import HOOKUPS, Hookup
from station.records import record_of

DIALECTS = ("linear-single", "list-all")
MODEL, SERIAL, TX_HZ, RX_HZ = "SK-V4", "SKV-0001", 156.6e6, 157.4e6
PASSPHRASE = "salt-water-9"
ROUNDS, REPEATS = 9, 5
REAL_ROUNDS = 3
ORDERS = """\
order,customer,model,tx,rx,serials,due
SKO-1,Northern Skerries Coastal Rescue,SK-V4,156.600 MHz,157.400 MHz,SKV-0001..SKV-0004,2026-12-18
"""
BENCH = """\
bench: final test 1
analyzer:
  kind: vector
  address: TCPIP::127.0.0.1::{port}::SOCKET
  dialect: {dialect}
  identity: Simulated vector analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
"""

Conversation = list[tuple[bytes, bytes]]
"""What was said to the analyzer, and what it answered, in turn."""


@contextmanager
def cores() -> Iterator[Callable[[str], None]]:
    """Where there are two cores, what is started after a call of it with "theirs" keeps to the second one."""
    every = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []

    def keep_to(whose: str) -> None:
        if len(every) > 1:
            os.sched_setaffinity(0, {every[whose == "theirs"]})

    try:
        yield keep_to
    finally:
        if every:
            os.sched_setaffinity(0, set(every))


@contextmanager
def bench_process(*, real_time: bool = False) -> Iterator[Ports]:
    """The simulated bench as a process on the other core."""
    with cores() as keep_to:
        keep_to("theirs")
        with simulated_bench(1, real_time=real_time) as ports:
            keep_to("ours")
            yield ports


@contextmanager
def playing(conversation: Conversation, folder: Path) -> Iterator[int]:
    """The port of a process on the other core that plays the analyzer's part."""
    file = folder / "conversation"
    file.write_bytes(pickle.dumps(conversation))
    command = [sys.executable, str(Path(__file__).with_name("player.py")), str(file)]
    with cores() as keep_to:
        keep_to("theirs")
        pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
        with subprocess.Popen(command, text=True, **pipes) as process:
            keep_to("ours")
            yield int(process.stdout.readline())
            process.stdin.close()


def bare_socket(port: int) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port), timeout=30)
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return line


@contextmanager
def recorder(port: int, conversation: Conversation) -> Iterator[int]:
    """The port of a relay to `port` that writes down one connection."""

    def relay() -> None:
        ours, _ = listener.accept()
        with ours, bare_socket(port) as theirs:
            write_down(ours, theirs, conversation)

    with socket.create_server(("127.0.0.1", 0)) as listener:
        thread = threading.Thread(target=relay)
        thread.start()
        yield listener.getsockname()[1]
        thread.join(timeout=10)


def write_down(ours: socket.socket, theirs: socket.socket, conversation: Conversation) -> None:
    said, answered = b"", b""
    while True:
        line = select.select([ours, theirs], [], [])[0][0]
        chunk = line.recv(1 << 20)
        if line is theirs:
            answered += chunk
            ours.sendall(chunk)
            continue
        if answered:
            conversation.append((said, answered))
            said, answered = b"", b""
        if not chunk:
            return
        said += chunk
        theirs.sendall(chunk)


@dataclass(frozen=True)
class AtOnce:
    """An operator who has always hooked up already."""

    name: str = "Signe"
    answers: bool = True

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        return

    def look_again(self, serial: str, hookup: Hookup, reason: str) -> None:
        pytest.fail(f"{hookup.name} was doubted: {reason}")


@dataclass(frozen=True)
class Station:
    """An open desk and bench, and an opened key."""

    desk: Desk
    bench: OpenBench
    key: SigningKey

    def test(self) -> int:
        """The number of the run, which passed."""
        judged = self.bench.test(SERIAL, temperature_c=23.0, because="sampling")
        assert judged.verdict.outcome is Outcome.PASS
        return judged.key.run_number

    def unit(self) -> int:
        """From serial to signed certificate."""
        run_number = self.test()
        self.desk.certify(SERIAL, run_number, lambda: self.key)
        return run_number


@contextmanager
def station_at(port: int, dialect: str, operator: Hands | AtOnce, folder: Path) -> Iterator[Station]:
    made = make_works(
        folder / "works", "Skerry Works", ("Holmsund",), BENCH.format(port=port, dialect=dialect)
    )
    now = datetime.now(UTC)
    make_key(made, lambda: PASSPHRASE, now, years=2)
    (made.folder / "orders.csv").write_text(ORDERS)
    with open_desk(made.folder) as desk, desk.bench(operator, lambda event: None) as bench:
        desk.import_orders(made.folder / "orders.csv")
        yield Station(desk, bench, open_key(made, PASSPHRASE, now))


def place(hands: Hands) -> None:
    """A unit that was built with care, new to the bench each time."""
    careful = [{"kind": "tolerance", "percent": 30}]
    hands.place(model=MODEL, serial=SERIAL, tx_hz=TX_HZ, rx_hz=RX_HZ, defects=careful)


def recorded(ports: Ports, dialect: str, folder: Path) -> Conversation:
    """All that passes between station and analyzer for one unit."""
    conversation: Conversation = []
    folder.mkdir()
    with (
        hands_of(ports) as hands,
        recorder(ports.socket, conversation) as port,
        station_at(port, dialect, hands, folder) as station,
    ):
        place(hands)
        station.test()
    assert conversation[0][0] == b"*IDN?\n"
    return conversation


def exchanges(line: socket.socket, conversation: Conversation, operator: Hands | AtOnce) -> list[bytes]:
    """The same messages once more, and the same hook-ups: before the first message of each sweep, which clears."""
    hookups, answers = iter(HOOKUPS), []
    for said, answered in conversation:
        if said.startswith(b"*CLS"):
            operator.hook_up(SERIAL, next(hookups))
        line.sendall(said)
        got = bytearray()
        while len(got) < len(answered):
            got += line.recv(1 << 16)
        answers.append(bytes(got))
    return answers


def without_data(answers: Iterable[bytes]) -> list[bytes]:
    """Blocks cut down to their heads: their noise is another one each time."""
    return [answer[: 2 + int(answer[1:2])] if answer.startswith(b"#") else answer for answer in answers]


class RawCommits:
    """The rows of one finished run, written again and again with no layer between."""

    TABLES = ("run", "instrument", "sweep", "reading", "decision", "certificate")

    def __init__(self, database: Path, copy: Path, run_number: int) -> None:
        with closing(sqlite3.connect(database)) as source:
            (run_id,) = source.execute("SELECT id FROM run WHERE run_number = ?", (run_number,)).fetchone()
            self._rows = {table: _rows(source, table, run_id) for table in self.TABLES}
            statements = [sql for (sql,) in source.execute("SELECT sql FROM sqlite_master") if sql]
            shared = {table: _rows(source, table) for table in ("work_order", "unit", "document")}
        self.connection = sqlite3.connect(copy, isolation_level=None)
        self.connection.execute("PRAGMA journal_mode = WAL")
        self.connection.execute("PRAGMA synchronous = FULL")
        for sql in statements:
            self.connection.execute(sql)
        self.connection.execute("PRAGMA foreign_keys = ON")
        for table, rows in shared.items():
            self._insert(table, rows)
        self._run_id = run_id

    def commit(self) -> None:
        self._run_id += 1
        self.connection.execute("BEGIN IMMEDIATE")
        for table, rows in self._rows.items():
            self._insert(table, [_of_run(table, row, self._run_id) for row in rows])
        self.connection.execute("COMMIT")

    def _insert(self, table: str, rows: list[dict[str, object]]) -> None:
        names = list(rows[0])
        holes = ", ".join(f":{name}" for name in names)
        self.connection.executemany(f"INSERT INTO {table} ({', '.join(names)}) VALUES ({holes})", rows)


def _rows(source: sqlite3.Connection, table: str, run_id: int | None = None) -> list[dict[str, object]]:
    column = "id" if table == "run" else "run_id"
    where = "" if run_id is None else f" WHERE {column} = {run_id}"
    found = source.execute(f"SELECT * FROM {table}{where}")
    names = [each[0] for each in found.description]
    rows = [dict(zip(names, row, strict=True)) for row in found]
    assert rows, f"nothing of the run in {table}"
    return rows


def _of_run(table: str, row: dict[str, object], run_id: int) -> dict[str, object]:
    own = {
        "run": {"id": run_id, "run_number": run_id},
        "certificate": {"id": run_id, "run_id": run_id, "number": f"N-{run_id}"},
    }
    return {**row, **own.get(table, {"run_id": run_id})}


def compare(
    station: Station,
    line: socket.socket,
    conversation: Conversation,
    fresh: Callable[[], None],
    folder: Path,
    name: str,
) -> float:
    """The unit to the sum of its bare parts: the middle one of the ratios of the repeats; prints all that was seen.

    `fresh` is called before each conversation with the instrument, and is not measured.
    """
    fresh()
    operator = station.bench.operator
    answers = exchanges(line, conversation, operator)
    assert without_data(answers) == without_data(answered for _, answered in conversation)
    run_number = station.unit()
    record = record_of(
        station.desk.stored_run(SERIAL, run_number), station.desk.works.name, station.desk.works.address
    )
    issued = datetime.now(UTC)
    pdf = certificate(record, issued)
    raw = RawCommits(station.desk.works.folder / "records.sqlite", folder / "raw.sqlite", run_number)
    calls: dict[str, Callable[[], object]] = {
        "unit": station.unit,
        "exchanges": lambda: exchanges(line, conversation, operator),
        "commit": raw.commit,
        "page": lambda: certificate(record, issued),
        "signature": lambda: sign(pdf, station.key, reason="Test", location="Holmsund", signed_at=issued),
    }
    with closing(raw.connection):
        return told(in_turn(calls, {"unit": fresh, "exchanges": fresh}), name)


def in_turn(
    calls: Mapping[str, Callable[[], object]], before: Mapping[str, Callable[[], None]]
) -> dict[str, list[float]]:
    """Median seconds of each call, one for each of several repeats; the calls take turns, so load hits all."""
    medians: dict[str, list[float]] = {name: [] for name in calls}
    for _ in range(REPEATS):
        times: dict[str, list[float]] = {name: [] for name in calls}
        for _ in range(ROUNDS):
            for name, call in calls.items():
                if name in before:
                    before[name]()
                times[name].append(seconds(call))
        for name in calls:
            medians[name].append(statistics.median(times[name]))
    return medians


def seconds(call: Callable[[], object]) -> float:
    begun = time.perf_counter()
    call()
    return time.perf_counter() - begun


def told(medians: Mapping[str, list[float]], name: str) -> float:
    whole, *parts = medians.values()
    ratios = sorted(a / sum(b) for a, *b in zip(whole, *parts, strict=True))
    middle = statistics.median(ratios)
    shown = ", ".join(f"{each} {1e3 * statistics.median(values):.1f} ms" for each, values in medians.items())
    print(f"\n{name}: {shown}; ratio {middle:.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f})")  # noqa: T201
    return middle


@pytest.mark.parametrize("dialect", DIALECTS)
def test_a_unit_costs_at_most_twice_its_bare_parts(dialect: str, tmp_path: Path) -> None:
    with bench_process() as ports:
        conversation = recorded(ports, dialect, tmp_path / "recorded")
        with (
            hands_of(ports) as hands,
            station_at(ports.socket, dialect, hands, tmp_path) as station,
            bare_socket(ports.socket) as line,
        ):
            name = f"{dialect}, simulated bench, {len(conversation)} exchanges"
            found = compare(station, line, conversation, lambda: place(hands), tmp_path, name)
    assert found <= 2.0


@pytest.mark.parametrize("dialect", DIALECTS)
def test_it_does_so_even_where_the_instrument_costs_nothing(dialect: str, tmp_path: Path) -> None:
    with bench_process() as ports:
        conversation = recorded(ports, dialect, tmp_path / "recorded")
    with (
        playing(conversation, tmp_path) as port,
        station_at(port, dialect, AtOnce(), tmp_path) as station,
        bare_socket(port) as line,
    ):
        name = f"{dialect}, answers from a recording"
        found = compare(station, line, conversation, lambda: None, tmp_path, name)
    assert found <= 2.0


def sweeping_s(conversation: Conversation, directions: int) -> float:
    """The analyzer's own time: what it announced for one sweep, in each direction of each acquisition started.

    The recipe takes one average.
    """
    total_s = announced_s = 0.0
    for said, answered in conversation:
        parts = said.decode().strip().split(";")
        if "SENS:SWE:TIME?" in said.decode():
            announced_s = float(answered.decode().split(";")[-2])
        if ":INIT" in parts or "INIT" in parts:
            total_s += announced_s * directions
    return total_s


@pytest.mark.parametrize("dialect", DIALECTS)
def test_a_unit_takes_at_most_5_percent_longer_than_its_sweeps(dialect: str, tmp_path: Path) -> None:
    with bench_process() as ports:
        directions = 2 if dialect == "list-all" else 1
        own_s = sweeping_s(recorded(ports, dialect, tmp_path / "recorded"), directions)
    with (
        bench_process(real_time=True) as ports,
        hands_of(ports) as hands,
        station_at(ports.socket, dialect, hands, tmp_path) as station,
    ):
        taken = []
        for _ in range(REAL_ROUNDS):
            place(hands)
            taken.append(seconds(station.test))
    shares = sorted(each / own_s - 1 for each in taken)
    print(  # noqa: T201
        f"\n{dialect}: sweeps {own_s:.3f} s, unit {statistics.median(taken):.3f} s, "
        f"{statistics.median(shares):.1%} more ({shares[0]:.1%} to {shares[-1]:.1%})"
    )
    assert own_s > 1.0
    assert 0.0 < statistics.median(shares) <= 0.05
