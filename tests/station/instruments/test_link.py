"""The link against instruments that misbehave on purpose: each fault is told apart, named, and survived."""

from __future__ import annotations

import contextlib
import signal
import socket
import struct
import threading
import time
from collections.abc import Callable

import numpy as np
import pytest

from station.errors import (
    Garbled,
    Gone,
    Refused,
    Silent,
    Unreachable,
    WrongInstrument,
)
from station.instruments.block import NumberFormat
from station.instruments.link import Link, open_link

IDENTITY = "Skerry Works,Bad instrument,1,0"
DOUBLES = NumberFormat("REAL,64", "NORMAL")
SHORT_S = 0.25
"""Long enough for a loaded machine to answer on loopback, short enough to wait for in a test."""


def polite(question: str) -> bytes | None:
    """What a good instrument says to the common questions."""
    if question == "*IDN?":
        return IDENTITY.encode() + b"\n"
    if question == "SYST:ERR?":
        return b'0,"No error"\n'
    if question.endswith("?"):
        return b"1\n"
    return None


def answering(**answers: bytes | tuple[bytes, ...] | None) -> Callable[[str], bytes | None]:
    """A polite instrument, but for the questions named (without their question mark)."""
    return lambda question: (
        answers[question.removesuffix("?")] if question.removesuffix("?") in answers else polite(question)
    )


def a_block(*values: float) -> bytes:
    data = np.array(values, ">f8").tobytes()
    length = str(len(data)).encode()
    return b"#" + str(len(length)).encode() + length + data + b"\n"


def test_an_answer_comes_back_as_text(bad):
    with open_link(bad(polite).address) as link:
        assert link.identify() == IDENTITY
        assert link.ask("*OPC?") == "1"


def test_a_block_may_contain_line_ends(bad):
    """0x0A inside the data is data: 0x0A0A... is a double like any other."""
    value = struct.unpack(">d", b"\x0a" * 8)[0]
    with open_link(bad(answering(DATA=a_block(value, 1.5, value))).address) as link:
        assert [value, 1.5, value] == list(link.ask_numbers("DATA?", DOUBLES, 3))
        assert link.identify() == IDENTITY


def test_a_large_block_arrives_whole(bad):
    values = np.random.default_rng(1).normal(size=200_000)
    with open_link(bad(answering(DATA=a_block(*values))).address) as link:
        np.testing.assert_array_equal(values, link.ask_numbers("DATA?", DOUBLES, values.size))


def test_ascii_numbers_are_read(bad):
    with open_link(bad(answering(DATA=b"1.5,-2.25E-3,+7\n")).address) as link:
        assert list(link.ask_numbers("DATA?", NumberFormat("ASCII"), 3)) == [1.5, -2.25e-3, 7.0]


def test_an_order_is_one_message_that_ends_in_the_error_query(bad):
    served = bad(lambda _: b'3;1;0,"No error"\n')
    with open_link(served.address) as link:
        assert link.order(["A 1", "*CLS"], ["B?", "*OPC?"]) == ("3", "1")
    assert served.heard == ["A 1;*CLS;:B?;*OPC?;:SYST:ERR?"]


def test_an_instrument_that_takes_one_command_a_message_gets_them_so(bad):
    served = bad(polite)
    with open_link(served.address, joined=False) as link:
        assert link.order(["A 1", "*CLS"], ["B?", "*OPC?"]) == ("1", "1")
    assert served.heard == ["A 1", "*CLS", "B?", "*OPC?", "SYST:ERR?"]


def test_an_error_in_the_queue_is_quoted_with_all_that_follow(bad):
    queue = [b'-113,"Undefined header"\n', b'0,"No error"\n']

    def answer(message: str) -> bytes | None:
        return queue.pop(0) if message == "SYST:ERR?" else b'-222,"Data out of range; FREQ"\n'

    with open_link(bad(answer).address) as link, pytest.raises(Refused) as caught:
        link.order(["FREQ 1"])
    assert caught.value.answer == '-222,"Data out of range; FREQ"; -113,"Undefined header"'
    assert caught.value.command == "FREQ 1;:SYST:ERR?"


