"""A person at the terminal is told each hook-up, in the order of the plan, and may stop."""

from __future__ import annotations

import io
from datetime import UTC, datetime

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


def test_the_settle_time_is_asked_for_until_it_is_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    operator, told = asked("tea time\n2025-03-31 10:20\n", monkeypatch)
    now = datetime(2025, 3, 31, 23, 0, tzinfo=UTC)
    since = operator.settled_since("SKV-0001", 1200.0, now)
    assert since == datetime(2025, 3, 31, 10, 20).astimezone()
    said = " ".join(told.getvalue().split())
    assert "SKV-0001 must lie at the bench for 20 min. Since when has it?" in said
    assert "expected a time like 10:20 or 2026-11-24 22:50, got 'tea time'" in said


def test_enter_alone_means_that_the_unit_has_just_been_laid_there(monkeypatch: pytest.MonkeyPatch) -> None:
    operator, _ = asked("\n", monkeypatch)
    now = datetime(2025, 3, 31, 12, 0, tzinfo=UTC)
    assert operator.settled_since("SKV-0001", 1200.0, now) == now


def test_a_wait_says_how_long_it_takes_and_is_never_too_short() -> None:
    told, slept = io.StringIO(), []
    operator = TerminalOperator("Signe", Console(file=told, width=100), sleep=slept.append)
    operator.wait("SKV-0001", 869.2)
    assert slept == [870]
    assert "SKV-0001 must lie at the bench for 14 min 30 s more; waiting. Ctrl-C to stop." in told.getvalue()


def test_the_temperature_is_asked_for_until_a_unit_can_have_it(monkeypatch: pytest.MonkeyPatch) -> None:
    operator, told = asked("23\n234 °C\n23.4 °C\n", monkeypatch)
    assert operator.temperature_c("SKV-0001") == 23.4
    said = " ".join(told.getvalue().split())
    assert "Temperature of SKV-0001 now?" in said
    assert "'23' has no unit; write a temperature like '23 °C'" in said
    assert "a unit at a bench has -20 to 60 °C, got '234 °C'" in said
    with pytest.raises(KeyboardInterrupt):
        operator.temperature_c("SKV-0001")


@pytest.mark.parametrize(("answer", "goes_on"), [("\n", True), ("no\n", False), ("", False)])
def test_a_standard_that_stays_wrong_is_offered_once_more(
    monkeypatch: pytest.MonkeyPatch, answer: str, goes_on: bool
) -> None:
    operator, told = asked(answer, monkeypatch)
    assert operator.tries_on("port 1 reflects too much for a load; is it one?", 2) is goes_on
    assert (
        "Still wrong after 2 more tries: port 1 reflects too much for a load; is it one?" in told.getvalue()
    )
