"""The bench file: read strictly, and opened as the analyzer it names."""

from __future__ import annotations

import hashlib
import socket
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import yaml

from fixtures_sim.server import running_bench
from fixtures_sim.specimen import combline_pair
from limits.errors import BadInput
from station.bench.file import load
from station.bench.form import bench_schema
from station.bench.opening import dialect_of, open_analyzer, open_analyzer_link, switch_dialect_of
from station.errors import WrongInstrument
from station.instruments.analyzer import Ability, Segment, SweepOrder
from station.instruments.dialect import SHIPPED
from station.measurements.sweep import HOOKUPS, WHOLE, Hookup, SweepSettings

TEXT = """\
bench: final test 1
analyzer:
  kind: vector
  address: TCPIP::127.0.0.1::5025::SOCKET
  dialect: linear-single
  identity: Skerry Works,Simulated vector analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
"""
LOADS = "loads: {TX: load-1.s1p, ANT: load-2.s1p, RX: load-1.s1p}\n"
S1P = "# MHz S MA R 50\n1 0.02 0\n3000 0.04 -90\n"
ORDER = SweepOrder(Hookup("TX", "ANT"), (Segment(1.57e9, 1.58e9, 11),), SweepSettings(1000.0, 1, -10.0))


@pytest.fixture
def write(tmp_path):
    def write(*changes: tuple[str, str]) -> Path:
        text = TEXT
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        path = tmp_path / "bench.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def told(path: Path) -> list[str]:
    with pytest.raises(BadInput) as caught:
        load(path)
    return [str(mistake).removeprefix(f"{path}:") for mistake in caught.value.mistakes]


def test_a_bench_file_tells_name_and_ability(write):
    path = write()
    bench = load(path)
    assert bench.name == "final test 1"
    assert bench.ability == Ability(300e3, 3e9, 1601)
    assert bench.source.digest == hashlib.sha256(path.read_bytes()).hexdigest()
    assert bench.source.text == TEXT


SWITCH = """\
switch:
  address: TCPIP::127.0.0.1::5026::SOCKET
  dialect: route-channels
  identity: Simulated RF switch
"""


def test_a_three_port_analyzer_sweeps_the_whole_unit_at_once(write):
    ability = load(write(("kind: vector", "kind: three-port"))).ability
    assert ability.hookups == (WHOLE,)
    assert ability.cabled is None


def test_behind_a_switch_every_pair_is_swept_and_the_unit_cabled_once(write):
    ability = load(write(("analyzer:\n", f"{SWITCH}analyzer:\n"))).ability
    assert ability.hookups == HOOKUPS
    assert ability.cabled == WHOLE


@pytest.mark.parametrize(
    ("change", "place", "said"),
    [
        (("5026::SOCKET", "http::SOCKET"), "3:12", "'http' is no port"),
        (("identity: Simulated RF switch", "ports: {TX: 1}"), "5:3", "'identity' is missing"),
        (("RF switch", "RF switch\n  ports: {RX: 2}"), "6:10", "cannot be on one port of the switch"),
        (
            ("kind: vector", "kind: three-port"),
            "3:3",
            "only an analyzer of kind 'vector' can be behind a switch",
        ),
    ],
)
def test_each_mistake_of_a_switch_is_told_at_its_place(write, change, place, said):
    path = write(("analyzer:\n", f"{SWITCH}analyzer:\n"), change)
    (mistake,) = told(path)
    assert said in mistake


def test_an_unknown_language_of_a_switch_is_told_at_its_place(write):
    bench = load(write(("analyzer:\n", f"{SWITCH}analyzer:\n"), ("route-channels", "route-chanels")))
    with pytest.raises(BadInput, match=r"4:12: unknown switch dialect 'route-chanels'.*route-channels"):
        switch_dialect_of(bench, None)


@pytest.mark.parametrize(
    ("old", "new", "place", "said"),
    [
        ("kind: vector", "kind: vectr", "3:9", "did you mean 'vector'"),
        ("kind: vector", "kind: oscilloscope", "3:9", "valid are vector, three-port, scalar"),
        ("::5025::SOCKET", "::5025:SOCKET", "4:12", "no name of a device"),
        ("::5025::SOCKET", "::http::SOCKET", "4:12", "'http' is no port"),
        ("::5025::SOCKET", "::70000::SOCKET", "4:12", "'70000' is no port"),
        ("from: 300 kHz", "from: 4 GHz", "8:7", "above 'from'"),
        ("from: 300 kHz", "from: 300 mHz", "7:9", "mHz"),
        ("most_points: 1601", "most_points: 1", "9:16", "at least 2"),
        ("most_points: 1601", "most_points: 1e3", "9:16", "1e3"),
        ("identity:", "identiy:", "6:3", "did you mean 'identity'"),
        (
            " Skerry Works,Simulated vector analyzer",
            ' ""',
            "6:13",
            "a part of the analyzer's answer to *IDN?",
        ),
        (
            " Skerry Works,Simulated vector analyzer",
            ' " "',
            "6:13",
            "write any word here and `station try-dialect` shows it",
        ),
    ],
)
def test_each_mistake_is_told_at_its_place(write, old, new, place, said):
    mistakes = told(write((old, new)))
    assert any(each.startswith(f"{place}:") and said in each for each in mistakes), mistakes


