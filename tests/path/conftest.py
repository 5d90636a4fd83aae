"""A whole works in a temporary folder, with a simulated bench beside it."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fixtures_sim.server import Bench, running_bench
from fixtures_sim.units import build_unit, defect_from
from station import settings
from station.desk import make_works, open_desk
from station.files import write_whole
from station.keyring import make_key
from station.measurements.sweep import Hookup
from station.sequencer.events import Event
from station.settings import Works

PASSPHRASE = "salt-water-9"
TX_HZ, RX_HZ = 156.6e6, 157.4e6
ORDERS = """\
order,customer,model,tx,rx,serials,due
SKO-1,Northern Skerries Coastal Rescue,SK-V4,156.600 MHz,157.400 MHz,SKV-0001..SKV-0004,2026-12-18
SKO-2,Lantern Sound Harbour Watch,SK-U4,455 MHz,460.5 MHz,SKU-0001,2026-12-18
SKO-3,Outer Banks Relay Association,SK-L2,1575 MHz,1622 MHz,SKL-0001,2026-12-18
"""
BENCH = """\
bench: final test 1
analyzer:
  kind: vector
  address: {address}
  dialect: {dialect}
  identity: Simulated vector analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
"""


@pytest.fixture
def simulated() -> Iterator[Bench]:
    """A simulated bench on free loopback ports."""
    with running_bench(seed=1) as bench:
        yield bench


@pytest.fixture
def point_bench() -> Callable[[Works, str, str], None]:
    """Writes a works' bench file for another address and dialect."""

    def write(works: Works, address: str, dialect: str) -> None:
        works.bench.write_text(BENCH.format(address=address, dialect=dialect))

    return write


@pytest.fixture
def works(tmp_path: Path, simulated: Bench) -> Works:
    """A works folder whose bench is the simulated one, with orders and a signing key."""
    text = BENCH.format(address=simulated.socket_address, dialect="linear-single")
    made = make_works(tmp_path / "works", "Skerry Works", ("Net Loft Quay 3", "Holmsund Skerries"), text)
    file = made.folder / settings.FILE
    file.write_text(file.read_text().replace("passphrase: prompt", "passphrase: {file: keys/passphrase}"))
    write_whole(made.keys / "passphrase", PASSPHRASE.encode(), private=True)
    made = settings.load(made.folder)
    make_key(made, lambda: PASSPHRASE, datetime.now(UTC), years=2)
    (made.folder / "orders.csv").write_text(ORDERS)
    with open_desk(made.folder) as desk:
        desk.import_orders(made.folder / "orders.csv")
    return made


@dataclass
class SureHands:
    """An operator in the test's own process: cables the simulated unit, and can be told to stop at a hook-up."""

    bench: Bench
    stop_at: str = ""
    before: Callable[[Hookup], None] = lambda hookup: None
    name: str = "Signe"
    events: list[Event] = field(default_factory=list)
    asked_again: list[tuple[Any, ...]] = field(default_factory=list)
    stop_when_asked_again: bool = False
    answers: bool = True
    been_there_s: float = 3600.0
    reads_c: list[float] = field(default_factory=lambda: [23.0])
    """What it answers when it is asked for the temperature, the last one again and again."""

    waited_s: list[float] = field(default_factory=list)
    on_wait: Callable[[float], None] = lambda left_s: None
    slips: dict[tuple[str, tuple[int, ...]], list[tuple[str, tuple[int, ...]]]] = field(default_factory=dict)
    """What is really connected, the next times, where a standard is asked for on these ports."""

    persists: int = 0
    """How often it tries on where standards are still not believed."""

    offered: list[tuple[str, int]] = field(default_factory=list)
    """Each time it was asked whether to try on: why, and after how many tries."""

    def connect(self, standard: str, ports: tuple[int, ...]) -> None:
        if standard == self.stop_at:
            raise KeyboardInterrupt
        slips = self.slips.get((standard, ports), [])
        wrong, where = slips.pop(0) if slips else (standard, ports)
        self.bench.connect(wrong, *where)

    def connect_again(self, standard: str, ports: tuple[int, ...], reason: str) -> None:
        self.asked_again.append((standard, ports, reason))
        self.connect(standard, ports)

    def tries_on(self, reason: str, tries: int) -> bool:
        self.offered.append((reason, tries))
        return len(self.offered) <= self.persists

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        if hookup.name == self.stop_at:
            raise KeyboardInterrupt
        self.before(hookup)
        self.bench.hook_up(*hookup.ports)

    def look_again(self, serial: str, hookup: Hookup, reason: str) -> None:
        if self.stop_when_asked_again:
            raise KeyboardInterrupt
        self.asked_again.append((hookup, reason))
        self.hook_up(serial, hookup)

    def reconnect(self, serial: str, hookup: Hookup, place: str) -> None:
        self.hook_up(serial, hookup)

    def settled_since(self, serial: str, asked_s: float, now: datetime) -> datetime:
        return now - timedelta(seconds=self.been_there_s)

    def wait(self, serial: str, left_s: float) -> None:
        self.waited_s.append(left_s)
        self.on_wait(left_s)

    def temperature_c(self, serial: str) -> float:
        return self.reads_c.pop(0) if len(self.reads_c) > 1 else self.reads_c[0]


@pytest.fixture
def hands(simulated: Bench) -> SureHands:
    """Hands with a sound SK-V4 unit on the fixture."""
    careful = (defect_from({"kind": "tolerance", "percent": 30}),)
    simulated.place(build_unit("SK-V4", "SKV-0001", TX_HZ, RX_HZ, 1, careful))
    return SureHands(simulated)


@dataclass(frozen=True)
class Ran:
    """What a command printed and how it ended."""

    code: int
    out: str
    err: str


@pytest.fixture
def station(tmp_path: Path) -> Callable[..., Ran]:
    """Runs the `station` command as a user does."""

    def run(*words: object, stdin: str | None = None, env: dict[str, str] | None = None) -> Ran:
        program = Path(sys.executable).with_name("station")
        done = subprocess.run(
            [str(program), *map(str, words)],
            input=stdin,
            capture_output=True,
            text=True,
            timeout=120,
            cwd=tmp_path,
            env={**os.environ, "COLUMNS": "200", **(env or {})},
            check=False,
        )
        assert "Traceback" not in done.stderr, done.stderr
        return Ran(done.returncode, done.stdout, done.stderr)

    return run
