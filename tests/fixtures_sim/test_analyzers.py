"""The vector analyzer's sweeps: data, hook-ups, noise, time."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fixtures_sim.analyzers import IDENTITIES, sweep_count
from fixtures_sim.faults import Fault
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.sweeper import sweep_time_s

NO_NOISE = Imperfections(noise=None)


def test_shape_a_reads_the_device_one_parameter_at_a_time(make_talk: Any, device: Any) -> None:
    talk = make_talk(imperfections=NO_NOISE)
    talk("SENS:FREQ:STAR 150MHZ;STOP 170MHZ;:SENS:SWE:POIN 11;:CALC:FORM COMP")
    freq_hz = np.linspace(150e6, 170e6, 11)
    s = device.s(freq_hz, 23.0)
    for name, (row, column) in {"S11": (0, 0), "S21": (1, 0), "S12": (0, 1), "S22": (1, 1)}.items():
        assert talk(f"SENS:FUNC 'XFR:POW:{name}';:INIT;*OPC?") == "1"
        assert np.array_equal(talk.complex("CALC:DATA?"), s[:, row, column])


def test_shape_b_reads_all_four_over_a_list(make_talk: Any, device: Any) -> None:
    talk = make_talk(imperfections=NO_NOISE)
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
    make_talk: Any, device: Any, first: str, second: str, rows: tuple[int, int]
) -> None:
    talk = make_talk(imperfections=NO_NOISE)
    talk.fixture.hook_up(first, second)
    talk("CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 2;:SENS:FUNC 'XFR:POW:S21';:INIT")
    s = device.s(np.array([5e6, 6e6]), 23.0)
    assert np.array_equal(talk.complex("CALC:DATA?"), s[:, rows[1], rows[0]])


def test_other_formats_show_the_same_values(make_talk: Any) -> None:
    talk = make_talk(imperfections=NO_NOISE)
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


def test_blocks_of_both_byte_orders_and_text_agree(talk: Any) -> None:
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


def test_without_hookup_the_ports_are_open(make_talk: Any, device: Any) -> None:
    talk = make_talk(imperfections=NO_NOISE)
    talk.fixture.place(device)
    talk("CALC:FORM COMP;:SENS:SWE:POIN 3;:INIT")
    assert np.array_equal(talk.complex("CALC:DATA?"), np.ones(3))
    talk("SENS:FUNC 'XFR:POW:S21';:INIT")
    assert np.array_equal(talk.complex("CALC:DATA?"), np.zeros(3))


def test_on_an_empty_fixture_both_ports_read_open_and_nothing_passes(talk: Any) -> None:
    """What tells a station that nothing is connected: all is reflected, and transmission is the noise floor."""
    talk.fixture.remove()
    talk("SENS:SWE:POIN 201;:CALC:FORM COMP")
    read = {}
    for name in ("S11", "S21", "S12", "S22"):
        talk(f"SENS:FUNC 'XFR:POW:{name}';:INIT")
        read[name] = talk.complex("CALC:DATA?")
    five_sigma_trace, five_sigma_floor = 5 * 0.002 / 8.686, 5 * 10 ** (-115 / 20)
    for name in ("S11", "S22"):
        assert np.abs(read[name] - 1.0).max() < five_sigma_trace
    for name in ("S21", "S12"):
        assert 0.0 < np.abs(read[name]).max() < five_sigma_floor


def test_a_device_not_known_at_a_frequency_is_an_execution_error_and_leaves_no_data(talk: Any) -> None:
    talk("CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT")
    assert talk("CALC:DATA?")
    assert talk("SENS:FREQ:STOP 2GHZ;:INIT;*OPC?") == "1"
    assert talk.error() == '-200,"Execution error;plain device: known from 1 MHz to 1 GHz only"'
    assert talk("CALC:DATA?") == ""
    assert talk.error().startswith("-230,")


def test_asking_for_a_function_that_was_not_swept_is_a_conflict(talk: Any) -> None:
    talk("SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT")
    assert talk("SENS:DATA? 'XFR:POW:S21'") == ""
    assert talk.error().startswith("-221,")


def test_temperature_reaches_the_device(make_talk: Any, device: Any) -> None:
    talk = make_talk(imperfections=NO_NOISE)
    talk.fixture.warm(60.0)
    talk("CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 2;:INIT")
    assert np.array_equal(talk.complex("CALC:DATA?"), device.s(np.array([5e6, 6e6]), 60.0)[:, 0, 0])


ORDER = "CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 101;:SENS:FUNC 'XFR:POW:S21'"


def test_repeated_sweeps_have_new_noise_and_the_same_order_the_same(make_talk: Any) -> None:
    def three(talk: Any) -> list[str]:
        talk(ORDER)
        return [talk("INIT;:CALC:DATA?") for _ in range(3)]

    once, again = three(make_talk()), three(make_talk())
    assert once == again
    assert len(set(once)) == 3


def test_each_hooking_up_has_new_noise_whatever_came_between(make_talk: Any) -> None:
    talk = make_talk()
    talk(ORDER)
    first = talk("INIT;:CALC:DATA?")
    talk.fixture.hook_up("TX", "RX")
    talk.fixture.hook_up("TX", "ANT")
    second = talk("INIT;:CALC:DATA?")
    other = make_talk()
    other(ORDER)
    other.fixture.hook_up("TX", "ANT")
    assert other("INIT;:CALC:DATA?") == second != first


def test_noise_does_not_depend_on_how_an_order_is_cut_into_sweeps(make_talk: Any) -> None:
    """Two orders that share frequencies: as segments and as lists, the takes of each frequency are counted alike."""
    low, high, both = np.linspace(5e6, 6e6, 11), np.linspace(7e6, 8e6, 5), slice(None)
    lists = make_talk()
    lists("CALC:FORM COMP;:SENS:FUNC 'XFR:POW:S21';:SENS:FREQ:MODE LIST")
    seen_in_lists = []
    for order in (np.concatenate([low, high]), low):
        lists("SENS:LIST:FREQ " + ",".join(map(repr, order.tolist())))
        seen_in_lists.append(lists.complex("INIT;:CALC:DATA?"))
    sweeps = make_talk()
    sweeps("CALC:FORM COMP;:SENS:FUNC 'XFR:POW:S21'")
    seen_in_sweeps = []
    for start, stop, points in ((5, 6, 11), (7, 8, 5), (5, 6, 11)):
        sweeps(f"SENS:FREQ:STAR {start}MHZ;STOP {stop}MHZ;:SENS:SWE:POIN {points}")
        seen_in_sweeps.append(sweeps.complex("INIT;:CALC:DATA?"))
    assert np.array_equal(np.concatenate(seen_in_sweeps[:2]), seen_in_lists[0][both])
    assert np.array_equal(seen_in_sweeps[2], seen_in_lists[1])
    assert not np.array_equal(seen_in_sweeps[2], seen_in_sweeps[0])


def scatter_db(talk: Any, settings: str) -> float:
    """Rms of what an open transmission path reads."""
    talk(f"*RST;CALC:FORM COMP;:SENS:SWE:POIN 20001;:SENS:FUNC 'XFR:POW:S21';{settings}")
    values = talk.complex("INIT;:CALC:DATA?")
    return 20 * math.log10(float(np.sqrt(np.mean(np.abs(values) ** 2))))


def test_settings_of_the_analyzer_reach_the_noise(talk: Any) -> None:
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


def test_80_db_of_isolation_is_read_to_a_tenth_of_a_decibel(make_talk: Any) -> None:
    talk = make_talk()
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
    assert sweep_count(1, ("S11",)) == 1
    assert sweep_count(1, ("S11", "S21")) == 1
    assert sweep_count(1, ("S11", "S21", "S12", "S22")) == 2
    assert sweep_count(16, ("S21",)) == 16


@pytest.mark.parametrize(
    "change", ["SENS:AVER:COUN 8;STAT ON", "SENS:FUNC:CONC ON;ON 'XFR:POW:S21','XFR:POW:S12'"]
)
def test_the_sweep_time_told_is_of_one_sweep_in_one_direction(talk: Any, change: str) -> None:
    """SCPI-1999 volume 2, SENSe:SWEep:TIME: the duration of the sweep."""
    talk(ORDER)
    one = talk("SENS:SWE:TIME?")
    assert float(one) == pytest.approx(sweep_time_s(101, 1e3))
    talk(change)
    assert talk.error() == '0,"No error"'
    assert talk("SENS:SWE:TIME?") == one


def test_one_start_in_real_time_takes_all_averages(make_talk: Any) -> None:
    talk = make_talk(real_time=True)
    talk(f"{ORDER};:SENS:AVER:COUN 4;STAT ON")
    sweep_s = float(talk("SENS:SWE:TIME?"))
    talk("INIT;*OPC")
    talk.now_s += 3.9 * sweep_s
    assert talk("*ESR?") == "0"
    talk.now_s += 0.2 * sweep_s
    assert talk("*ESR?") == "1"


def test_a_sweep_in_real_time_ends_when_its_time_has_passed(make_talk: Any) -> None:
    talk = make_talk(real_time=True)
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


def test_abort_ends_a_sweep_and_leaves_no_data(make_talk: Any) -> None:
    talk = make_talk(real_time=True)
    talk(f"{ORDER};:INIT;:ABOR")
    assert talk("*OPC?;STAT:OPER:COND?") == "1;0"
    assert talk("CALC:DATA?") == ""
    assert talk.error().startswith("-230,")


def test_a_sweep_waits_for_its_trigger(talk: Any) -> None:
    talk(f"{ORDER};:TRIG:SOUR BUS;:INIT")
    assert talk("STAT:OPER:COND?") == "32"
    assert talk("*TRG;*OPC?") == "1"
    assert talk("STAT:OPER:COND?") == "0"
    assert talk("CALC:DATA?")


def test_continuous_sweeps_give_new_data_each_sweep_time(make_talk: Any) -> None:
    talk = make_talk(real_time=True)
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


def test_with_the_source_off_there_is_only_noise(talk: Any) -> None:
    talk(f"{ORDER};:OUTP OFF;:INIT")
    assert np.abs(talk.complex("CALC:DATA?")).max() < 1e-4


def test_a_fault_can_spoil_the_first_value(talk: Any) -> None:
    talk(f"{ORDER};:INIT")
    good = talk.complex("CALC:DATA?")
    talk.faults.add(Fault("not a number"))
    assert talk.values("CALC:DATA?")[:2].tolist() == [9.91e37, 9.91e37]
    assert np.array_equal(talk.complex("CALC:DATA?"), good)
    talk("FORM:DATA REAL,64;BORD SWAP")
    talk.faults.add(Fault("not a number"))
    payload = talk.bytes("CALC:DATA?")[6:-1]
    assert np.isnan(np.frombuffer(payload, "<f8")[:2]).all()


def test_identity_names_an_invented_maker(talk: Any) -> None:
    assert talk("*IDN?") == IDENTITIES[2]
    assert len(IDENTITIES[2].split(",")) == 4


def test_three_ports_read_nine_parameters_in_one_hook_up(
    make_bench: Callable[..., Any], visa: Callable[[str], Any], device: Any
) -> None:
    names = [f"S{to}{source}" for to in (1, 2, 3) for source in (1, 2, 3)]
    quiet = Imperfections(noise=None)
    with make_bench(device=device, ports=3, imperfections=quiet) as bench:
        bench.hook_up("RX", "TX", "ANT")
        analyzer = visa(bench.socket_address)
        functions = ",".join(f"'XFR:POW:{name}'" for name in names)
        analyzer.write("*RST;:SENS:FREQ:STAR 100MHZ;STOP 200MHZ;:SENS:SWE:POIN 3;:SENS:FUNC:CONC ON")
        analyzer.write(f"SENS:FUNC:ON {functions};:INIT")
        order = [2, 0, 1]
        truth = device.s(np.linspace(100e6, 200e6, 3), 23.0)[:, order][:, :, order]
        for name in names:
            text = analyzer.query(f"SENS:DATA? 'XFR:POW:{name}'")
            read = np.array([float(value) for value in text.split(",")]).view(complex)
            assert read == pytest.approx(truth[:, int(name[1]) - 1, int(name[2]) - 1], abs=1e-12)
        assert analyzer.query("SYST:ERR?").startswith("0")


def test_an_analyzer_of_two_ports_knows_no_third(talk: Any) -> None:
    talk("SENS:FUNC 'XFR:POW:S31'")
    assert talk.error().startswith("-224")