def test_all_mistakes_are_told_at_once(write):
    assert len(told(write(("kind: vector", "kind: x"), ("::SOCKET", "::SOKET"), ("3 GHz", "30 kHz")))) == 3


def test_an_unknown_dialect_is_told_where_the_bench_file_names_it(write, tmp_path):
    path = write(("linear-single", "linear-singel"))
    with pytest.raises(BadInput) as caught:
        dialect_of(load(path), None)
    expected = f"{path}:5:12: unknown dialect 'linear-singel'; did you mean 'linear-single'?"
    assert str(caught.value) == expected


def test_a_dialect_of_the_works_with_a_mistake_is_told_when_the_analyzer_is_opened(write, tmp_path):
    folder = tmp_path / "dialects"
    folder.mkdir()
    text = (SHIPPED / "linear-single.yaml").read_text(encoding="utf-8")
    mine = folder / "mine.yaml"
    mine.write_text(text.replace("linear-single", "mine").replace("{points}", "{pionts}"), encoding="utf-8")
    bench = load(write(("linear-single", "mine")))
    with pytest.raises(BadInput, match="did you mean 'points'"), open_analyzer(bench, folder):
        pass


@pytest.mark.parametrize("dialect", ["linear-single", "list-all"])
def test_the_bench_opens_as_the_analyzer_it_names(write, dialect):
    started = datetime(2025, 3, 31, tzinfo=UTC)
    specimen = combline_pair()
    with running_bench(device=specimen) as running:
        running.hook_up("TX", "ANT")
        path = write(("TCPIP::127.0.0.1::5025::SOCKET", running.socket_address), ("linear-single", dialect))
        with open_analyzer(load(path), now=lambda: started) as analyzer:
            sweep = analyzer.sweep(ORDER)
    true = specimen.s(ORDER.freq_hz)[:, :2, :2]
    noise = 5e-3
    np.testing.assert_allclose(sweep.s, true, atol=noise)
    assert sweep.started == started


def test_a_dialect_of_single_messages_and_another_line_end_is_spoken_so(write, tmp_path):
    text = (SHIPPED / "linear-single.yaml").read_text(encoding="utf-8")
    changes = "dialect: mine\nmessages: single\nline_end: CRLF\n"
    (tmp_path / "mine.yaml").write_text(text.replace("dialect: linear-single\n", changes), encoding="utf-8")
    with socket.create_server(("127.0.0.1", 0)) as listener:
        address = f"TCPIP::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
        path = write(("TCPIP::127.0.0.1::5025::SOCKET", address), ("linear-single", "mine"))
        with open_analyzer_link(load(path), tmp_path) as (link, _):
            link.tell("*CLS")
            link.tell("ABOR")
            line, _ = listener.accept()
            with line, line.makefile("rb") as heard:
                assert [heard.readline(), heard.readline()] == [b"*CLS\r\n", b"ABOR\r\n"]


def test_another_instrument_than_the_named_one_is_refused(write):
    with running_bench() as running:
        path = write(("TCPIP::127.0.0.1::5025::SOCKET", running.socket_address), ("Simulated", "Other"))
        with open_analyzer(load(path)) as analyzer, pytest.raises(WrongInstrument, match="Other vector"):
            analyzer.identify()


def test_opening_sends_nothing(write):
    """An analyzer that is switched off is told at the first order, not where the bench is opened."""
    with open_analyzer(load(write())) as analyzer:
        assert analyzer.ability.most_points == 1601
    with open_analyzer_link(load(write()), None) as (link, dialect):
        assert link.address == "TCPIP::127.0.0.1::5025::SOCKET"
        assert dialect.name == "linear-single"


@pytest.fixture
def write_loads(write, tmp_path):
    """A bench file that ends in these lines, beside two measured loads of which the second is as given."""

    def write_loads(lines: str, second: str = S1P) -> Path:
        (tmp_path / "load-1.s1p").write_text(S1P)
        (tmp_path / "load-2.s1p").write_text(second)
        return write(("most_points: 1601\n", f"most_points: 1601\n{lines}"))

    return write_loads


def test_measured_loads_are_read_from_beside_the_bench_file(write_loads):
    bench = load(write_loads(LOADS, S1P.replace("0.02", "0.03")))
    assert bench.loads is not None
    assert [abs(bench.loads[port].reflection[0]) for port in ("TX", "ANT", "RX")] == [0.02, 0.03, 0.02]
    assert [(each.port, each.name) for each in bench.load_files] == [
        ("TX", "load-1.s1p"),
        ("ANT", "load-2.s1p"),
        ("RX", "load-1.s1p"),
    ]
    assert bench.load_files[0].text == S1P


