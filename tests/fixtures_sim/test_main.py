"""The bench as a program of its own."""

from __future__ import annotations

import json
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from typing import Any

import pytest


@pytest.fixture
def start() -> Iterator[Callable[..., subprocess.Popen[str]]]:
    started: list[subprocess.Popen[str]] = []

    def run(*arguments: str) -> subprocess.Popen[str]:
        pipe = subprocess.PIPE
        command = [sys.executable, "-m", "fixtures_sim", *arguments]
        started.append(subprocess.Popen(command, stdin=pipe, stdout=pipe, stderr=pipe, text=True))
        return started[-1]

    yield run
    for program in started:
        if program.poll() is None:
            program.kill()
        program.communicate()


def ports(program: subprocess.Popen[str]) -> dict[str, Any]:
    assert program.stdout is not None
    line = program.stdout.readline()
    said: dict[str, Any] = json.loads(line)
    return said


def test_it_plays_as_it_starts_and_ends_when_stdin_closes(start: Any, raw: Callable[[int], Any]) -> None:
    """A sample unit lies there, hooked up TX to ANT."""
    program = start("--until-stdin-closes", "--seed", "3")
    said = ports(program)
    assert set(said) == {"socket", "hislip", "hands", "thermometer", "model", "serial", "tx_hz", "rx_hz"}
    sample = {"model": "SK-V4", "serial": "SKV-0001", "tx_hz": 156.6e6, "rx_hz": 157.4e6}
    assert sample.items() <= said.items()
    client = raw(said["socket"])
    client.send("SENS:FREQ:STAR 156.6MHZ;STOP 156.6MHZ;:SENS:SWE:POIN 1;:SENS:FUNC 'XFR:POW:S21';:INIT")
    assert -3.0 < float(client.ask("CALC:FORM MLOG;:CALC:DATA?")) < 0.0
    rest = program.communicate(timeout=10)
    assert (program.returncode, rest) == (0, ("", ""))


def test_the_sample_can_be_laid_down_again_as_it_was_told(start: Any, raw: Callable[[int], Any]) -> None:
    """What the ready line says of it is a request to the hands; the same unit reads the same again."""
    program = start("--until-stdin-closes", "--seed", "3")
    said = ports(program)
    client, hands = raw(said["socket"]), raw(said["hands"])
    question = "SENS:FREQ:STAR 156MHZ;STOP 158MHZ;:SENS:SWE:POIN 3;:SENS:FUNC 'XFR:POW:S21';:INIT;:CALC:DATA?"
    client.send("CALC:FORM MLOG")
    first = [float(text) for text in client.ask(question).split(",")]
    keys = ("model", "serial", "tx_hz", "rx_hz")
    assert hands.ask(json.dumps({"do": "place", **{key: said[key] for key in keys}})) == '{"ok": true}'
    assert hands.ask('{"do": "hook up", "first": "TX", "second": "ANT"}') == '{"ok": true}'
    again = [float(text) for text in client.ask(question).split(",")]
    ten_sigma_db = 0.02
    assert again == pytest.approx(first, abs=ten_sigma_db)


def test_other_kinds_of_bench_can_be_asked_for(start: Any, raw: Callable[[int], Any]) -> None:
    """Three ports at once, and two behind a switch, which has a socket of its own."""
    three, switched = start("--ports", "3"), start("--switched")
    assert "three-port" in raw(ports(three)["socket"]).ask("*IDN?")
    said = ports(switched)
    assert "RF switch" in raw(said["switch"]).ask("*IDN?")
    assert "three-port" not in raw(said["socket"]).ask("*IDN?")


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_cleanly(start: Any, number: int) -> None:
    program = start()
    ports(program)
    program.send_signal(number)
    rest = program.communicate(timeout=10)
    assert (program.returncode, rest) == (0, ("", ""))


def test_a_taken_port_is_one_line_and_exit_code_two(start: Any) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        program = start("--hislip-port", str(port))
        out, err = program.communicate(timeout=10)
    assert program.returncode == 2
    assert out == ""
    assert err.splitlines() == [
        f"port {port} on 127.0.0.1 is taken or not allowed; choose another, or 0 for a free one"
    ]


def test_an_uncalibrated_analyzer_a_poor_load_and_a_whole_real_bench_can_be_asked_for(
    start: Any, raw: Callable[[int], Any]
) -> None:
    """Each moves the reading of the same unit by more than noise could."""
    question = (
        "SENS:FREQ:STAR 157.4MHZ;STOP 157.4MHZ;:SENS:SWE:POIN 1;:SENS:FUNC 'XFR:POW:S22';:INIT;:CALC:DATA?"
    )
    read = []
    for arguments in ((), ("--test-port-errors",), ("--load-return-loss-db", "3"), ("--imperfect",)):
        program = start("--until-stdin-closes", *arguments)
        client = raw(ports(program)["socket"])
        client.send("CALC:FORM REAL")
        read.append(float(client.ask(question)))
    assert min(abs(value - read[0]) for value in read[1:]) > 1e-3
