"""The vector analyzer's settings: each with its query, its limits and its standard mistakes."""

from __future__ import annotations

from typing import Any

import pytest

SETTINGS = [
    ("SENS:FREQ:STAR", "150 MHZ", 150e6),
    ("SENS:FREQ:STOP", "170MHZ", 170e6),
    ("SENS:FREQ:CENT", "1 GHZ", 1e9),
    ("SENS:FREQ:SPAN", "2E6", 2e6),
    ("SENS:SWE:POIN", "1601", 1601),
    ("SENS:BAND", "30 KHZ", 30e3),
    ("SENS:BAND:RES", "10", 10.0),
    ("SENS:AVER", "ON", 1),
    ("SENS:AVER:COUN", "8", 8),
    ("SOUR:POW", "-10 DBM", -10.0),
    ("SOURCE:POWER:LEVEL:IMMEDIATE:AMPLITUDE", "-3.5", -3.5),
    ("OUTP", "OFF", 0),
    ("INIT:CONT", "ON", 1),
    ("SENS:FUNC:CONC", "ON", 1),
]


@pytest.mark.parametrize(("header", "value", "answer"), SETTINGS)
def test_every_setting_has_its_query_and_goes_back_on_reset(
    talk: Any, header: str, value: str, answer: float
) -> None:
    before = talk(f"{header}?")
    talk(f"{header} {value}")
    assert float(talk(f"{header}?")) == answer
    talk("*RST")
    assert talk(f"{header}?") == before
    assert talk.error() == '0,"No error"'


@pytest.mark.parametrize(
    ("command", "query", "answer"),
    [
        ("SENS:FREQ:MODE LIST", "SENS:FREQ:MODE?", "LIST"),
        ("TRIG:SOUR BUS", "TRIG:SEQ:SOUR?", "BUS"),
        ("CALC:FORM COMPLEX", "CALC:FORM?", "COMP"),
        ("FORM REAL,32", "FORM:DATA?", "REAL,32"),
        ("FORM:DATA REAL", "FORM?", "REAL,64"),
        ("FORM:DATA REAL,64;DATA ASC", "FORM?", "ASC,0"),
        ("FORM:BORD SWAP", "FORM:BORD?", "SWAP"),
        ("SENS:FUNC 'xfr:pow:s21'", "SENS:FUNC?", '"XFR:POW:S21"'),
        ('SENS:FUNC:ON "XFRequency:POWer:S12"', "SENS:FUNC:ON?", '"XFR:POW:S12"'),
        ("SENS:FUNC:CONC ON;ON 'XFR:POW:S21','XFR:POW:S11'", "SENS:FUNC?", '"XFR:POW:S21","XFR:POW:S11"'),
        ("SENS:LIST:FREQ 1MHZ,2MHZ,2.5E6", "SENS:LIST:FREQ?", "1.0E+6,2.0E+6,2.5E+6"),
        ("SENS:LIST:FREQ 1MHZ,2MHZ,2.5E6", "SENS:LIST:FREQ:POIN?", "3"),
    ],
)
def test_settings_by_word(talk: Any, command: str, query: str, answer: str) -> None:
    talk(command)
    assert talk.error() == '0,"No error"'
    assert talk(query) == answer


@pytest.mark.parametrize(
    ("command", "number"),
    [
        ("SENS:FREQ:STAR 1HZ", -222),
        ("SENS:FREQ:STAR 4GHZ", -222),
        ("SENS:SWE:POIN 0", -222),
        ("SENS:SWE:POIN 30000", -222),
        ("SENS:BAND 0.1", -222),
        ("SOUR:POW 20", -222),
        ("SOUR:POW 1HZ", -131),
        ("SENS:SWE:POIN 5HZ", -138),
        ("SENS2:FREQ:STAR 1MHZ", -114),
        ("CALC:FORM NOISE", -141),
        ("SENS:FUNC 'XFR:POW:S31'", -224),
        ("SENS:FUNC XFR", -148),
        ("SENS:FUNC 'XFR:POW:S11','XFR:POW:S21'", -221),
        ("SENS:FUNC:OFF 'XFR:POW:S11'", -221),
        ("FORM REAL,16", -224),
        ("FORM INT,32", -141),
        ("SENS:LIST:FREQ", -109),
        ("SENS:LIST:FREQ 1MHZ,9GHZ", -222),
        ("SENS:LIST:FREQ?", -221),
        ("SENS:FREQ:MODE LIST;:INIT", -221),
        ("INIT:CONT ON;:INIT", -213),
        ("TRIG:SOUR BUS;:INIT:CONT ON", -221),
        ("*TRG", -211),
        ("CALC:DATA?", -230),
        ("SENS:DATA? 'XFR:POW:S11'", -230),
        ("SENS:SWE:TIME 3", -113),
        ("SENS:LIST:FREQ " + ",".join(["1E6"] * 20_002), -223),
    ],
)
def test_mistakes_have_the_standard_number(talk: Any, command: str, number: int) -> None:
    assert talk(command) == ""
    assert talk.error().startswith(f"{number},")
    assert talk.error() == '0,"No error"'


def test_limits_can_be_asked_for(talk: Any) -> None:
    asked = talk("SENS:FREQ:STAR? MIN;STOP? MAX;:SENS:SWE:POIN? MAX;:SENS:BAND? DEF;:SOUR:POW? MIN")
    assert [float(text) for text in asked.split(";")] == [300e3, 3e9, 20001, 1e3, -60.0]


def test_center_and_span_move_start_and_stop(talk: Any) -> None:
    talk("SENS:FREQ:CENT 160MHZ;SPAN 20MHZ")
    assert talk("SENS:FREQ:STAR?;STOP?") == "1.5E+8;1.7E+8"
    talk("SENS:FREQ:STOP 140MHZ")
    assert talk("SENS:FREQ:STAR?;STOP?") == "1.4E+8;1.4E+8"
    talk("SENS:FREQ:CENT 1MHZ;SPAN MAX")
    assert talk("SENS:FREQ:STAR?;STOP?") == "3.0E+5;1.7E+6"