def test_a_long_order_is_told_by_the_command_that_was_refused_and_carried_whole(bad):
    queue = [b'-222,"Data out of range;LIST"\n']

    def answer(message: str) -> bytes | None:
        return queue.pop() if queue and message.endswith("SYST:ERR?") else polite(message)

    numbers = ",".join(str(number) for number in range(5000))
    with open_link(bad(answer).address) as link, pytest.raises(Refused) as caught:
        link.order(["A 1", f"LIST {numbers}", "B 2"])
    assert caught.value.command == f"A 1;:LIST {numbers};:B 2;:SYST:ERR?"
    assert "command: LIST 0,1,2," in str(caught.value)
    assert "... (and 2 with it); came back: -222" in str(caught.value)
    assert len(str(caught.value)) < 260


def test_a_spoilt_answer_is_told_by_its_beginning_and_carried_whole(bad):
    served = bad(answering(NAME=b"\xef\xff" * 200 + b"\n"))
    with open_link(served.address) as link, pytest.raises(Garbled) as caught:
        link.ask("NAME?")
    assert len(str(caught.value).partition("came back: ")[2]) < 65
    assert caught.value.answer.count("\\xef\\xff") == 200


def test_an_error_queue_without_end_does_not_hold_us(bad):
    with open_link(bad(lambda _: b'-350,"Queue overflow"\n').address) as link, pytest.raises(Garbled):
        link.errors()


def test_a_refused_port_is_unreachable_at_the_first_question(transport):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
    address = f"TCPIP::127.0.0.1::{port}::SOCKET"
    if transport == "hislip":
        address = f"TCPIP::127.0.0.1::hislip0,{port}::INSTR"
    with open_link(address) as link, pytest.raises(Unreachable) as caught:
        link.identify()
    assert f"analyzer at {address}" == caught.value.instrument
    assert isinstance(caught.value.__cause__, Exception)


def test_a_silent_instrument_is_silent_after_the_time_given(bad):
    with open_link(bad(lambda _: None).address, patience_s=SHORT_S) as link:
        begun = time.monotonic()
        with pytest.raises(Silent) as caught:
            link.identify()
        assert SHORT_S <= time.monotonic() - begun < 4 * SHORT_S
    assert caught.value.command == "*IDN?"


def test_waiting_for_silence_costs_no_processor(bad):
    with open_link(bad(lambda _: None).address, patience_s=SHORT_S) as link:
        begun = time.thread_time()
        with pytest.raises(Silent):
            link.identify()
        assert time.thread_time() - begun < SHORT_S / 2


def test_a_late_answer_is_never_taken_for_the_next_one(bad):
    """Late and at once answers are different numbers, so a mix-up would show."""
    released = threading.Event()

    def answer(question: str) -> bytes | None:
        if question == "SLOW?":
            released.wait(5)
            return b"111\n"
        return b"222\n" if question == "FAST?" else polite(question)

    served = bad(answer)
    with open_link(served.address, patience_s=SHORT_S) as link:
        assert link.identify() == IDENTITY
        with pytest.raises(Silent):
            link.ask("SLOW?")
        released.set()
        time.sleep(0.05)
        assert link.ask("FAST?") == "222"
        assert link.identify() == IDENTITY
    assert served.connections == 2


def test_a_late_answer_to_an_interrupted_question_is_dropped(bad):
    """Ctrl-C while waiting leaves an answer on its way too."""
    main = threading.main_thread().ident

    def answer(question: str) -> bytes | None:
        if question != "SLOW?":
            return b"222\n" if question == "FAST?" else polite(question)
        signal.pthread_kill(main, signal.SIGINT)
        time.sleep(0.05)
        return b"111\n"

    with open_link(bad(answer).address) as link:
        assert link.identify() == IDENTITY
        with pytest.raises(KeyboardInterrupt):
            link.ask("SLOW?")
        time.sleep(0.1)
        assert link.ask("FAST?") == "222"


