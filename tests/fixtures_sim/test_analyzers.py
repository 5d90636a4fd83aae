"""The vector analyzer's own commands: settings, sweeps, data, time."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from fixtures_sim.analyzers import IDENTITY, VectorAnalyzer, acquisition_time_s, sweep_time_s
from fixtures_sim.faults import Fault, Faults
from fixtures_sim.fixture import Fixture
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.scpi.box import Session

USUAL = Imperfections()
NO_NOISE = Imperfections(noise=None)


class Talk:
    """One conversation with an analyzer whose clock stands still unless it is moved."""

    def __init__(self, device: Any, *, real_time: bool = False, imperfections: Imperfections = USUAL) -> None:
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
            imperfections=imperfections,
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
def talk(device: Any) -> Talk:
    return Talk(device)


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
    talk: Talk, header: str, value: str, answer: float
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
def test_settings_by_word(talk: Talk, command: str, query: str, answer: str) -> None:
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
def test_mistakes_have_the_standard_number(talk: Talk, command: str, number: int) -> None:
    assert talk(command) == ""
    assert talk.error().startswith(f"{number},")
    assert talk.error() == '0,"No error"'


def test_limits_can_be_asked_for(talk: Talk) -> None:
    asked = talk("SENS:FREQ:STAR? MIN;STOP? MAX;:SENS:SWE:POIN? MAX;:SENS:BAND? DEF;:SOUR:POW? MIN")
    assert [float(text) for text in asked.split(";")] == [300e3, 3e9, 20001, 1e3, -60.0]


def test_center_and_span_move_start_and_stop(talk: Talk) -> None:
    talk("SENS:FREQ:CENT 160MHZ;SPAN 20MHZ")
    assert talk("SENS:FREQ:STAR?;STOP?") == "1.5E+8;1.7E+8"
    talk("SENS:FREQ:STOP 140MHZ")
    assert talk("SENS:FREQ:STAR?;STOP?") == "1.4E+8;1.4E+8"
    talk("SENS:FREQ:CENT 1MHZ;SPAN MAX")
    assert talk("SENS:FREQ:STAR?;STOP?") == "3.0E+5;1.7E+6"


def test_shape_a_reads_the_device_one_parameter_at_a_time(device: Any) -> None:
    talk = Talk(device, imperfections=NO_NOISE)
    talk("SENS:FREQ:STAR 150MHZ;STOP 170MHZ;:SENS:SWE:POIN 11;:CALC:FORM COMP")
    freq_hz = np.linspace(150e6, 170e6, 11)
    s = device.s(freq_hz, 23.0)
    for name, (row, column) in {"S11": (0, 0), "S21": (1, 0), "S12": (0, 1), "S22": (1, 1)}.items():
        assert talk(f"SENS:FUNC 'XFR:POW:{name}';:INIT;*OPC?") == "1"
        assert np.array_equal(talk.complex("CALC:DATA?"), s[:, row, column])


def test_shape_b_reads_all_four_over_a_list(device: Any) -> None:
    talk = Talk(device, imperfections=NO_NOISE)
    names = ("S11", "S21", "S12", "S22")
    listed_hz = np.array([150.0125e6, 151e6, 170e6, 155e6])
    talk("SENS:FUNC:CONC ON;ON " + ",".join(f"'XFR:POW:{name}'" for name in names))
    talk("SENS:FREQ:MODE LIST;:SENS:LIST:FREQ " + ",".join(map(repr, listed_hz.tolist())))
    assert talk("INIT;*OPC?") == "1"
    s = device.s(listed_hz, 23.0)[:, :2, :2]
    for name in names:
        assert np.array_equal(
            talk.complex(f"SENS:DATA? 'XFR:POW:{name}'"), s[:, int(name[1]) - 1, int(name[2]) - 1]
        )


@pytest.mark.parametrize(
    ("first", "second", "rows"),
    [("TX", "ANT", (0, 1)), ("ANT", "RX", (1, 2)), ("TX", "RX", (0, 2)), ("RX", "TX", (2, 0))],
)
def test_port_one_is_on_the_first_port_of_the_hookup(
    device: Any, first: str, second: str, rows: tuple[int, int]
) -> None:
    talk = Talk(device, imperfections=NO_NOISE)
    talk.fixture.hook_up(first, second)
    talk("CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 2;:SENS:FUNC 'XFR:POW:S21';:INIT")
    s = device.s(np.array([5e6, 6e6]), 23.0)
    assert np.array_equal(talk.complex("CALC:DATA?"), s[:, rows[1], rows[0]])


def test_other_formats_show_the_same_values(device: Any) -> None:
    talk = Talk(device, imperfections=NO_NOISE)
    talk("SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 3;:SENS:FUNC 'XFR:POW:S21';:INIT;:CALC:FORM COMP")
    value = talk.complex("CALC:DATA?")
    expected = {
        "MLOG": 20 * np.log10(np.abs(value)),
        "MLIN": np.abs(value),
        "PHAS": np.degrees(np.angle(value)),
        "REAL": value.real,
        "IMAG": value.imag,
        "SWR": (1 + np.abs(value)) / (1 - np.abs(value)),
    }
    for form, values in expected.items():
        talk(f"CALC:FORM {form}")
        assert talk.values("CALC:DATA?") == pytest.approx(values, rel=1e-15)


def test_blocks_of_both_byte_orders_and_text_agree(talk: Talk) -> None:
    talk("SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 51;:CALC:FORM COMP;:INIT")
    text = talk.values("CALC:DATA?")
    for encoding, border, kind in (
        ("REAL,64", "NORM", ">f8"),
        ("REAL,64", "SWAP", "<f8"),
        ("REAL,32", "NORM", ">f4"),
        ("REAL,32", "SWAP", "<f4"),
    ):
        talk(f"FORM {encoding};:FORM:BORD {border}")
        answer = talk.bytes("CALC:DATA?")
        digits = int(answer[1:2])
        assert answer[:1] == b"#"
        assert answer[-1:] == b"\n"
        payload = answer[2 + digits : -1]
        assert len(payload) == int(answer[2 : 2 + digits])
        assert np.array_equal(np.frombuffer(payload, kind).astype(float), text.astype(kind).astype(float))


def test_without_hookup_the_ports_are_open(device: Any) -> None:
    talk = Talk(device, imperfections=NO_NOISE)
    talk.fixture.place(device)
    talk("CALC:FORM COMP;:SENS:SWE:POIN 3;:INIT")
    assert np.array_equal(talk.complex("CALC:DATA?"), np.ones(3))
    talk("SENS:FUNC 'XFR:POW:S21';:INIT")
    assert np.array_equal(talk.complex("CALC:DATA?"), np.zeros(3))


def test_a_device_not_known_at_a_frequency_is_an_execution_error_and_leaves_no_data(talk: Talk) -> None:
    talk("CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT")
    assert talk("CALC:DATA?")
    assert talk("SENS:FREQ:STOP 2GHZ;:INIT;*OPC?") == "1"
    assert talk.error() == '-200,"Execution error;plain device: known from 1 MHz to 1 GHz only"'
    assert talk("CALC:DATA?") == ""
    assert talk.error().startswith("-230,")


def test_asking_for_a_function_that_was_not_swept_is_a_conflict(talk: Talk) -> None:
    talk("SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT")
    assert talk("SENS:DATA? 'XFR:POW:S21'") == ""
    assert talk.error().startswith("-221,")


def test_temperature_reaches_the_device(device: Any) -> None:
    talk = Talk(device, imperfections=NO_NOISE)
    talk.fixture.warm(60.0)
    talk("CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 2;:INIT")
    assert np.array_equal(talk.complex("CALC:DATA?"), device.s(np.array([5e6, 6e6]), 60.0)[:, 0, 0])


ORDER = "CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 101;:SENS:FUNC 'XFR:POW:S21'"


def test_repeated_sweeps_have_new_noise_and_the_same_order_the_same(device: Any) -> None:
    def three(talk: Talk) -> list[str]:
        talk(ORDER)
        return [talk("INIT;:CALC:DATA?") for _ in range(3)]

    once, again = three(Talk(device)), three(Talk(device))
    assert once == again
    assert len(set(once)) == 3


def test_each_hooking_up_has_new_noise_whatever_came_between(device: Any) -> None:
    talk = Talk(device)
    talk(ORDER)
    first = talk("INIT;:CALC:DATA?")
    talk.fixture.hook_up("TX", "RX")
    talk.fixture.hook_up("TX", "ANT")
    second = talk("INIT;:CALC:DATA?")
    other = Talk(device)
    other(ORDER)
    other.fixture.hook_up("TX", "ANT")
    assert other("INIT;:CALC:DATA?") == second != first


def test_noise_does_not_depend_on_how_an_order_is_cut_into_sweeps(device: Any) -> None:
    """Two orders that share frequencies: as segments and as lists, the takes of each frequency are counted alike."""
    low, high, both = np.linspace(5e6, 6e6, 11), np.linspace(7e6, 8e6, 5), slice(None)
    lists = Talk(device)
    lists("CALC:FORM COMP;:SENS:FUNC 'XFR:POW:S21';:SENS:FREQ:MODE LIST")
    seen_in_lists = []
    for order in (np.concatenate([low, high]), low):
        lists("SENS:LIST:FREQ " + ",".join(map(repr, order.tolist())))
        seen_in_lists.append(lists.complex("INIT;:CALC:DATA?"))
    sweeps = Talk(device)
    sweeps("CALC:FORM COMP;:SENS:FUNC 'XFR:POW:S21'")
    seen_in_sweeps = []
    for start, stop, points in ((5, 6, 11), (7, 8, 5), (5, 6, 11)):
        sweeps(f"SENS:FREQ:STAR {start}MHZ;STOP {stop}MHZ;:SENS:SWE:POIN {points}")
        seen_in_sweeps.append(sweeps.complex("INIT;:CALC:DATA?"))
    assert np.array_equal(np.concatenate(seen_in_sweeps[:2]), seen_in_lists[0][both])
    assert np.array_equal(seen_in_sweeps[2], seen_in_lists[1])
    assert not np.array_equal(seen_in_sweeps[2], seen_in_sweeps[0])


def scatter_db(talk: Talk, settings: str) -> float:
    """Rms of what an open transmission path reads."""
    talk(f"*RST;CALC:FORM COMP;:SENS:SWE:POIN 20001;:SENS:FUNC 'XFR:POW:S21';{settings}")
    values = talk.complex("INIT;:CALC:DATA?")
    return 20 * math.log10(float(np.sqrt(np.mean(np.abs(values) ** 2))))


def test_settings_of_the_analyzer_reach_the_noise(talk: Talk) -> None:
    talk.fixture.remove()
    five_sigma_db = 5 * 8.686 / math.sqrt(4 * 20_001)
    for settings, floor_db in (
        ("", -115.0),
        (":SENS:BAND 10KHZ", -105.0),
        (":SENS:AVER:COUN 100", -115.0),
        (":SENS:AVER:COUN 100;STAT ON", -135.0),
        (":SOUR:POW -10", -105.0),
    ):
        assert scatter_db(talk, settings) == pytest.approx(floor_db, abs=five_sigma_db)


def test_80_db_of_isolation_is_read_to_a_tenth_of_a_decibel(device: Any) -> None:
    talk = Talk(device)
    talk.fixture.hook_up("TX", "RX")
    talk(
        "SENS:FREQ:STAR 150MHZ;STOP 170MHZ;:SENS:SWE:POIN 201;:SENS:FUNC 'XFR:POW:S12';:CALC:FORM MLOG;:INIT"
    )
    five_sigma_db = 5 * 8.686 * 10 ** (-35 / 20) / math.sqrt(2)
    assert talk.values("CALC:DATA?").mean() == pytest.approx(-80.0, abs=0.1)
    assert talk.values("CALC:DATA?") == pytest.approx(-80.0, abs=five_sigma_db)


def test_a_sweep_takes_longer_with_points_and_narrow_bandwidths() -> None:
    base = sweep_time_s(201, 1e3)
    assert base == pytest.approx(201 * (1.1e-3 + 30e-6) + 4e-3)
    assert sweep_time_s(2010, 1e3) == pytest.approx(10 * base, rel=0.2)
    assert sweep_time_s(201, 1e2) == pytest.approx(10 * base, rel=0.05)


def test_an_acquisition_is_as_many_sweeps_as_directions_and_averages() -> None:
    assert acquisition_time_s(0.25, 1, ("S11",)) == 0.25
    assert acquisition_time_s(0.25, 1, ("S11", "S21")) == 0.25
    assert acquisition_time_s(0.25, 1, ("S11", "S21", "S12", "S22")) == 0.5
    assert acquisition_time_s(0.25, 16, ("S21",)) == 4.0


@pytest.mark.parametrize(
    "change", ["SENS:AVER:COUN 8;STAT ON", "SENS:FUNC:CONC ON;ON 'XFR:POW:S21','XFR:POW:S12'"]
)
def test_the_sweep_time_told_is_of_one_sweep_in_one_direction(talk: Talk, change: str) -> None:
    """SCPI-1999 volume 2, SENSe:SWEep:TIME: the duration of the sweep."""
    talk(ORDER)
    one = talk("SENS:SWE:TIME?")
    assert float(one) == pytest.approx(sweep_time_s(101, 1e3))
    talk(change)
    assert talk.error() == '0,"No error"'
    assert talk("SENS:SWE:TIME?") == one


def test_one_start_in_real_time_takes_all_averages(device: Any) -> None:
    talk = Talk(device, real_time=True)
    talk(f"{ORDER};:SENS:AVER:COUN 4;STAT ON")
    sweep_s = float(talk("SENS:SWE:TIME?"))
    talk("INIT;*OPC")
    talk.now_s += 3.9 * sweep_s
    assert talk("*ESR?") == "0"
    talk.now_s += 0.2 * sweep_s
    assert talk("*ESR?") == "1"


def test_a_sweep_in_real_time_ends_when_its_time_has_passed(device: Any) -> None:
    talk = Talk(device, real_time=True)
    talk(ORDER)
    time_s = float(talk("SENS:SWE:TIME?"))
    assert talk("INIT;*OPC;*ESR?") == "0"
    assert talk("STAT:OPER:COND?") == "8"
    assert talk("CALC:DATA?") == ""
    assert talk.error().startswith("-230,")
    talk("INIT")
    assert talk.error().startswith("-213,")
    talk("*CLS;*OPC")
    talk.now_s += 0.99 * time_s
    assert talk("*ESR?") == "0"
    talk.now_s += 0.02 * time_s
    assert talk("*ESR?;*OPC?;STAT:OPER:COND?") == "1;1;0"
    assert len(talk.complex("CALC:DATA?")) == 101


def test_abort_ends_a_sweep_and_leaves_no_data(device: Any) -> None:
    talk = Talk(device, real_time=True)
    talk(f"{ORDER};:INIT;:ABOR")
    assert talk("*OPC?;STAT:OPER:COND?") == "1;0"
    assert talk("CALC:DATA?") == ""
    assert talk.error().startswith("-230,")


def test_a_sweep_waits_for_its_trigger(talk: Talk) -> None:
    talk(f"{ORDER};:TRIG:SOUR BUS;:INIT")
    assert talk("STAT:OPER:COND?") == "32"
    assert talk("*TRG;*OPC?") == "1"
    assert talk("STAT:OPER:COND?") == "0"
    assert talk("CALC:DATA?")


def test_continuous_sweeps_give_new_data_each_sweep_time(device: Any) -> None:
    talk = Talk(device, real_time=True)
    talk(f"{ORDER};:INIT:CONT ON")
    assert talk("*OPC?;STAT:OPER:COND?") == "1;8"
    assert talk("CALC:DATA?") == ""
    assert talk.error().startswith("-230,")
    talk.now_s += float(talk("SENS:SWE:TIME?"))
    first = talk("CALC:DATA?")
    assert first
    assert talk("CALC:DATA?") == first
    talk.now_s += float(talk("SENS:SWE:TIME?"))
    assert talk("CALC:DATA?") not in ("", first)
    assert talk("INIT:CONT OFF;:STAT:OPER:COND?") == "0"


def test_with_the_source_off_there_is_only_noise(talk: Talk) -> None:
    talk(f"{ORDER};:OUTP OFF;:INIT")
    assert np.abs(talk.complex("CALC:DATA?")).max() < 1e-4


def test_a_fault_can_spoil_the_first_value(talk: Talk) -> None:
    talk(f"{ORDER};:INIT")
    good = talk.complex("CALC:DATA?")
    talk.faults.add(Fault("not a number"))
    assert talk.values("CALC:DATA?")[:2].tolist() == [9.91e37, 9.91e37]
    assert np.array_equal(talk.complex("CALC:DATA?"), good)
    talk("FORM:DATA REAL,64;BORD SWAP")
    talk.faults.add(Fault("not a number"))
    payload = talk.bytes("CALC:DATA?")[6:-1]
    assert np.isnan(np.frombuffer(payload, "<f8")[:2]).all()


def test_identity_names_an_invented_maker(talk: Talk) -> None:
    assert talk("*IDN?") == IDENTITY
    assert len(IDENTITY.split(",")) == 4
