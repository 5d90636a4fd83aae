"""The bench over TCP: what a client with nothing but pyvisa or a socket sees."""

from __future__ import annotations

import itertools
import socket
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest

from fixtures_sim.analyzers import IDENTITIES
from fixtures_sim.faults import FAULTS, WRONG_IDENTITY, Fault
from fixtures_sim.server import Bench
from fixtures_sim.tcp import PortTaken

NAMES = ("S11", "S21", "S12", "S22")
SEGMENTS = ((150.0e6, 156.0e6, 61), (156.1e6, 158.0e6, 191), (159.0e6, 170.0e6, 23))


def fetched(analyzer: Any, query: str, border: str) -> np.ndarray:
    pairs = analyzer.query_binary_values(query, "d", border == "NORM", container=np.array)
    return np.asarray(pairs, dtype=np.float64).view(np.complex128)


def shape_a(analyzer: Any, border: str) -> dict[str, np.ndarray]:
    """One S-parameter and one segment a sweep."""
    analyzer.write(
        f"*RST;*CLS;:FORM REAL,64;:FORM:BORD {border};:CALC:FORM COMP;:SENS:BAND 3KHZ;:SOUR:POW -5"
    )
    parts: dict[str, list[np.ndarray]] = {name: [] for name in NAMES}
    for (start, stop, points), name in itertools.product(SEGMENTS, NAMES):
        analyzer.write(f"SENS:FREQ:STAR {start!r};STOP {stop!r};:SENS:SWE:POIN {points}")
        assert analyzer.query(f"SENS:FUNC 'XFR:POW:{name}';:INIT;*OPC?").strip() == "1"
        parts[name].append(fetched(analyzer, "CALC:DATA?", border))
    return {name: np.concatenate(values) for name, values in parts.items()}


def shape_b(analyzer: Any, border: str) -> dict[str, np.ndarray]:
    """All four at once over a list of all frequencies."""
    analyzer.write(
        f"*RST;*CLS;:FORM REAL,64;:FORM:BORD {border};:SENS:BAND 3E3;:SOUR:POW -5DBM;:SENS:FUNC:CONC ON"
    )
    analyzer.write("SENS:FUNC:ON " + ",".join(f"'XFR:POW:{name}'" for name in NAMES))
    freq_hz = np.concatenate([np.linspace(*segment) for segment in SEGMENTS])
    analyzer.write("SENS:FREQ:MODE LIST;:SENS:LIST:FREQ " + ",".join(map(repr, freq_hz.tolist())))
    assert analyzer.query("INIT;*OPC?").strip() == "1"
    return {name: fetched(analyzer, f"SENS:DATA? 'XFR:POW:{name}'", border) for name in NAMES}


def test_both_shapes_over_both_links_give_the_same_values(
    device: Any, make_bench: Callable[..., Any], visa: Callable[[str], Any]
) -> None:
    """Bit for bit, noise included, on benches of the same seed."""
    seen = []
    for link, shape, border in (
        ("socket_address", shape_a, "NORM"),
        ("socket_address", shape_b, "SWAP"),
        ("hislip_address", shape_a, "SWAP"),
        ("hislip_address", shape_b, "NORM"),
    ):
        with make_bench(seed=5, device=device) as bench:
            bench.hook_up("TX", "ANT")
            analyzer = visa(getattr(bench, link))
            seen.append(shape(analyzer, border))
            assert analyzer.query("SYST:ERR?").strip() == '0,"No error"'
            analyzer.close()
    for other in seen[1:]:
        for name in NAMES:
            assert np.array_equal(other[name], seen[0][name])


def test_what_is_read_is_the_device_to_within_the_noise(
    bench: Bench, device: Any, visa: Callable[[str], Any]
) -> None:
    seen = shape_b(visa(bench.socket_address), "SWAP")
    s = device.s(np.concatenate([np.linspace(*segment) for segment in SEGMENTS]), 23.0)[:, :2, :2]
    eight_sigma = 8 * (0.002 / 8.686 * np.sqrt(3) + 10 ** (-110 / 20) * np.sqrt(3))
    for name in NAMES:
        error = np.abs(seen[name] - s[:, int(name[1]) - 1, int(name[2]) - 1])
        assert 0 < error.max() < eight_sigma


