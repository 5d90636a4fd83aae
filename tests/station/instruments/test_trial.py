"""A dialect tried on the simulated analyzer: every command told, mistakes found, the trial going on after them."""

from __future__ import annotations

import re
import time

import numpy as np
import pytest

from fixtures_sim.faults import Fault
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import running_bench
from station.instruments.analyzer import Ability
from station.instruments.dialect import SHIPPED, find_dialect
from station.instruments.link import open_link
from station.instruments.trial import try_dialect

ABILITY = Ability(300e3, 3e9, 1601)
DIALECTS = ("linear-single", "list-all")
PATIENCE_S = 0.4


@pytest.fixture
def changed(tmp_path):
    """linear-single with changes, as a dialect of the works."""

    def changed(*changes):
        text = (SHIPPED / "linear-single.yaml").read_text(encoding="utf-8")
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        (tmp_path / "linear-single.yaml").write_text(text, encoding="utf-8")
        return find_dialect("linear-single", tmp_path)

    return changed


def tried(address, dialect, **options):
    with open_link(address, patience_s=PATIENCE_S) as link:
        return try_dialect(link, dialect, ABILITY, **options)


def line(lines, sent):
    return next(each for each in lines if each.sent.startswith(sent))


@pytest.mark.parametrize("name", DIALECTS)
def test_a_shipped_dialect_is_fine_in_every_line(bench_address, name):
    lines = tried(bench_address, find_dialect(name, None))
    assert [each for each in lines if not each.fine] == []
    assert lines[0].answer.startswith("Skerry Works,")
    assert lines[-1].answer == "11 complex numbers, the largest -21.9 dB"  # S from ANT to RX is 0.08


def test_the_power_is_low_unless_told_otherwise(bench_address):
    dialect = find_dialect("linear-single", None)
    assert line(tried(bench_address, dialect), "SOUR:POW ").sent == "SOUR:POW -20"
    assert line(tried(bench_address, dialect, power_dbm=-30.0), "SOUR:POW ").sent == "SOUR:POW -30"


def test_more_power_than_harms_nothing_is_refused_before_any_trip():
    dialect = find_dialect("linear-single", None)
    with pytest.raises(ValueError, match=r"at most -10 dBm, not -9\.9 dBm"):
        try_dialect(None, dialect, ABILITY, power_dbm=-9.9)


def test_the_power_limit_itself_is_fine(bench_address):
    assert all(
        each.fine for each in tried(bench_address, find_dialect("linear-single", None), power_dbm=-10.0)
    )


@pytest.mark.parametrize("identity", ["", "Skerry Works,Simulated"])
def test_the_identity_of_the_bench_file_is_fine_where_the_answer_has_it(bench_address, identity):
    lines = tried(bench_address, find_dialect("list-all", None), identity=identity)
    assert lines[0].sent == "*IDN?"
    assert lines[0].fine


def test_another_identity_than_the_bench_file_says_is_told_and_the_trial_goes_on(bench_address):
    lines = tried(bench_address, find_dialect("linear-single", None), identity="any word")
    assert not lines[0].fine
    assert lines[0].answer == "Skerry Works,Simulated vector analyzer,SIM-0001,1.0"
    assert lines[0].advice == (
        "the bench file expects an identity with 'any word': write a part of this answer there, "
        "or connect the instrument it names"
    )
    assert lines[-1].fine


def test_nothing_is_said_of_averaging_where_sweeps_take_no_time(bench_address):
    lines = tried(bench_address, find_dialect("linear-single", None))
    assert not any("averag" in each.answer + each.advice for each in lines)


@pytest.mark.parametrize("name", DIALECTS)
def test_a_start_that_takes_all_averages_is_told_with_its_times(marked, transport, name):
    """In real time 4 sweeps of 11 points at 100 Hz take 0.5 s, and twice that for both directions."""
    with running_bench(device=marked, real_time=True, imperfections=Imperfections(noise=None)) as bench:
        bench.hook_up("ANT", "RX")
        address = bench.socket_address if transport == "socket" else bench.hislip_address
        lines = tried(address, find_dialect(name, None))
    assert [each for each in lines if not each.fine] == []
    assert re.fullmatch(
        r"one start took 0\.\d+ s without averaging, \d\.\d+ s with 4 averages", lines[-1].answer
    )


def test_a_start_that_takes_one_sweep_whatever_the_averages_is_told(bad, changed):
    """The noise would be twice what the settings say."""
    settings = {}

    def answer(message):
        name, _, value = message.partition(" ")
        settings[name] = value
        if message == "*IDN?":
            return b"Skerry Works,One sweep a start,1,0\n"
        if message == "*OPC?":
            time.sleep(0.13)
            return b"1\n"
        if message == "CALC:DATA?":
            return b"#3176" + np.ones(22, ">f8").tobytes() + b"\n"
        if message == "SENS:SWE:TIME?":
            return b"0.13\n"
        if message == "SYST:ERR?":
            return b'0,"No error"\n'
        return settings[name.removesuffix("?")].encode() + b"\n" if message.endswith("?") else None

    dialect = changed(("numbers:", "messages: single\nnumbers:"))
    with open_link(bad(answer).address, joined=False) as link:
        lines = try_dialect(link, dialect, ABILITY)
    assert [each.sent for each in lines if not each.fine] == ["INIT"]
    assert lines[-1].advice.startswith("it seems to take one sweep a start, whatever the averages")


def test_a_misspelt_command_is_told_with_the_error_and_what_to_do(bench_address, changed):
    lines = tried(bench_address, changed(("- SENS:BAND {", "- SENS:BANDWIDT {")))
    wrong = line(lines, "SENS:BANDWIDT")
    assert not wrong.fine
    assert '-113,"Undefined header' in wrong.errors[0]
    assert "spelling" in wrong.advice
    assert lines[-1].fine


def test_a_misspelt_question_is_told_and_the_trial_goes_on(bench_address, changed):
    lines = tried(bench_address, changed(('ask: "SENS:BAND?"', 'ask: "SENS:BNAD?"')))
    wrong = line(lines, "SENS:BNAD?")
    assert not wrong.fine
    assert "-113" in wrong.errors[0]
    assert lines[-1].fine


def test_a_value_out_of_range_is_told_from_a_misspelt_command(bench_address, changed):
    wrong = line(tried(bench_address, changed(), power_dbm=-99.0), "SOUR:POW -99")
    assert "-222" in wrong.errors[0]
    assert "range" in wrong.advice


def test_a_setting_that_was_not_taken_is_told(bench_address, changed):
    lines = tried(bench_address, changed(("SENS:SWE:POIN {points}", "SENS:AVER:COUN {points}")))
    wrong = line(lines, "SENS:SWE:POIN?")
    assert not wrong.fine
    assert "11 was ordered" in wrong.advice


def test_another_form_of_numbers_than_the_dialect_says_is_told(bench_address, changed):
    lines = tried(bench_address, changed(("FORM:DATA REAL,64", "FORM:DATA REAL,32")))
    assert not lines[-1].fine
    assert "form and order of numbers" in lines[-1].advice


def test_silence_is_told_with_what_to_look_at(bench, bench_address, changed):
    bench.fault(Fault("silent", when="SENS:SWE:TIME?"))
    wrong = line(tried(bench_address, changed()), "SENS:SWE:TIME?")
    assert not wrong.fine
    assert "no answer" in wrong.advice


def test_when_nobody_answers_the_trial_ends_after_one_line(transport):
    lines = tried("TCPIP::127.0.0.1::1::SOCKET", find_dialect("linear-single", None))
    assert len(lines) == 1
    assert "check the address" in lines[0].advice