def test_an_answer_nobody_asked_for_is_not_believed(bad_on_socket):
    """Two lines for one question: the second must not answer the next question."""
    with open_link(bad_on_socket(answering(TWO=b"1\n2\n", FAST=b"222\n")).address) as link:
        with contextlib.suppress(Garbled):
            link.ask("TWO?")
        assert link.ask("FAST?") == "222"


def test_another_instrument_at_the_same_address_is_noticed(bad):
    identities = [IDENTITY, "Skerry Works,Another,2,0"]

    def answer(question: str) -> bytes | None:
        return identities.pop(0).encode() + b"\n" if question == "*IDN?" else b"" if identities[1:] else None

    with open_link(bad(answer).address, patience_s=SHORT_S) as link:
        link.identify()
        link.close()
        with pytest.raises(WrongInstrument) as caught:
            link.ask("*OPC?")
    assert caught.value.answer == "Skerry Works,Another,2,0"


def test_the_end_of_the_connection_is_noticed_at_once(bad):
    served = bad(answering(DATA=b""))
    with open_link(served.address, patience_s=30) as link:
        begun = time.monotonic()
        with pytest.raises(Gone):
            link.ask_numbers("DATA?", DOUBLES, 2)
        assert time.monotonic() - begun < 3
        assert link.identify() == IDENTITY


def test_an_end_in_the_middle_of_a_block_is_noticed_at_once(bad_on_socket):
    served = bad_on_socket(answering(DATA=(a_block(1.0, 2.0)[:-5], b"")))
    with open_link(served.address, patience_s=30) as link:
        link.identify()
        begun = time.monotonic()
        with pytest.raises(Gone) as caught:
            link.ask_numbers("DATA?", DOUBLES, 2)
        assert time.monotonic() - begun < 3
    assert "#216" in caught.value.answer


@pytest.mark.parametrize(
    "reply",
    [
        b"-1.5,2.5\n",
        b"#A5hello\n",
        b"#2x5hello\n",
        b"#15hellooo\n",
        b"#13abc\n",
        a_block(1.0, float("nan")),
        a_block(1.0, float("inf")),
        a_block(1.0, -float("inf")),
        a_block(9.91e37),
        a_block(1.0, -9.9e37),
    ],
)
def test_nonsense_for_a_block_is_garbled_and_survived(bad, reply):
    with open_link(bad(answering(DATA=reply)).address, patience_s=SHORT_S) as link:
        with pytest.raises(Garbled) as caught:
            link.ask_numbers("DATA?", DOUBLES, 2)
        assert caught.value.command == "DATA?"
        assert caught.value.answer
        assert "were expected" not in caught.value.what
        assert link.identify() == IDENTITY


@pytest.mark.parametrize(
    "reply", [b"1,x\n", b"\n", b"1,,2\n", b"9.91E37\n", b"NAN\n", b"\xff\xfe\n", b"1;2\n"]
)
def test_nonsense_for_ascii_numbers_is_garbled(bad, reply):
    with open_link(bad(answering(DATA=reply)).address) as link, pytest.raises(Garbled) as caught:
        link.ask_numbers("DATA?", NumberFormat("ASCII"), 2)
    assert "were expected" not in caught.value.what


def test_another_count_of_numbers_than_expected_is_garbled(bad):
    with (
        open_link(bad(answering(DATA=a_block(1.0, 2.0))).address) as link,
        pytest.raises(Garbled, match="3 numbers were expected and 2 came"),
    ):
        link.ask_numbers("DATA?", DOUBLES, 3)


def test_an_answer_that_is_not_ascii_is_garbled(bad):
    with open_link(bad(answering(NAME=b"caf\xe9\n")).address) as link, pytest.raises(Garbled):
        link.ask("NAME?")


