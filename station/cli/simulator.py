"""The simulated bench as a process of its own: started, spoken to through its hands, and ended.

It stands in for instruments and for the person who cables the unit; the station proper knows neither.
"""

from __future__ import annotations

import json
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from station.errors import StationFault, UserMistake
from station.measurements.standards import Standard
from station.measurements.sweep import Hookup

HANDS_ANSWER_WITHIN_S = 30.0
ROOM_C = 23.0
"""Of the simulated room."""


@dataclass(frozen=True, slots=True)
class Ports:
    """Where the simulated bench listens, on loopback."""

    socket: int
    hislip: int
    hands: int
    sample: dict[str, Any]
    """What lies on the fixture at first: `model`, `serial`, `tx_hz`, `rx_hz`."""

    helpers: dict[str, int] = field(default_factory=dict)
    """The instruments beside the analyzer: `thermometer`, and `switch` where there is one."""

    @property
    def socket_address(self) -> str:
        """VISA resource name of the analyzer's raw socket."""
        return _socket_address(self.socket)

    @property
    def hislip_address(self) -> str:
        """VISA resource name of the analyzer over HiSLIP."""
        return f"TCPIP::127.0.0.1::hislip0,{self.hislip}::INSTR"

    def address_of(self, helper: str) -> str:
        """VISA resource name of an instrument beside the analyzer."""
        return _socket_address(self.helpers[helper])


def _socket_address(port: int) -> str:
    return f"TCPIP::127.0.0.1::{port}::SOCKET"


BENCHES: dict[str, list[str]] = {
    "two-port": [],
    "three-port": ["--ports", "3"],
    "switched": ["--switched"],
    "scalar": ["--scalar"],
}
"""Every kind of simulated bench, and how it is asked for."""


@contextmanager
def simulated_bench(
    seed: int,
    *,
    real_time: bool = False,
    imperfect: bool = False,
    uncalibrated: bool = False,
    bench: str = "two-port",
    socket_port: int = 0,
    hislip_port: int = 0,
) -> Iterator[Ports]:
    """A simulated bench for as long as the block lasts; it also ends when this program dies.

    An `imperfect` one adds everything a real bench adds, from test-port errors to cables that are bent; an
    `uncalibrated` one test-port errors, and connectors that are never quite the same. `bench` is one of BENCHES.
    """
    if bench not in BENCHES:
        raise UserMistake(f"there is no simulated bench '{bench}'; there are {', '.join(BENCHES)}")
    command = [sys.executable, "-m", "fixtures_sim", "--until-stdin-closes", "--seed", str(seed)]
    command += ["--socket-port", str(socket_port), "--hislip-port", str(hislip_port)]
    command += ["--real-time"] if real_time else []
    command += ["--imperfect"] if imperfect else []
    command += ["--test-port-errors", "--connectors"] if uncalibrated else []
    command += BENCHES[bench]
    pipe = subprocess.PIPE
    try:
        process = subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True)
    except OSError as error:
        raise StationFault(f"the simulated bench cannot be started: {error}") from error
    try:
        yield _ports(process)
    finally:
        if process.stdin:
            process.stdin.close()
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        for stream in (process.stdout, process.stderr):
            if stream:
                stream.close()


def run_alone(
    seed: int, *, real_time: bool, imperfect: bool, bench: str, socket_port: int, hislip_port: int
) -> None:
    """Run the bench until Ctrl-C and say how to reach it."""
    with simulated_bench(
        seed,
        real_time=real_time,
        imperfect=imperfect,
        bench=bench,
        socket_port=socket_port,
        hislip_port=hislip_port,
    ) as ports:
        # Ctrl-C may come as soon as somebody has read this.
        try:
            sys.stdout.write(_how_to_reach(ports))
            sys.stdout.flush()
            threading.Event().wait()
        except KeyboardInterrupt:
            sys.stdout.write("Ended.\n")


