"""A person at the terminal is told each hook-up, in the order of the plan, and may stop."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from station.cli.terminal import TerminalOperator
from station.measurements.sweep import Hookup


def asked(answers: str, monkeypatch: pytest.MonkeyPatch) -> tuple[TerminalOperator, io.StringIO]:
    told = io.StringIO()
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    return TerminalOperator("Signe", Console(file=told, width=100)), told


def test_each_cable_and_the_load_are_named_with_their_ports(monkeypatch: pytest.MonkeyPatch) -> None:
    operator, told = asked("\n", monkeypatch)
    operator.hook_up("SKV-0001", Hookup("ANT", "RX"))
    lines = told.getvalue().splitlines()
    assert any("SKV-0001" in line and "ANT-RX" in line for line in lines)
    ends = [line.split() for line in lines if " to unit port " in line]
    assert [(words[0], words[-1]) for words in ends] == [
        ("50", "TX"),
        ("analyzer", "ANT"),
        ("analyzer", "RX"),
    ]


def test_cautions_come_before_the_first_hook_up_and_only_there(monkeypatch: pytest.MonkeyPatch) -> None:
    operator, told = asked("\n\n", monkeypatch)
    operator.hook_up("SKV-0001", Hookup("TX", "ANT"))
    first = told.getvalue()
    operator.hook_up("SKV-0001", Hookup("ANT", "RX"))
    assert first.index("Never key a transmitter") < first.index("Cable SKV-0001")
    assert told.getvalue().count("Never key a transmitter") == 1


def test_the_end_of_input_stops_the_run_instead_of_going_on(monkeypatch: pytest.MonkeyPatch) -> None:
    operator, _ = asked("", monkeypatch)
    with pytest.raises(KeyboardInterrupt):
        operator.hook_up("SKV-0001", Hookup("TX", "ANT"))


def test_a_doubt_is_told_with_its_reason_and_the_hook_up_once_more(monkeypatch: pytest.MonkeyPatch) -> None:
    operator, told = asked("\n\n", monkeypatch)
    operator.hook_up("SKV-0001", Hookup("TX", "ANT"))
    operator.look_again("SKV-0001", Hookup("TX", "ANT"), "the path passes the RX channel")
    said = told.getvalue()
    assert "the path passes the RX channel" in said
    assert said.count("50 ohm load       to unit port RX") == 2
    with pytest.raises(KeyboardInterrupt):
        operator.look_again("SKV-0001", Hookup("TX", "ANT"), "again")
