"""A fault is told in few words, and carries everything."""

from __future__ import annotations

import pytest

from station.errors import Garbled
from station.instruments.faults import brief_order, fault_of


@pytest.mark.parametrize(
    ("order", "answer", "told"),
    [
        ("INIT", "", "INIT"),
        ("*CLS;:SENS:BAND 10;:SENS:BAND?;:SYST:ERR?", "", "SENS:BAND 10, SENS:BAND? (and 1 with it)"),
        ("SENS:FUNC 'XFR;POW';:INIT;*OPC?;:SYST:ERR?", "", "INIT, *OPC? (and 1 with it)"),
        ("SENS:BAND?;:SOUR:POW?;:SYST:ERR?", "", "SOUR:POW? (and 1 with it)"),
        ("A 1;:BEE 2;:C 3;:SYST:ERR?", '-222,"Data out of range;BEE 2"', "BEE 2 (and 2 with it)"),
        ("SYST:ERR?", "", "SYST:ERR?"),
        ("", "", ""),
    ],
)
def test_of_an_order_the_command_that_matters_is_told(order, answer, told):
    assert brief_order(order, answer, "SYST:ERR?") == told


def test_a_fault_is_short_in_its_message_and_whole_in_what_it_carries():
    order = ";:".join(f"SENS:SETTING{number} {number}" for number in range(30))
    fault = fault_of(Garbled, "what", instrument="it", command=order, answer="x" * 500)
    told = "it: what; command: SENS:SETTING29 29 (and 29 with it); came back: " + "x" * 40 + "..."
    assert str(fault) == told
    assert (fault.command, fault.answer) == (order, "x" * 500)


def test_a_single_command_of_any_length_is_cut():
    fault = fault_of(Garbled, "what", instrument="it", command="LIST " + "1," * 5000)
    assert len(str(fault)) < 100