def test_a_truncated_block_on_a_socket_is_silence_that_shows_what_came(bad_on_socket):
    """Nothing tells a raw socket that no more will come, so this is the time-out; what came is shown."""
    served = bad_on_socket(answering(DATA=a_block(1.0, 2.0)[:-6]))
    with open_link(served.address, patience_s=SHORT_S) as link:
        with pytest.raises(Silent) as caught:
            link.ask_numbers("DATA?", DOUBLES, 2)
        assert "#216" in caught.value.answer
        assert link.identify() == IDENTITY


def test_a_truncated_block_over_hislip_is_garbled_at_once(bad_on_hislip):
    """The message ends before the block does; reading on would spin for ever."""
    served = bad_on_hislip(answering(DATA=a_block(1.0, 2.0)[:-6]))
    with open_link(served.address, patience_s=30) as link:
        begun = time.monotonic()
        with pytest.raises(Garbled, match="announces 16 bytes and 11 came"):
            link.ask_numbers("DATA?", DOUBLES, 2)
        assert time.monotonic() - begun < 3
        assert link.identify() == IDENTITY


def test_a_block_of_indefinite_length_is_read_where_the_line_marks_its_end(bad_on_hislip, bad_on_socket):
    reply = b"#0" + np.array([1.0, 2.0], ">f8").tobytes() + b"\n"
    with open_link(bad_on_hislip(answering(DATA=reply)).address) as link:
        assert list(link.ask_numbers("DATA?", DOUBLES, 2)) == [1.0, 2.0]
    with (
        open_link(bad_on_socket(answering(DATA=reply)).address) as link,
        pytest.raises(Garbled, match="indefinite"),
    ):
        link.ask_numbers("DATA?", DOUBLES, 2)


def test_an_unterminated_answer_is_complete_where_the_line_marks_its_end(bad_on_hislip):
    with open_link(bad_on_hislip(answering(NAME=b"no line end")).address) as link:
        assert link.ask("NAME?") == "no line end"
        assert link.identify() == IDENTITY


def test_an_unterminated_answer_on_a_socket_is_no_answer(bad_on_socket):
    with open_link(bad_on_socket(answering(NAME=b"no line end")).address, patience_s=SHORT_S) as link:
        with pytest.raises(Silent) as caught:
            link.ask("NAME?")
        assert caught.value.answer == "'no line end'"
        assert link.identify() == IDENTITY


def test_silence_after_an_unknown_command_is_explained_by_the_error_queue(bad):
    queue = [b'-113,"Undefined header; FOO?"\n']

    def answer(question: str) -> bytes | None:
        if question == "FOO?":
            return None
        return queue.pop() if question == "SYST:ERR?" and queue else polite(question)

    with open_link(bad(answer).address, patience_s=SHORT_S) as link, pytest.raises(Refused) as caught:
        link.ask("FOO?")
    assert caught.value.command == "FOO?"
    assert "-113" in caught.value.answer
    assert isinstance(caught.value.__cause__, Silent)


def test_an_instrument_that_takes_no_bytes_is_silent(bad_on_socket):
    hold = threading.Event()

    def answer(question: str) -> bytes | None:
        hold.wait(10)
        return None

    with open_link(bad_on_socket(answer).address, patience_s=SHORT_S) as link:
        link.tell("HOLD")
        with pytest.raises(Silent, match="does not take"):
            link.ask("X" * 30_000_000)
        hold.set()


def test_a_line_the_instrument_dropped_between_two_questions_is_opened_again(bad_on_socket):
    served = bad_on_socket(answering(LAST=(b"7\n", b"")))
    with open_link(served.address) as link:
        assert link.ask("LAST?") == "7"
        time.sleep(0.1)
        assert link.identify() == IDENTITY
    assert served.connections == 2


def test_a_link_is_made_without_any_trip(bad):
    served = bad(polite)
    Link(served.address)
    assert served.connections == 0