def test_text_and_both_byte_orders_agree_over_both_links(bench: Bench, visa: Callable[[str], Any]) -> None:
    first = visa(bench.socket_address)
    first.write("CALC:FORM COMP;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:SENS:SWE:POIN 1601;:INIT;*WAI")
    text = np.array(first.query_ascii_values("FORM ASC;:CALC:DATA?"))
    for analyzer in (first, visa(bench.hislip_address)):
        for big, border in ((True, "NORM"), (False, "SWAP")):
            doubles = analyzer.query_binary_values(f"FORM REAL,64;:FORM:BORD {border};:CALC:DATA?", "d", big)
            singles = analyzer.query_binary_values(f"FORM REAL,32;:FORM:BORD {border};:CALC:DATA?", "f", big)
            assert np.array_equal(doubles, text)
            assert np.array_equal(singles, text.astype(np.float32))


def test_two_clients_share_one_instrument_and_its_errors(bench: Bench, visa: Callable[[str], Any]) -> None:
    one, two = visa(bench.socket_address), visa(bench.hislip_address)
    one.write("*CLS;:SENS:BAND 30;:FOO")
    assert one.query("*OPC?").strip() == "1"
    assert float(two.query("SENS:BAND?")) == 30.0
    assert two.query("SYST:ERR?").strip() == '-113,"Undefined header"'
    assert one.query("SYST:ERR?").strip() == '0,"No error"'


def test_messages_may_come_in_pieces_and_many_at_once(bench: Bench, raw: Callable[[int], Any]) -> None:
    client = raw(bench.socket_port)
    for piece in (b"SYST:", b"VERS?", b"\r\n*OPC?\n\n*ID", b"N?\n"):
        client.send(piece)
        time.sleep(0.01)
    assert [client.lines.readline() for _ in range(3)] == [
        b"1999.0\n",
        b"1\n",
        IDENTITIES[2].encode() + b"\n",
    ]


def test_an_endless_message_overruns_the_input_buffer_and_no_more(
    bench: Bench, raw: Callable[[int], Any]
) -> None:
    client = raw(bench.socket_port)
    client.ask("*CLS;*OPC?")
    for _ in range(33):
        client.send(b"x" * (1 << 17))
    client.send(b"\n")
    errors = client.ask("SYST:ERR:ALL?")
    assert '-363,"Input buffer overrun"' in errors
    assert client.ask("*IDN?") == IDENTITIES[2]


@pytest.fixture
def slow(device: Any, make_bench: Callable[..., Any]) -> Iterator[Bench]:
    """Sweeps in real time."""
    with make_bench(seed=7, device=device, real_time=True) as running:
        running.hook_up("TX", "ANT")
        yield running


def test_a_real_sweep_takes_its_time(slow: Bench, raw: Callable[[int], Any]) -> None:
    client = raw(slow.socket_port)
    client.send("SENS:SWE:POIN 101;:SENS:BAND 1KHZ;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ")
    expected_s = float(client.ask("SENS:SWE:TIME?"))
    began = time.perf_counter()
    assert client.ask("INIT;*OPC?") == "1"
    took_s = time.perf_counter() - began
    assert 0.1 < expected_s < 0.13
    assert expected_s <= took_s < expected_s + 1.0


ENDLESS = "SENS:SWE:POIN 20001;:SENS:BAND 1;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT;*OPC?"


def test_abort_from_another_connection_ends_the_wait(slow: Bench, raw: Callable[[int], Any]) -> None:
    waiting, other = raw(slow.socket_port), raw(slow.socket_port)
    waiting.send(ENDLESS)
    while other.ask("STAT:OPER:COND?") != "8":
        time.sleep(0.005)
    other.send("ABOR")
    assert waiting.lines.readline() == b"1\n"
    assert other.ask("*IDN?") == IDENTITIES[2]


def test_stopping_the_bench_ends_a_wait(
    device: Any, make_bench: Callable[..., Any], raw: Callable[[int], Any]
) -> None:
    with make_bench(device=device, real_time=True) as running:
        client = raw(running.socket_port)
        client.send(ENDLESS)
        time.sleep(0.05)
        began = time.perf_counter()
    assert time.perf_counter() - began < 1.0
    assert client.lines.readline() == b""


def test_hanging_up_ends_a_wait_and_leaves_no_thread(slow: Bench, raw: Callable[[int], Any]) -> None:
    before = threading.active_count()
    client = raw(slow.socket_port)
    client.send(ENDLESS)
    time.sleep(0.05)
    assert threading.active_count() == before + 1
    client.close()
    deadline = time.monotonic() + 3.0
    while threading.active_count() > before and time.monotonic() < deadline:
        time.sleep(0.01)
    assert threading.active_count() == before


