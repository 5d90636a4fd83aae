"""Common commands, status and error queue of an instrument without functions of its own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fixtures_sim.scpi import errors, status
from fixtures_sim.scpi.box import Box, Command, Session


class Talk:
    """One conversation with a box."""

    def __init__(self, box: Box) -> None:
        self.box = box
        self.session = Session()

    def __call__(self, message: str) -> str:
        return self.box.converse(message.encode("latin-1"), self.session).decode("latin-1").rstrip("\n")


@pytest.fixture
def talk() -> Talk:
    """With a box just switched on and its power-on event read."""
    box = Box("Maker,Model,0,1")
    box.teach([Command("TEST#:VALue", lambda s, t: None, 1, 2), Command("TEST#:VALue?", lambda s, t: b"7")])
    talk = Talk(box)
    talk("*ESR?")
    return talk


def test_the_published_session(talk: Talk, scpi_rules: Any) -> None:
    talk("*SRE 32")
    for step in scpi_rules["session_example"]:
        if "send" in step:
            assert talk(step["send"]) == ""
        else:
            assert talk(step["query"]) == step["reply"], step


def test_every_error_text_is_the_published_one(scpi_table: Callable[[str], list[dict[str, str]]]) -> None:
    published = {int(row["number"]): row for row in scpi_table("errors.csv")}
    for number, text in errors.TEXTS.items():
        assert text == published[number]["text"]
        if number:
            assert f"ESR bit {errors.event_bit(number)})" in published[number]["event_class"]


def test_bits_are_the_published_ones(scpi_rules: Any) -> None:
    esr = scpi_rules["esr_bits"]
    assert [esr[name] for name in ("OPC", "QYE", "DDE", "EXE", "CME", "PON")] == [
        errors.OPC_BIT,
        errors.QYE_BIT,
        errors.DDE_BIT,
        errors.EXE_BIT,
        errors.CME_BIT,
        errors.PON_BIT,
    ]
    stb = scpi_rules["stb_bits"]
    weights = [1 << stb[name] for name in ("QUES", "MAV", "ESB", "RQS/MSS", "OPER")]
    assert weights == [status.QUES, status.MAV, status.ESB, status.MSS, status.OPER]
    assert 1 << stb["QMA (error/event queue not empty)"] == status.QMA


def test_power_on_is_in_the_event_register() -> None:
    assert Talk(Box("a,b,c,d"))("*ESR?") == "128"


def test_several_answers_come_joined(talk: Talk) -> None:
    assert talk("*IDN?;*OPC?;:SYST:VERS?;*TST?") == "Maker,Model,0,1;1;1999.0;0"


@pytest.mark.parametrize(
    ("message", "number"),
    [
        ("TEST:VAL", -109),
        ("TEST:VAL 1,2,3", -108),
        ("TEST2:VAL 1", -114),
        ("TEST:VAL? 1", -108),
        ("*ESE 256", -222),
        ("*ESE ON", -148),
        ("*TRG", -211),
    ],
)
def test_errors_have_the_standard_number(talk: Talk, message: str, number: int) -> None:
    assert talk(message) == ""
    assert talk("SYST:ERR?").startswith(f"{number},")
    assert talk("*ESR?") == str(1 << errors.event_bit(number))


def test_units_after_an_error_are_carried_out(talk: Talk) -> None:
    assert talk("FOO;*IDN?;:SYST:ERR?") == 'Maker,Model,0,1;-113,"Undefined header"'


def test_error_queue_counts_and_overflows(talk: Talk) -> None:
    for _ in range(status.QUEUE_LENGTH + 3):
        talk("FOO")
    assert talk("SYST:ERR:COUN?") == str(status.QUEUE_LENGTH)
    texts = [talk("SYSTEM:ERROR:NEXT?") for _ in range(status.QUEUE_LENGTH + 1)]
    assert texts == ['-113,"Undefined header"'] * (status.QUEUE_LENGTH - 1) + [
        '-350,"Queue overflow"',
        '0,"No error"',
    ]


def test_all_errors_at_once(talk: Talk) -> None:
    talk("FOO;*ESE")
    assert talk("SYST:ERR:ALL?") == '-113,"Undefined header",-109,"Missing parameter"'
    assert talk("SYST:ERR:ALL?") == '0,"No error"'


def test_details_are_one_line_of_plain_text_and_not_too_long() -> None:
    text = status.error_text(-200, 'a "b"\nc \u2126' + "x" * 300)
    assert text.startswith('-200,"Execution error;a ""b"" c ?xxx')
    assert "\n" not in text
    assert len(text) < 270


def test_clear_empties_queue_and_events_and_keeps_enables(talk: Talk) -> None:
    talk("*ESE 32;*SRE 36;FOO")
    assert int(talk("*STB?")) == 4 + 32 + 64
    talk("*CLS")
    assert talk("*STB?;*ESR?;*ESE?;*SRE?;SYST:ERR?") == '0;0;32;36;0,"No error"'


def test_message_available_while_an_answer_waits(talk: Talk) -> None:
    assert talk("*IDN?;*STB?") == "Maker,Model,0,1;16"


def test_bit_six_cannot_be_enabled(talk: Talk) -> None:
    assert talk("*SRE 255;*SRE?") == "191"


def test_operation_complete_sets_its_bit(talk: Talk) -> None:
    assert talk("*OPC;*ESR?") == "1"


def test_status_registers_latch_filter_and_sum_up(talk: Talk) -> None:
    operation = talk.box.status.operation
    operation.set(3, True)
    assert talk("STAT:OPER:COND?;EVEN?;EVEN?") == "8;8;0"
    talk("STAT:OPER:NTR 8;PTR 0;ENAB 8")
    operation.set(3, False)
    assert talk("*STB?") == "128"
    assert talk("STAT:OPER?") == "8"
    assert talk("STAT:OPER:ENAB?;NTR?;PTR?") == "8;8;0"
    talk("STAT:PRES")
    assert talk("STAT:OPER:ENAB?;NTR?;PTR?") == "0;0;32767"
    assert talk("STAT:QUES:ENAB 2;ENAB?;COND?") == "2;0"
    talk.box.status.questionable.set(1, True)
    assert talk("*STB?") == "8"


def test_a_remembered_message_means_the_same_again(talk: Talk) -> None:
    assert [talk("TEST:VAL?"), talk("TEST:VAL?")] == ["7", "7"]


@given(st.text(alphabet="*:;?,#'\"() \tSYSTERFOOIDN0123456789.eE+-@", max_size=40))
def test_whatever_is_typed_the_box_answers_or_reports(message: str) -> None:
    """No message stops a box: a line that is not understood leaves an error, never an exception."""
    talk = Talk(Box("a,b,c,d"))
    talk("*CLS")
    talk(message)
    assert int(talk("SYST:ERR:COUN?")) >= 0
    assert talk("*IDN?") == "a,b,c,d"
