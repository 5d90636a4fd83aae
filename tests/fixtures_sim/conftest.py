"""What the tests of the simulated bench share: a small device, a bench that listens, clients of several kinds."""

from __future__ import annotations

import csv
import socket
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyvisa
import yaml

from fixtures_sim.analyzers import VectorAnalyzer
from fixtures_sim.device import ComplexArray, FloatArray
from fixtures_sim.faults import Faults
from fixtures_sim.fixture import Fixture
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.scpi.box import Session
from fixtures_sim.server import Bench, running_bench

SCPI_REFERENCE = Path(__file__).parents[1] / "reference" / "scpi"


@dataclass(frozen=True)
class PlainDevice:
    """Nine S-parameters that are all different, turn with frequency, and are known from 1 MHz to 1 GHz only."""

    label: str = "plain device"
    isolation_db: float = 80.0

    def s(self, freq_hz: FloatArray, temperature_c: float) -> ComplexArray:
        if freq_hz.min() < 1e6 or freq_hz.max() > 1e9:
            raise ValueError("plain device: known from 1 MHz to 1 GHz only")
        deep = 10.0 ** (-self.isolation_db / 20.0)
        size = np.array([[0.05, 0.8, deep], [0.81, 0.06, 0.83], [deep * 1.1, 0.84, 0.07]])
        turn = np.exp(-2j * np.pi * freq_hz * (1e-9 + 1e-12 * temperature_c))
        return size * turn[:, None, None]


@pytest.fixture
def device() -> PlainDevice:
    return PlainDevice()


@pytest.fixture
def bench(device: PlainDevice) -> Iterator[Bench]:
    """A bench without waiting times, the plain device hooked up TX to ANT."""
    with running_bench(seed=7, device=device) as running:
        running.hook_up("TX", "ANT")
        yield running


@pytest.fixture
def make_bench() -> Callable[..., Any]:
    """For benches of another kind."""
    return running_bench


Client = Callable[[str], Any]


@pytest.fixture
def visa() -> Iterator[Client]:
    """Opens a resource with nothing but pyvisa."""
    manager = pyvisa.ResourceManager("@py")

    def opened(address: str) -> Any:
        resource = manager.open_resource(address, write_termination="\n", timeout=5000)
        if address.endswith("SOCKET"):
            resource.read_termination = "\n"
        return resource

    yield opened
    manager.close()


class RawClient:
    """A bare socket that asks and reads one line."""

    def __init__(self, port: int) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=5.0)
        self.lines = self.socket.makefile("rb")

    def send(self, text: str | bytes) -> None:
        self.socket.sendall(text if isinstance(text, bytes) else text.encode() + b"\n")

    def ask(self, text: str) -> str:
        self.send(text)
        return self.lines.readline().decode().rstrip("\n")

    def close(self) -> None:
        self.lines.close()
        self.socket.close()


@pytest.fixture
def raw() -> Iterator[Callable[[int], RawClient]]:
    """Opens bare sockets."""
    clients: list[RawClient] = []

    def opened(port: int) -> RawClient:
        clients.append(RawClient(port))
        return clients[-1]

    yield opened
    for client in clients:
        client.close()


@pytest.fixture(scope="session")
def scpi_rules() -> Any:
    """Published rules and cases of the language."""
    return yaml.safe_load((SCPI_REFERENCE / "rules.yaml").read_text())


@pytest.fixture(scope="session")
def scpi_table() -> Callable[[str], list[dict[str, str]]]:
    """A published table of the language, by file name."""

    def read(name: str) -> list[dict[str, str]]:
        lines = (SCPI_REFERENCE / name).read_text().splitlines()
        return list(csv.DictReader(line for line in lines if not line.startswith("#")))

    return read


class Talk:
    """One conversation with an analyzer whose clock stands still unless it is moved."""

    def __init__(
        self, device: Any, *, real_time: bool = False, imperfections: Imperfections | None = None
    ) -> None:
        self.now_s = 100.0
        self.fixture = Fixture(23.0)
        self.fixture.place(device)
        self.fixture.hook_up("TX", "ANT")
        self.faults = Faults()
        self.analyzer = VectorAnalyzer(
            self.fixture,
            seed=3,
            real_time=real_time,
            clock=lambda: self.now_s,
            imperfections=imperfections or Imperfections(),
            faults=self.faults,
        )
        self.session = Session()
        self("*CLS")

    def __call__(self, message: str) -> str:
        return self.bytes(message).decode("latin-1").rstrip("\n")

    def bytes(self, message: str) -> bytes:
        return self.analyzer.converse(message.encode(), self.session)

    def values(self, query: str) -> np.ndarray:
        answer = self(query)
        assert answer, self("SYST:ERR?")
        return np.array([float(text) for text in answer.split(",")])

    def complex(self, query: str) -> np.ndarray:
        return self.values(query).view(np.complex128)

    def error(self) -> str:
        return self("SYST:ERR?")


@pytest.fixture
def make_talk(device: PlainDevice) -> Callable[..., Talk]:
    """Conversations with an analyzer that has the device hooked up TX to ANT; for `real_time` or less noise."""
    return lambda **options: Talk(device, **options)


@pytest.fixture
def talk(make_talk: Callable[..., Talk]) -> Talk:
    return make_talk()