def _how_to_reach(ports: Ports) -> str:
    sample = {"do": "place", **ports.sample}
    beside = "".join(f"and a {name} at\n  {ports.address_of(name)}\n" for name in ports.helpers)
    return (
        f"A simulated analyzer listens at\n"
        f"  {ports.socket_address}\n"
        f"  {ports.hislip_address}\n"
        f"{beside}"
        f"On its fixture lies {sample.get('model')} {sample.get('serial')}, hooked up. Its hands listen at "
        f"127.0.0.1, port {ports.hands},\nfor one JSON object a line:\n"
        f'  {{"do": "hook up", "ports": ["ANT", "RX"]}}\n'
        f"  {json.dumps(sample)}\n"
        f'  {{"do": "place", "specimen": "check standard"}}\n'
        f'  {{"do": "connect", "standard": "short", "ports": [1]}}        (open, short, load)\n'
        f'  {{"do": "connect", "standard": "through", "ports": [1, 2]}}   (or terminated)\n'
        f"Ctrl-C ends it.\n"
    )


class Hands:
    """Lays units on the fixture and re-cables them: an Operator in software."""

    name = "simulated hands"
    answers = True

    def __init__(self, line: socket.socket) -> None:
        self._line = line
        self._answers = line.makefile("r", encoding="utf-8")

    def place(self, **unit: Any) -> None:
        """Lay a unit on the fixture."""
        self._ask({"do": "place", **unit})

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        """Cable the unit that lies there."""
        self._ask({"do": "hook up", "ports": list(hookup.ports)})

    def connect(self, standard: Standard, ports: tuple[int, ...]) -> None:
        """Connect a calibration standard, or terminations, to the fixture's test ports."""
        self._ask({"do": "connect", "standard": standard, "ports": list(ports)})

    def connect_again(self, standard: Standard, ports: tuple[int, ...], reason: str) -> None:
        """Connect it once more."""
        self.connect(standard, ports)

    def tries_on(self, reason: str, tries: int) -> bool:
        """Never: these hands do the same again."""
        return False

    def pass_time(self, hours: float) -> None:
        """Let time pass on the bench, for whatever drifts."""
        self._ask({"do": "pass time", "hours": hours})

    def look_again(self, serial: str, hookup: Hookup, reason: str) -> None:
        """Cable the unit once more."""
        self.hook_up(serial, hookup)

    def reconnect(self, serial: str, hookup: Hookup, place: str) -> None:
        """Cable the unit once more."""
        self.hook_up(serial, hookup)

    def settled_since(self, serial: str, asked_s: float, now: datetime) -> datetime:
        """For just long enough: a unit in software needs no rest."""
        return now - timedelta(seconds=asked_s)

    def wait(self, serial: str, left_s: float) -> None:
        """Nothing to wait for."""

    def temperature_c(self, serial: str) -> float:
        """That of a unit nobody has warmed."""
        return ROOM_C

    def close(self) -> None:
        """Let go of the line."""
        self._answers.close()

    def _ask(self, request: dict[str, Any]) -> None:
        try:
            self._line.sendall(json.dumps(request).encode() + b"\n")
            answer = json.loads(self._answers.readline() or "{}")
        except (OSError, ValueError) as error:
            raise StationFault(f"the simulated bench's hands do not answer: {error}") from error
        if not answer.get("ok"):
            raise StationFault(f"the simulated bench's hands: {answer.get('why', 'gone')}")


@contextmanager
def hands_of(ports: Ports) -> Iterator[Hands]:
    """The hands of a running bench."""
    with socket.create_connection(("127.0.0.1", ports.hands), timeout=HANDS_ANSWER_WITHIN_S) as line:
        hands = Hands(line)
        try:
            yield hands
        finally:
            hands.close()


def _ports(process: subprocess.Popen[str]) -> Ports:
    line = process.stdout.readline() if process.stdout else ""
    if not line:
        said = process.stderr.read().strip() if process.stderr else ""
        raise UserMistake(f"the simulated bench did not start: {said or 'no reason given'}")
    told = json.loads(line)
    helpers = {name: told.pop(name) for name in ("thermometer", "switch") if name in told}
    return Ports(told.pop("socket"), told.pop("hislip"), told.pop("hands"), sample=told, helpers=helpers)
