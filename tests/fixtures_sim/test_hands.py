"""The hands: what they can be asked, and what they say when they cannot."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from fixtures_sim.server import Bench

UNIT = {"do": "place", "model": "SK-V4", "serial": "SKV-0101", "tx_hz": 157.05e6, "rx_hz": 161.65e6}
MEASURED = Path(__file__).parents[1] / "reference" / "measured" / "combline_e1_cap.s2p"


@pytest.fixture
def ask(bench: Bench, raw: Callable[[int], Any]) -> Callable[[Any], dict[str, Any]]:
    client = raw(bench.hands_port)

    def asked(request: Any) -> dict[str, Any]:
        line = request if isinstance(request, str) else json.dumps(request)
        answer: dict[str, Any] = json.loads(client.ask(line))
        return answer

    return asked


def test_a_unit_is_placed_hooked_up_warmed_and_removed(bench: Bench, ask: Callable[[Any], Any]) -> None:
    assert ask({**UNIT, "defects": [{"kind": "pass off", "cavity": 2, "khz": -60}]}) == {"ok": True}
    assert bench.fixture.cabling.device is not None
    assert bench.fixture.cabling.device.label == "SK-V4 SKV-0101"
    assert bench.fixture.cabling.name == "open"
    assert ask({"do": "hook up", "first": "ANT", "second": "RX"}) == {"ok": True}
    assert bench.fixture.cabling.name == "ANT-RX"
    assert ask({"do": "temperature", "celsius": 41.5}) == {"ok": True}
    assert bench.fixture.temperature_c == 41.5
    assert ask({"do": "pass time", "hours": 2.5}) == {"ok": True}
    assert bench.fixture.hours == 2.5
    assert ask({"do": "remove"}) == {"ok": True}
    assert bench.fixture.cabling.device is None


def test_standards_take_the_place_of_the_unit_until_it_is_hooked_up_again(
    bench: Bench, ask: Callable[[Any], Any]
) -> None:
    for standard, ports, name in (("open", [2], "open on 2"), ("through", [1, 2], "through on 1-2")):
        assert ask({"do": "connect", "standard": standard, "ports": ports}) == {"ok": True}
        assert bench.fixture.cabling.name == name
    assert ask({"do": "hook up", "ports": ["ANT"]}) == {"ok": True}
    assert bench.fixture.cabling.name == "ANT"


def test_measured_files_and_specimens_can_lie_there(bench: Bench, ask: Callable[[Any], Any]) -> None:
    assert ask({"do": "place", "touchstone": str(MEASURED)}) == {"ok": True}
    assert ask({"do": "place", "specimen": "combline pair"}) == {"ok": True}
    assert bench.fixture.cabling.device is not None
    assert bench.fixture.cabling.device.label == "combline pair"
    assert ask({"do": "place", "specimen": "check standard"}) == {"ok": True}
    assert bench.fixture.cabling.device.label == "check standard"


def test_the_analyzer_sees_what_the_hands_did(
    bench: Bench, ask: Callable[[Any], Any], visa: Callable[[str], Any]
) -> None:
    analyzer = visa(bench.socket_address)
    analyzer.write("*RST;:SENS:FREQ:STAR 157.05MHZ;STOP 157.05MHZ;:SENS:SWE:POIN 1;:SENS:FUNC 'XFR:POW:S21'")
    ask(UNIT)
    assert float(analyzer.query("INIT;:CALC:DATA?")) < -90.0
    ask({"do": "hook up", "first": "TX", "second": "ANT"})
    assert -3.0 < float(analyzer.query("INIT;:CALC:DATA?")) < 0.0
    ask({"do": "hook up", "first": "TX", "second": "RX"})
    assert -120.0 < float(analyzer.query("INIT;:CALC:DATA?")) < -50.0


def test_the_next_hook_ups_slip_as_often_as_asked_and_no_more(
    bench: Bench, ask: Callable[[Any], Any]
) -> None:
    ask(UNIT)
    ask({"do": "slip", "kind": "swapped", "port": "TX", "other": "RX", "times": 2})
    seen = []
    for _ in range(3):
        ask({"do": "hook up", "first": "TX", "second": "ANT"})
        seen.append(bench.fixture.cabling.name)
    assert seen == ["RX-ANT", "RX-ANT", "TX-ANT"]
    ask({"do": "slip", "kind": "no load"})
    ask({"do": "slip", "kind": "none"})
    ask({"do": "hook up", "first": "TX", "second": "ANT"})
    assert bench.fixture.cabling.name == "TX-ANT"


def test_faults_are_ordered_and_cleared(
    bench: Bench, ask: Callable[[Any], Any], raw: Callable[[int], Any]
) -> None:
    client = raw(bench.socket_port)
    assert ask({"do": "fault", "kind": "wrong identity", "times": 0}) == {"ok": True}
    assert client.ask("*IDN?").startswith("Nobody")
    assert ask({"do": "fault", "kind": "none"}) == {"ok": True}
    assert client.ask("*IDN?").startswith("Skerry Works")


@pytest.mark.parametrize(
    ("request_", "why"),
    [
        ("{", "not a line of JSON"),
        ("[]", "a request is a JSON object"),
        ({"do": "dance"}, "do not know how to 'dance'; can do place, hook up, connect"),
        ({}, "do not know how to None"),
        ({**UNIT, "do": []}, "do not know how to []"),
        ({**UNIT, "model": "SK-X"}, "SK-X"),
        ({**UNIT, "tx_hz": "157"}, "tx_hz must be a number, not '157'"),
        ({**UNIT, "tx_hz": True}, "tx_hz must be a number, not True"),
        ({**UNIT, "colour": "red"}, "do not know 'colour'; known: model, serial"),
        ({**UNIT, "defects": [{"kind": "haunted"}]}, "haunted"),
        ({**UNIT, "defects": ["pass off"]}, "place: a defect is a JSON object"),
        ({**UNIT, "defects": 3}, "place: defects must be a list"),
        ({"do": "place"}, "place: 'model' is missing"),
        ({"do": "place", "touchstone": "/nowhere/x.s2p"}, "/nowhere/x.s2p"),
        ({"do": "place", "specimen": "brick"}, "no specimen 'brick'; there is 'combline pair'"),
        ({"do": "hook up", "first": "TX", "second": "TX"}, "both cables cannot go to TX"),
        ({"do": "hook up", "first": "TX", "second": "X"}, "the ports are TX, ANT, RX"),
        ({"do": "hook up", "first": "TX"}, "'second' is missing"),
        ({"do": "hook up", "ports": ["TX", "ANT", "RX"]}, "the fixture has 2 test ports, not 3"),
        ({"do": "hook up", "ports": "TX"}, "ports must be a list of texts, not 'TX'"),
        ({"do": "connect", "standard": "brick", "ports": [1]}, "there are open, short, load, through"),
        ({"do": "connect", "standard": "open", "ports": [3]}, "no test port 3; the fixture has 1 to 2"),
        ({"do": "connect", "standard": "open", "ports": [1, 2]}, "'open' goes on one test port"),
        ({"do": "connect", "standard": "through", "ports": [1]}, "goes on two different test ports"),
        ({"do": "connect", "standard": "through", "ports": [2, 2]}, "goes on two different test ports"),
        ({"do": "connect", "standard": "terminated", "ports": []}, "goes on one test port or more"),
        ({"do": "connect", "standard": "load", "ports": ["1"]}, "a list of whole numbers, not ['1']"),
        ({"do": "temperature", "celsius": 1e9}, "between -60 and 150 deg C"),
        ({"do": "temperature", "celsius": float("nan")}, "between -60 and 150 deg C"),
        ({"do": "pass time", "hours": -1}, "hours that pass are a finite number, at least 0, not -1"),
        ({"do": "fault", "kind": "explodes"}, "there is no fault 'explodes'; the faults are silent"),
        ({"do": "fault"}, "'kind' is missing"),
        ({"do": "fault", "kind": "silent", "instrument": "kettle"}, "are analyzer, thermometer"),
        ({"do": "fault", "kind": "late", "seconds": "long"}, "seconds must be a number"),
        ({"do": "slip", "kind": "clumsy"}, "no slip is called `clumsy`; there are swapped, not re-cabled"),
        ({"do": "slip", "kind": "left bare"}, "needs `port`"),
        ({"do": "slip", "kind": "left bare", "port": "X"}, "the ports are TX, ANT, RX"),
        ({"do": "slip", "kind": "swapped", "port": "TX", "other": "TX"}, "two different ports"),
        ({"do": "slip", "kind": "not tight", "port": "TX", "ohm": -1, "nh": 1}, "`ohm` is -1"),
        ({"do": "slip", "kind": "not tight", "port": "TX", "ohm": "much", "nh": 1}, "`ohm` is 'much'"),
        ({"do": "fault", "kind": "late", "when": 3}, "when must be a text"),
        ({"do": "fault", "kind": "late", "times": 1.5}, "times must be a whole number"),
    ],
)
def test_what_cannot_be_done_is_said_in_one_line(ask: Callable[[Any], Any], request_: Any, why: str) -> None:
    answer = ask(request_)
    assert answer["ok"] is False
    assert why in answer["why"]
    assert "\n" not in answer["why"]
    assert ask({"do": "remove"}) == {"ok": True}


def test_nothing_to_hook_up_is_said(ask: Callable[[Any], Any]) -> None:
    ask({"do": "remove"})
    assert "place a device first" in ask({"do": "hook up", "first": "TX", "second": "ANT"})["why"]
