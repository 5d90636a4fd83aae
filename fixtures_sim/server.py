"""The bench as a whole: fixture, instruments and hands, each behind a TCP port of loopback."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from fixtures_sim.analyzers import VectorAnalyzer
from fixtures_sim.cabling import Slip
from fixtures_sim.device import Device
from fixtures_sim.duplexer import REFERENCE_TEMPERATURE_C
from fixtures_sim.faults import Fault, Faults, carry_out
from fixtures_sim.fixture import Fixture
from fixtures_sim.hands import Hands
from fixtures_sim.hislip import HislipServer
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.keys import key_of
from fixtures_sim.scalar import ScalarAnalyzer, ScalarErrors
from fixtures_sim.scpi.box import Abandoned, Box, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import cut_message
from fixtures_sim.standards import true_kit
from fixtures_sim.sweeper import Sweeper
from fixtures_sim.switch import UNIT_PORTS, Switch
from fixtures_sim.tcp import CHUNK, Listener, still_there
from fixtures_sim.thermometer import Thermometer

LONGEST_MESSAGE = 1 << 22
"""Bytes; longer ones are an input buffer overrun."""


@dataclass(slots=True, eq=False)
class Helper:
    """An instrument beside the analyzer, and what is to go wrong with it."""

    box: Box
    faults: Faults = field(default_factory=Faults)
    port: int = 0


class Bench:
    """A simulated bench; `running_bench` makes one that listens."""

    def __init__(
        self,
        *,
        seed: int,
        real_time: bool,
        imperfections: Imperfections,
        ports: int,
        switched: bool,
        scalar: ScalarErrors | None,
    ) -> None:
        kit = true_kit(np.random.default_rng(key_of(seed, "calibration kit")))
        self.fixture = Fixture(
            REFERENCE_TEMPERATURE_C,
            test_ports=UNIT_PORTS if switched else ports,
            kit=kit,
            connectors=imperfections.connectors,
            seed=seed,
        )
        self.faults = Faults()
        self.switch = Switch(imperfections.switch) if switched else None
        make: Callable[..., Sweeper] = (
            partial(VectorAnalyzer, ports=ports, switch=self.switch)
            if scalar is None
            else partial(ScalarAnalyzer, scalar)
        )
        self.analyzer = make(
            self.fixture,
            seed=seed,
            real_time=real_time,
            clock=time.monotonic,
            imperfections=imperfections,
            faults=self.faults,
        )
        helpers: dict[str, Box] = {"thermometer": Thermometer(self.fixture, seed)}
        if self.switch:
            helpers["switch"] = self.switch
        self.helpers = {name: Helper(box) for name, box in helpers.items()}
        faults = {name: helper.faults for name, helper in self.helpers.items()}
        self.hands = Hands(self.fixture, {"analyzer": self.faults, **faults}, seed)
        self.socket_port = self.hislip_port = self.hands_port = 0
        self._stop = threading.Event()

    def place(self, device: Device) -> None:
        """Lay a device on the fixture; its cables hang open."""
        self.fixture.place(device)

    def hook_up(self, *ports: str) -> None:
        """Test port 1 to the first of the device's `ports` and so on, loads on what is left. Raises ValueError."""
        self.fixture.hook_up(*ports)

    def connect(self, standard: str, *test_ports: int) -> None:
        """A calibration standard on one test port, or between two. Raises ValueError."""
        self.fixture.connect(standard, *test_ports)

    def slip(self, *slips: Slip) -> None:
        """Let each of the next hook-ups go wrong in its way; none lets all go right again."""
        self.fixture.slip(*slips)

    def remove(self) -> None:
        """Take the device away."""
        self.fixture.remove()

    def warm(self, temperature_c: float) -> None:
        """Bring the device to this temperature. Raises ValueError."""
        self.fixture.warm(temperature_c)

    def pass_time(self, hours: float) -> None:
        """Let time pass, for whatever drifts. Raises ValueError."""
        self.fixture.pass_time(hours)

    def fault(self, fault: Fault) -> None:
        """Let something go wrong with the analyzer."""
        self.faults.add(fault)

    def address_of(self, helper: str) -> str:
        """VISA resource name of the `thermometer` or the `switch`."""
        return f"TCPIP::127.0.0.1::{self.helpers[helper].port}::SOCKET"

    @property
    def socket_address(self) -> str:
        """VISA resource name of the analyzer on a raw socket."""
        return f"TCPIP::127.0.0.1::{self.socket_port}::SOCKET"

    @property
    def hislip_address(self) -> str:
        """VISA resource name of the analyzer over HiSLIP."""
        return f"TCPIP::127.0.0.1::hislip0,{self.hislip_port}::INSTR"

    @contextmanager
    def listening(self, socket_port: int, hislip_port: int, hands_port: int) -> Iterator[None]:
        """Be reachable on these ports, 0 for free ones. Raises tcp.PortTaken."""
        hislip = HislipServer(self.analyzer, self.faults, self._stop)
        with ExitStack() as stack:
            listeners = (
                Listener("socket", partial(self._serve_socket, self.analyzer, self.faults), socket_port),
                Listener("hislip", hislip.serve, hislip_port),
                Listener("hands", self._serve_hands, hands_port),
                *(
                    Listener(name, partial(self._serve_socket, helper.box, helper.faults), 0)
                    for name, helper in self.helpers.items()
                ),
            )
            ports = []
            for listener in listeners:
                ports.append(listener.start())
                stack.callback(listener.stop)
            stack.callback(self._stop.set)
            self.socket_port, self.hislip_port, self.hands_port, *rest = ports
            for helper, port in zip(self.helpers.values(), rest, strict=True):
                helper.port = port
            yield

    def _serve_socket(self, box: Box, faults: Faults, connection: socket.socket) -> None:
        session = Session(waiting=lambda: still_there(connection) and not self._stop.is_set())
        buffer = b""
        while chunk := connection.recv(CHUNK):
            buffer += chunk
            while cut := cut_message(buffer):
                message, buffer = cut
                try:
                    reply = carry_out(box, faults, message, session)
                except Abandoned:
                    return
                if reply.after_s:
                    self._stop.wait(reply.after_s)
                if reply.close:
                    return
                if reply.data:
                    connection.sendall(reply.data)
            if len(buffer) > LONGEST_MESSAGE:
                buffer = b""
                box.report(ScpiError(-363))

    def _serve_hands(self, connection: socket.socket) -> None:
        with connection.makefile("rb") as lines:
            for line in lines:
                connection.sendall(self.hands.answer(line))


@contextmanager
def running_bench(
    *,
    seed: int = 1,
    real_time: bool = False,
    device: Device | None = None,
    imperfections: Imperfections | None = None,
    socket_port: int = 0,
    hislip_port: int = 0,
    hands_port: int = 0,
    ports: int = 2,
    switched: bool = False,
    scalar: ScalarErrors | None = None,
) -> Iterator[Bench]:
    """A bench that can be reached until the block ends; `device` lies on it, not hooked up. Raises tcp.PortTaken.

    With `real_time` each sweep takes what it would on an analyzer, else none at all. The vector analyzer has so
    many `ports`; `switched`, a switch box leads its two to the three of the fixture. With `scalar` a spectrum
    analyzer with tracking generator stands there in place of the vector analyzer.
    """
    bench = Bench(
        seed=seed,
        real_time=real_time,
        imperfections=imperfections or Imperfections(),
        ports=ports,
        switched=switched,
        scalar=scalar,
    )
    if device is not None:
        bench.place(device)
    with bench.listening(socket_port, hislip_port, hands_port):
        yield bench
