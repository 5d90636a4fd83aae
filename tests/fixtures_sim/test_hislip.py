"""HiSLIP, message by message (IVI-6.1), and as pyvisa uses it."""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest

from fixtures_sim.faults import Fault
from fixtures_sim.hislip import LARGEST_MESSAGE, Type
from fixtures_sim.server import Bench

HEADER = struct.Struct("!2sBBIQ")


class Channel:
    """One connection that speaks raw messages."""

    def __init__(self, port: int) -> None:
        self.socket = socket.create_connection(("127.0.0.1", port), timeout=5.0)

    def send(self, kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        self.socket.sendall(HEADER.pack(b"HS", kind, control, parameter, len(payload)) + payload)

    def receive(self) -> tuple[int, int, int, bytes]:
        prologue, kind, control, parameter, length = HEADER.unpack(self._exactly(16))
        assert prologue == b"HS"
        return kind, control, parameter, self._exactly(length)

    def _exactly(self, count: int) -> bytes:
        data = b""
        while len(data) < count:
            part = self.socket.recv(count - len(data))
            if not part:
                raise EOFError
            data += part
        return data

    def ended(self) -> bool:
        return self.socket.recv(1) == b""


class RawHislip:
    """Both channels of one client."""

    def __init__(self, port: int) -> None:
        self.sync = Channel(port)
        self.sync.send(Type.INITIALIZE, 0, 0x0100 << 16 | 0x7878, b"hislip0")
        self.opening = self.sync.receive()
        self.aside = Channel(port)
        self.aside.send(Type.ASYNC_INITIALIZE, 0, self.opening[2] & 0xFFFF)
        self.aside_opening = self.aside.receive()

    def write(self, text: bytes, number: int, *, delivered: int = 0) -> None:
        self.sync.send(Type.DATA_END, delivered, number, text)

    def status(self, delivered: int = 0) -> int:
        self.aside.send(Type.ASYNC_STATUS_QUERY, delivered, 0)
        kind, control, _, _ = self.aside.receive()
        assert kind == Type.ASYNC_STATUS_RESPONSE
        return control

    def lock(self, name: bytes = b"", timeout_ms: int = 0) -> int:
        self.aside.send(Type.ASYNC_LOCK, 1, timeout_ms, name)
        return self.aside.receive()[1]

    def unlock(self) -> int:
        self.aside.send(Type.ASYNC_LOCK, 0, 0)
        return self.aside.receive()[1]

    def lock_info(self) -> tuple[int, int]:
        self.aside.send(Type.ASYNC_LOCK_INFO)
        return self.aside.receive()[1:3]

    def close(self) -> None:
        self.sync.socket.close()
        self.aside.socket.close()


@pytest.fixture
def connect(bench: Bench) -> Iterator[Callable[[], RawHislip]]:
    clients: list[RawHislip] = []

    def connected() -> RawHislip:
        clients.append(RawHislip(bench.hislip_port))
        return clients[-1]

    yield connected
    for client in clients:
        client.close()


@pytest.fixture
def slow_bench(device: Any, make_bench: Callable[..., Any]) -> Iterator[Bench]:
    """Sweeps in real time; a sweep of 20001 points at 1 Hz takes hours."""
    with make_bench(seed=7, device=device, real_time=True) as running:
        running.hook_up("TX", "ANT")
        yield running


ENDLESS = "SENS:SWE:POIN 20001;:SENS:BAND 1;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT"


def test_opening_agrees_on_version_one_and_synchronised_mode(connect: Callable[[], RawHislip]) -> None:
    one, two = connect(), connect()
    kind, control, parameter, _ = one.opening
    assert (kind, control, parameter >> 16) == (Type.INITIALIZE_RESPONSE, 0, 0x0100)
    assert one.aside_opening[0] == Type.ASYNC_INITIALIZE_RESPONSE
    assert one.opening[2] != two.opening[2]


def test_an_answer_carries_the_number_of_its_question(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.write(b"*OPC?", 0xFFFFFF00)
    assert client.sync.receive() == (Type.DATA_END, 0, 0xFFFFFF00, b"1\n")
    client.write(b"*OPC", 0xFFFFFF02, delivered=1)
    client.write(b"SYST:VERS?\n", 0xFFFFFF04)
    assert client.sync.receive() == (Type.DATA_END, 0, 0xFFFFFF04, b"1999.0\n")


def test_a_message_may_come_in_parts_and_several_in_one(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.sync.send(Type.DATA, 0, 2, b"SYST:V")
    client.write(b"ERS?", 4)
    assert client.sync.receive() == (Type.DATA_END, 0, 4, b"1999.0\n")
    client.write(b"*OPC?\nSYST:VERS?", 6, delivered=1)
    assert [client.sync.receive()[3] for _ in range(2)] == [b"1\n", b"1999.0\n"]


def test_long_answers_are_cut_to_the_size_the_client_takes(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.aside.send(Type.ASYNC_MAXIMUM_MESSAGE_SIZE, 0, 0, (40).to_bytes(8, "big"))
    assert client.aside.receive() == (
        Type.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE,
        0,
        0,
        LARGEST_MESSAGE.to_bytes(8, "big"),
    )
    client.write(b"*IDN?", 8)
    parts = []
    while not parts or parts[-1][0] != Type.DATA_END:
        parts.append(client.sync.receive())
    assert {kind for kind, _, _, _ in parts[:-1]} == {Type.DATA}
    assert max(len(part[3]) for part in parts) == 40 - HEADER.size
    assert {part[2] for part in parts} == {8}
    assert b"".join(part[3] for part in parts).startswith(b"Skerry Works,")


def test_a_new_question_before_the_answer_was_read_interrupts(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.write(b"*CLS;*IDN?", 2)
    client.sync.receive()
    client.write(b"SYST:ERR?", 4, delivered=0)
    assert client.sync.receive()[:3] == (Type.INTERRUPTED, 0, 4)
    assert client.sync.receive() == (Type.DATA_END, 0, 4, b'-410,"Query INTERRUPTED"\n')
    assert client.aside.receive()[:3] == (Type.ASYNC_INTERRUPTED, 0, 4)


def test_status_query_tells_of_an_unread_answer(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.write(b"*CLS;*IDN?", 2)
    client.sync.receive()
    assert client.status(delivered=0) == 16
    assert client.status(delivered=1) == 0
    client.write(b"FOO;*OPC?", 4)
    client.sync.receive()
    assert client.status(delivered=1) == 4


def test_device_clear_ends_a_wait_and_what_was_sent_before_it(
    slow_bench: Bench, connect: Callable[[], RawHislip]
) -> None:
    client = RawHislip(slow_bench.hislip_port)
    client.write(f"{ENDLESS};*OPC?".encode(), 2)
    time.sleep(0.05)
    client.write(b"*IDN?", 4)
    client.aside.send(Type.ASYNC_DEVICE_CLEAR)
    assert client.aside.receive()[0] == Type.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE
    client.sync.send(Type.DEVICE_CLEAR_COMPLETE)
    assert client.sync.receive()[0] == Type.DEVICE_CLEAR_ACKNOWLEDGE
    client.write(b"SYST:VERS?;:STAT:OPER:COND?", 2)
    assert client.sync.receive() == (Type.DATA_END, 0, 2, b"1999.0;8\n")
    client.close()


def test_trigger_message_starts_the_waiting_sweep(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.write(b"SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:TRIG:SOUR BUS;:INIT;:STAT:OPER:COND?", 2)
    assert client.sync.receive()[3] == b"32\n"
    client.sync.send(Type.TRIGGER, 1, 4)
    client.write(b"*OPC?;:STAT:OPER:COND?", 6)
    assert client.sync.receive()[3] == b"1;0\n"


def test_an_exclusive_lock_keeps_the_others_out_until_it_is_released(
    connect: Callable[[], RawHislip],
) -> None:
    one, two = connect(), connect()
    assert one.lock_info() == (0, 0)
    assert one.lock() == 1
    assert two.lock() == 0
    assert two.lock_info() == (1, 1)
    two.write(b"*OPC?", 2)
    two.sync.socket.settimeout(0.1)
    with pytest.raises(TimeoutError):
        two.sync.receive()
    two.sync.socket.settimeout(5.0)
    assert one.lock() == 3
    assert one.unlock() == 1
    assert two.sync.receive()[3] == b"1\n"
    assert two.unlock() == 3


def test_a_lock_is_waited_for_and_freed_by_hanging_up(connect: Callable[[], RawHislip]) -> None:
    one, two = connect(), connect()
    assert one.lock() == 1
    threading.Timer(0.05, one.close).start()
    assert two.lock(timeout_ms=3000) == 1


def test_a_shared_lock_is_shared_by_its_name(connect: Callable[[], RawHislip]) -> None:
    one, two, three = connect(), connect(), connect()
    assert one.lock(b"bench") == 1
    assert two.lock(b"bench") == 1
    assert three.lock(b"other") == 0
    assert three.lock() == 0
    assert three.lock_info() == (0, 2)
    assert one.unlock() == 2


def test_remote_control_is_acknowledged(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.aside.send(Type.ASYNC_REMOTE_LOCAL_CONTROL, 1)
    assert client.aside.receive()[0] == Type.ASYNC_REMOTE_LOCAL_RESPONSE


def test_an_unknown_message_is_an_error_and_the_line_stays(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.sync.send(99, payload=b"?")
    assert client.sync.receive()[:2] == (Type.ERROR, 1)
    client.aside.send(99, payload=b"?")
    assert client.aside.receive()[:2] == (Type.ERROR, 1)
    client.sync.send(Type.DATA_END, 0, 2, b"x" * (LARGEST_MESSAGE + 1))
    assert client.sync.receive()[:2] == (Type.ERROR, 4)
    client.write(b"*OPC?", 4)
    assert client.sync.receive()[3] == b"1\n"


@pytest.mark.parametrize(
    ("first", "code"),
    [
        (b"GET / HTTP/1.1\r\n\r\n", 1),
        (HEADER.pack(b"HS", Type.DATA_END, 0, 0, 0), 3),
        (HEADER.pack(b"HS", Type.ASYNC_INITIALIZE, 0, 4711, 0), 3),
    ],
)
def test_who_opens_wrongly_is_told_and_hung_up_on(bench: Bench, first: bytes, code: int) -> None:
    channel = Channel(bench.hislip_port)
    channel.socket.sendall(first)
    kind, control, _, text = channel.receive()
    assert (kind, control) == (Type.FATAL_ERROR, code)
    assert text
    assert channel.ended()
    channel.socket.close()


def test_data_before_the_second_channel_is_fatal(bench: Bench) -> None:
    channel = Channel(bench.hislip_port)
    channel.send(Type.INITIALIZE, 0, 0x0100 << 16, b"hislip0")
    channel.receive()
    channel.send(Type.DATA_END, 0, 2, b"*IDN?")
    assert channel.receive()[:2] == (Type.FATAL_ERROR, 2)
    channel.socket.close()


def test_losing_one_channel_ends_the_other(connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.aside.socket.close()
    assert client.sync.ended()
    other = connect()
    other.sync.socket.close()
    assert other.aside.ended()


def test_pyvisa_reads_the_status_byte_and_clears(slow_bench: Bench, visa: Callable[[str], Any]) -> None:
    analyzer = visa(slow_bench.hislip_address)
    assert analyzer.query("*CLS;*ESE 32;*SRE 32;FOO;*OPC?") == "1\n"
    assert analyzer.read_stb() == 4 + 32 + 64
    assert analyzer.query("*CLS;*OPC?") == "1\n"
    analyzer.write(f"{ENDLESS};*OPC?")
    time.sleep(0.05)
    analyzer.clear()
    assert analyzer.query("*ESR?;:SYST:ERR?") == '0;0,"No error"\n'


def test_pyvisa_never_takes_a_late_answer_for_the_next_one(bench: Bench, visa: Callable[[str], Any]) -> None:
    """The server says INTERRUPTED, and the late answer carries the number of a question that is over."""
    analyzer = visa(bench.hislip_address)
    analyzer.query("*CLS;*OPC?")
    bench.fault(Fault("late", when="*IDN?", seconds=0.3))
    analyzer.timeout = 100
    with pytest.raises(Exception, match="VI_ERROR_TMO"):
        analyzer.query("*IDN?")
    analyzer.timeout = 3000
    assert analyzer.query("SYST:VERS?") == "1999.0\n"
    assert analyzer.query("SYST:ERR?") == '-410,"Query INTERRUPTED"\n'


def test_a_truncated_block_ends_with_end(bench: Bench, connect: Callable[[], RawHislip]) -> None:
    client = connect()
    client.write(
        b"FORM REAL,64;:CALC:FORM COMP;:SENS:SWE:POIN 10;:SENS:FREQ:STAR 5MHZ;STOP 6MHZ;:INIT;*OPC?", 2
    )
    client.sync.receive()
    bench.fault(Fault("truncated block"))
    client.write(b"CALC:DATA?", 4, delivered=1)
    kind, _, _, payload = client.sync.receive()
    assert kind == Type.DATA_END
    assert payload[:5] == b"#3160"
    assert len(payload) == (5 + 160 + 1) // 2
