"""Throw-away instruments on loopback that misbehave on purpose, over a raw socket and over HiSLIP."""

from __future__ import annotations

import contextlib
import socket
import struct
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
import pytest

from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import Bench, running_bench

Reply = bytes | tuple[bytes, ...] | None
"""The bytes of an answer, or several parts one after the other; None for none; empty to close the connection."""

Answerer = Callable[[str], Reply]


@dataclass
class Bad:
    """An instrument that answers by a function, at an address of each transport."""

    address: str
    heard: list[str] = field(default_factory=list)
    """Every message that came, in order."""

    connections: int = 0


Serve = Callable[[Answerer], Bad]


@pytest.fixture(params=["socket", "hislip"])
def transport(request: pytest.FixtureRequest) -> str:
    return str(request.param)


@pytest.fixture
def bad(transport: str, bad_on_socket: Serve, bad_on_hislip: Serve) -> Serve:
    """Serve an answering function over each transport in turn."""
    return bad_on_socket if transport == "socket" else bad_on_hislip


@pytest.fixture
def bad_on_socket() -> Iterator[Serve]:
    with _listening("TCPIP::127.0.0.1::{port}::SOCKET", _talk_on_socket) as serve:
        yield serve


@pytest.fixture
def bad_on_hislip() -> Iterator[Serve]:
    with _listening("TCPIP::127.0.0.1::hislip0,{port}::INSTR", _HislipTalk().talk) as serve:
        yield serve


class _listening:
    """Listens on a free port until the test ends, then closes every connection and waits for its thread."""

    def __init__(self, address: str, talk: Callable[[socket.socket, Answerer, Bad], None]) -> None:
        self._address, self._talk = address, talk
        self._open: list[socket.socket] = []
        self._threads: list[threading.Thread] = []

    def __enter__(self) -> Serve:
        return self._serve

    def _serve(self, answer: Answerer) -> Bad:
        listener = socket.create_server(("127.0.0.1", 0))
        bad = Bad(self._address.format(port=listener.getsockname()[1]))
        self._open.append(listener)
        self._start(lambda: self._accept(listener, answer, bad))
        return bad

    def _accept(self, listener: socket.socket, answer: Answerer, bad: Bad) -> None:
        while True:
            try:
                line, _ = listener.accept()
            except OSError:
                return
            self._open.append(line)
            bad.connections += 1
            self._start(lambda line=line: self._guard(line, answer, bad))

    def _guard(self, line: socket.socket, answer: Answerer, bad: Bad) -> None:
        try:
            self._talk(line, answer, bad)
        except OSError:
            pass
        finally:
            line.close()

    def _start(self, target: Callable[[], None]) -> None:
        thread = threading.Thread(target=target, daemon=True)
        self._threads.append(thread)
        thread.start()

    def __exit__(self, *_: object) -> None:
        for line in self._open:
            with contextlib.suppress(OSError):
                line.shutdown(socket.SHUT_RDWR)
            line.close()
        for thread in self._threads:
            thread.join(5)
            assert not thread.is_alive()


def _talk_on_socket(line: socket.socket, answer: Answerer, bad: Bad) -> None:
    with line.makefile("rb") as messages:
        for message in messages:
            text = message.decode("ascii").strip()
            bad.heard.append(text)
            for part in _parts(answer(text)):
                if not part:
                    return
                line.sendall(part)


def _parts(reply: Reply) -> tuple[bytes, ...]:
    if reply is None:
        return ()
    return reply if isinstance(reply, tuple) else (reply,)


class _HislipTalk:
    """As much of IVI-6.1 as a client needs to be answered: two channels, Data and DataEnd."""

    _HEADER = struct.Struct("!2sBBIQ")

    def talk(self, line: socket.socket, answer: Answerer, bad: Bad) -> None:
        while (message := self._receive(line)) is not None:
            kind, parameter, payload = message
            if kind == 0:  # Initialize
                line.sendall(self._HEADER.pack(b"HS", 1, 0, 0x0100_0001, 0))
            elif kind == 17:  # AsyncInitialize
                bad.connections -= 1
                line.sendall(self._HEADER.pack(b"HS", 18, 0, 0, 0))
            elif kind == 15:  # AsyncMaxMsgSize
                line.sendall(self._HEADER.pack(b"HS", 16, 0, 0, 8) + payload)
            elif kind == 7:  # DataEnd
                text = payload.decode("ascii").strip()
                bad.heard.append(text)
                for part in _parts(answer(text)):
                    if not part:
                        return
                    line.sendall(self._HEADER.pack(b"HS", 7, 0, parameter, len(part)) + part)

    def _receive(self, line: socket.socket) -> tuple[int, int, bytes] | None:
        header = self._exactly(line, self._HEADER.size)
        if len(header) < self._HEADER.size:
            return None
        _, kind, _, parameter, length = self._HEADER.unpack(header)
        return kind, parameter, self._exactly(line, length)

    @staticmethod
    def _exactly(line: socket.socket, count: int) -> bytes:
        got = b""
        while len(got) < count and (part := line.recv(count - len(got))):
            got += part
        return got


class Marked:
    """A device whose every S-parameter is another known function of frequency, so that no mix-up goes unseen."""

    label = "marked"

    def s(self, freq_hz: np.ndarray, temperature_c: float = 23.0) -> np.ndarray:
        """S from port j to port i: size 0.01 to 0.09, and a delay of its own. Shape (n, 3, 3)."""
        number = np.arange(1, 10).reshape(3, 3)
        return number / 100 * np.exp(-2j * np.pi * freq_hz[:, None, None] * number * 1e-9)


@pytest.fixture
def marked() -> Marked:
    return Marked()


@pytest.fixture
def bench(marked: Marked) -> Iterator[Bench]:
    """A simulated bench without noise, a marked device hooked up from ANT to RX."""
    with running_bench(device=marked, imperfections=Imperfections(noise=None)) as running:
        running.hook_up("ANT", "RX")
        yield running


@pytest.fixture
def bench_address(bench: Bench, transport: str) -> str:
    return bench.socket_address if transport == "socket" else bench.hislip_address