def test_nothing_is_left_running(
    device: Any, make_bench: Callable[..., Any], raw: Callable[[int], Any]
) -> None:
    before = threading.active_count()
    with make_bench(device=device) as running:
        assert raw(running.socket_port).ask("*OPC?") == "1"
    assert threading.active_count() == before
    with pytest.raises(ConnectionRefusedError):
        socket.create_connection(("127.0.0.1", running.socket_port), timeout=1.0)


def test_a_taken_port_is_said(bench: Bench, make_bench: Callable[..., Any]) -> None:
    before = threading.active_count()
    with (
        pytest.raises(PortTaken, match=f"port {bench.hislip_port} "),
        make_bench(hislip_port=bench.hislip_port),
    ):
        pass
    assert threading.active_count() == before


DATA = "FORM REAL,64;:CALC:FORM COMP;:SENS:SWE:POIN 10;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT;*OPC?"


def test_silence_swallows_one_answer(bench: Bench, raw: Callable[[int], Any]) -> None:
    bench.fault(Fault("silent", when="*IDN?"))
    client = raw(bench.socket_port)
    client.send("*IDN?")
    assert client.ask("*OPC?") == "1"
    assert client.ask("*IDN?") == IDENTITIES[2]


def test_a_late_answer_comes_late_and_before_the_next(bench: Bench, raw: Callable[[int], Any]) -> None:
    bench.fault(Fault("late", when="*IDN?", seconds=0.2))
    client = raw(bench.socket_port)
    began = time.perf_counter()
    client.send("*IDN?\n*OPC?")
    assert client.lines.readline().decode().strip() == IDENTITIES[2]
    assert time.perf_counter() - began >= 0.2
    assert client.lines.readline() == b"1\n"


def test_garbage_and_wrong_identity(bench: Bench, raw: Callable[[int], Any]) -> None:
    client = raw(bench.socket_port)
    bench.fault(Fault("garbage", when="SWE:TIME?"))
    client.send("SENS:SWE:TIME?")
    assert not client.lines.readline().isascii()
    bench.fault(Fault("wrong identity", times=0))
    assert [client.ask("*IDN?") for _ in range(3)] == [WRONG_IDENTITY.decode().strip()] * 3
    bench.faults.clear()
    assert client.ask("*IDN?") == IDENTITIES[2]


def test_a_truncated_block_stops_in_the_middle(bench: Bench, raw: Callable[[int], Any]) -> None:
    client = raw(bench.socket_port)
    assert client.ask(DATA) == "1"
    bench.fault(Fault("truncated block"))
    client.send("CALC:DATA?")
    half = (2 + 3 + 160 + 1) // 2
    assert client.lines.read(half)[:5] == b"#3160"
    client.socket.settimeout(0.1)
    with pytest.raises(TimeoutError):
        client.socket.recv(1)


def test_an_error_appears_in_the_queue(bench: Bench, raw: Callable[[int], Any]) -> None:
    client = raw(bench.socket_port)
    bench.fault(Fault("queued error"))
    assert client.ask(f"*CLS;:{DATA}") == "1"
    assert client.ask("SYST:ERR?") == '-310,"System error"'
    assert client.ask("SYST:ERR?") == '0,"No error"'


@pytest.mark.parametrize("seconds", [0.0, 0.1])
def test_hanging_up_in_mid_sweep(bench: Bench, raw: Callable[[int], Any], seconds: float) -> None:
    client = raw(bench.socket_port)
    bench.fault(Fault("hangs up", seconds=seconds))
    client.send(DATA)
    assert client.lines.readline() == b""
    assert raw(bench.socket_port).ask("*OPC?") == "1"


def test_a_fault_acts_as_often_as_asked(bench: Bench, raw: Callable[[int], Any]) -> None:
    bench.fault(Fault("garbage", when="*OPC?", times=2))
    client = raw(bench.socket_port)
    client.send("*OPC?\n*OPC?\n*OPC?")
    assert [client.lines.readline() == b"1\n" for _ in range(3)] == [False, False, True]


def test_every_fault_has_its_sentence() -> None:
    assert all(FAULTS[kind] for kind in FAULTS)
    for kind in FAULTS:
        Fault(kind)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="the faults are silent, late"):
        Fault("explodes")  # type: ignore[arg-type]


def test_pyvisa_over_a_socket_needs_no_warning_to_be_silenced(
    bench: Bench, visa: Callable[[str], Any]
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert visa(bench.socket_address).query("*IDN?") == IDENTITIES[2]
        assert visa(bench.hislip_address).query("*IDN?") == IDENTITIES[2] + "\n"
