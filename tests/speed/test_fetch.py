"""What our link costs over a bare socket, as ratios of medians taken in turn in one run.

Run by hand: `pytest tests/speed`. The instrument is a process of its own that answers from ready bytes, on a
processor core of its own where there are two: so each exchange wakes a sleeping core, as one with an instrument
on the network does. Left to the scheduler the figures jump between two kinds of run, by a factor of five.
"""

from __future__ import annotations

import os
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from station.instruments.block import NumberFormat
from station.instruments.link import open_link

POINTS = 1601
BLOCK_BYTES = 2 + 5 + 16 * POINTS + 1
DOUBLES = NumberFormat("REAL,64", "NORMAL")
ROUNDS, REPEATS = 400, 7


@pytest.fixture(scope="module")
def ports() -> Iterator[tuple[int, int]]:
    script = str(Path(__file__).with_name("answerer.py"))
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with (
        on_one_core() as others,
        subprocess.Popen([sys.executable, script, *others], text=True, **pipes) as process,
    ):
        yield int(process.stdout.readline()), int(process.stdout.readline())
        process.stdin.close()


@contextmanager
def on_one_core() -> Iterator[list[str]]:
    """Keep to one core; what is left is another one for the instrument, or none."""
    cores = sorted(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else []
    if len(cores) < 2:
        yield []
        return
    os.sched_setaffinity(0, {cores[0]})
    try:
        yield [str(cores[1])]
    finally:
        os.sched_setaffinity(0, set(cores))


def bare_socket(port: int) -> socket.socket:
    line = socket.create_connection(("127.0.0.1", port))
    line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return line


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


def ratio(medians: Mapping[str, list[float]], name: str, to: str = "bare") -> float:
    """The middle one of the ratios of the repeats; prints all that was seen."""
    ratios = sorted(a / b for a, b in zip(medians[name], medians[to], strict=True))
    middle = statistics.median(ratios)
    us = {each: f"{1e6 * statistics.median(medians[each]):.0f} us" for each in (to, name)}
    print(  # noqa: T201
        f"\n{name}: {us[name]}, {to}: {us[to]}, ratio {middle:.2f} ({ratios[0]:.2f} to {ratios[-1]:.2f})"
    )
    return middle


def test_a_fetch_costs_at_most_twice_a_bare_socket_and_1_7_over_hislip(ports):
    socket_port, hislip_port = ports
    with (
        bare_socket(socket_port) as line,
        open_link(f"TCPIP::127.0.0.1::{socket_port}::SOCKET") as on_socket,
        open_link(f"TCPIP::127.0.0.1::hislip0,{hislip_port}::INSTR") as on_hislip,
    ):

        def bare() -> np.ndarray:
            line.sendall(b"DATA?\n")
            got = bytearray()
            while len(got) < BLOCK_BYTES:
                got += line.recv(1 << 16)
            return np.frombuffer(got, ">f8", 2 * POINTS, 7).astype(np.float64).view(np.complex128)

        def ours(link) -> np.ndarray:
            return link.ask_numbers("DATA?", DOUBLES, 2 * POINTS).view(np.complex128)

        np.testing.assert_array_equal(bare(), ours(on_socket))
        np.testing.assert_array_equal(bare(), ours(on_hislip))
        calls = {"bare": bare, "socket": lambda: ours(on_socket), "hislip": lambda: ours(on_hislip)}
        medians = in_turn(calls)
    assert ratio(medians, "socket") <= 2.0
    assert ratio(medians, "hislip") <= 1.7


def test_an_order_of_three_commands_and_a_question_costs_one_exchange(ports):
    """Sent one by one with Nagle's rule in force they would wait 40 ms for each other."""
    socket_port, hislip_port = ports
    commands, questions = ("A 1", "B 2", "C 3"), ("X?",)
    address = f"TCPIP::127.0.0.1::{socket_port}::SOCKET"
    with (
        bare_socket(socket_port) as line,
        open_link(address) as joined,
        open_link(address, joined=False) as single,
        open_link(f"TCPIP::127.0.0.1::hislip0,{hislip_port}::INSTR") as on_hislip,
    ):

        def bare() -> bytes:
            line.sendall(b"A 1;:B 2;:C 3;:X?;:SYST:ERR?\n")
            return line.recv(4096)

        medians = in_turn(
            {
                "bare": bare,
                "joined on a socket": lambda: joined.order(commands, questions),
                "joined over hislip": lambda: on_hislip.order(commands, questions),
                "one by one on a socket": lambda: single.order(commands, questions),
            }
        )
    assert ratio(medians, "joined on a socket") <= 2.0
    assert ratio(medians, "joined over hislip") <= 2.0
    ratio(medians, "one by one on a socket")
    assert statistics.median(medians["one by one on a socket"]) < 0.005