def test_a_return_loss_alone_is_kept_and_corrects_nothing(write_loads):
    bench = load(write_loads("loads: {return_loss: 40 dB}\n"))
    assert bench.loads is None
    assert bench.source.value.loads.return_loss == 40.0


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (
            "loads: {TX: load-1.s1p, RX: load-1.s1p}\n",
            "10:1: give a Touchstone file for each of TX, ANT and RX",
        ),
        ("loads: {return_loss: 40 dB, TX: load-1.s1p}\n", "10:1: give a Touchstone file for each"),
        ("loads: {}\n", "10:1: give a Touchstone file for each"),
        ("loads: {return_loss: 40}\n", "10:22: "),
        ("loads: {return_loss: -40 dB}\n", "10:22: expected more than 0"),
        (
            "loads: {TX: a.s1p, ANT: a.s1p, RX: a.s1p, RF: a.s1p}\n",
            "10:43: unknown key 'RF'; valid are TX, ANT, RX",
        ),
        (LOADS.replace("load-2", "load-3"), "10:30: there is no file "),
    ],
)
def test_loads_that_cannot_be_used_are_told_at_their_place(write_loads, lines, said):
    mistakes = told(write_loads(lines))
    assert mistakes[0].startswith(said), mistakes


def test_a_mistake_in_a_load_s_own_file_is_told_there(write_loads, tmp_path):
    mistakes = told(write_loads(LOADS, S1P.replace("0.04 -90", "0.04")))
    assert mistakes == [
        f"{tmp_path / 'load-2.s1p'}:3: expected frequency and two numbers, got 2 words; is it the file of a one-port?"
    ]


def test_what_reflects_too_much_for_a_load_is_refused(write_loads):
    (mistake,) = told(write_loads(LOADS, S1P.replace("0.04", "0.98")))
    assert mistake.startswith("10:30: ")
    assert "reflects 0.98; a load reflects at most 0.5" in mistake


def test_a_load_s_file_that_is_no_text_is_refused(write_loads, tmp_path):
    path = write_loads(LOADS)
    (tmp_path / "load-2.s1p").write_bytes(b"\xff\xfe\x00")
    (mistake,) = told(path)
    assert mistake.startswith(f"{tmp_path / 'load-2.s1p'}: is no text")


def test_the_schema_for_editors_takes_the_file():
    schema = bench_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    for lines in ("", LOADS, "loads: {return_loss: 40 dB}\n"):
        jsonschema.validate(yaml.safe_load(TEXT + lines), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(yaml.safe_load(TEXT.replace("300 kHz", "300 mHz")), schema)


THERMOMETER = "thermometer: {address: 'TCPIP::127.0.0.1::5026::SOCKET', identity: Thermometer}\n"


def test_a_thermometer_is_asked_the_usual_question_unless_the_file_names_another(write):
    assert load(write()).source.value.thermometer is None
    thermometer = load(
        write(("bench: final test 1\n", "bench: final test 1\n" + THERMOMETER))
    ).source.value.thermometer
    assert (thermometer.ask, thermometer.identity) == ("MEAS:TEMP?", "Thermometer")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("::SOCKET'", ":SOCKET'", "2:24: '5026:SOCKET' is no name of a device"),
        (", identity: Thermometer", "", "2:1: 'identity' is missing here"),
        (
            "Thermometer}",
            "Thermometer, ask: 'MEAS:TEMP'}",
            "expected a question like 'MEAS:TEMP?', got 'MEAS:TEMP'",
        ),
        ("Thermometer}", "Thermometer, asks: 'MEAS:TEMP?'}", "unknown key 'asks'; did you mean 'ask'?"),
    ],
)
def test_a_mistake_in_the_thermometer_is_told(write, old, new, said):
    bad = THERMOMETER.replace(old, new)
    assert bad != THERMOMETER
    (mistake,) = told(write(("bench: final test 1\n", "bench: final test 1\n" + bad)))
    assert said in mistake


CABLES = """\
cables:
  cable 1: {port: 1, service_after: 500 matings}
  bridge: {port: bridge, service_after: 250 matings}
"""


def test_cables_are_known_by_their_ports_and_limits(write):
    cables = load(write(("bench: final test 1\n", "bench: final test 1\n" + CABLES))).source.value.cables
    assert {name: (form.port, form.service_after) for name, form in cables.items()} == {
        "cable 1": ("1", 500),
        "bridge": ("bridge", 250),
    }
    assert load(write()).source.value.cables == {}


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("port: bridge", "port: brige", "unknown port 'brige'; did you mean 'bridge'?"),
        ("port: bridge", "port: 4", "unknown port '4'; valid are 1, 2, 3, bridge"),
        ("250 matings", "250", "'250' has no unit; write a number of matings like '500 matings'"),
        ("250 matings", "0 matings", "whole and above 0, got '0 matings'"),
        (
            "port: bridge",
            "port: 1",
            "port 1 has 'cable 1' already; name only what is screwed on, which is the saver",
        ),
    ],
)
def test_a_mistake_about_cables_is_told(write, old, new, said):
    bad = CABLES.replace(old, new)
    assert bad != CABLES
    (mistake,) = told(write(("bench: final test 1\n", "bench: final test 1\n" + bad)))
    assert said in mistake
