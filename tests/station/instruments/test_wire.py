"""Reading an answer to its end, over ports that hand the bytes out in awkward pieces."""

from __future__ import annotations

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from station.instruments.wire import Messages, Stream


class Pieces:
    """A port that gives what it has in pieces; without a socket to look at."""

    socket = None

    def __init__(self, *pieces: bytes) -> None:
        self._pieces = list(pieces)
        self.written = b""

    def write(self, raw: bytes) -> None:
        self.written += raw

    def read(self, count: int, within_s: float) -> tuple[bytes, bool]:
        if not self._pieces:
            raise TimeoutError
        piece, rest = self._pieces[0][:count], self._pieces[0][count:]
        self._pieces[:1] = [rest] if rest else []
        return piece, not self._pieces


class Bytes(Pieces):
    """A raw socket as a library shows it: exactly as many bytes as asked for, or no answer in time."""

    def read(self, count: int, within_s: float) -> tuple[bytes, bool]:
        whole = b"".join(self._pieces)
        if len(whole) < count:
            raise TimeoutError
        self._pieces = [whole[count:]]
        return whole[:count], False


def soon() -> float:
    return time.monotonic() + 5


@given(st.binary(max_size=60), st.lists(st.integers(1, 20), max_size=8))
def test_a_message_in_any_pieces_is_one_answer(data, cuts):
    raw = b"#2%02d" % len(data) + data + b"\n"
    pieces, rest = [], raw
    for cut in cuts:
        pieces.append(rest[:cut])
        rest = rest[cut:]
    wire = Messages(Pieces(*[piece for piece in (*pieces, rest) if piece]))
    assert wire.payload(soon()) == data


@given(st.binary(max_size=60))
def test_a_block_is_read_from_a_stream_by_its_count_alone(data):
    wire = Stream(Bytes(b"#2%02d" % len(data) + data + b"\n"))
    assert wire.payload(soon()) == data


@pytest.mark.parametrize("raw", [b"#15hello\r\n", b"#15hello\n"])
def test_either_line_end_may_follow_a_block(raw):
    assert Stream(Bytes(raw)).payload(soon()) == b"hello"
    assert Messages(Pieces(raw)).payload(soon()) == b"hello"


def test_a_message_that_comes_too_slowly_ends_at_the_deadline():
    with pytest.raises(TimeoutError):
        Messages(Pieces(b"a", b"b")).line(time.monotonic() - 1)


def test_a_block_of_absurd_length_is_refused_before_it_is_waited_for():
    with pytest.raises(ValueError, match="999999999 bytes"):
        Stream(Bytes(b"#9999999999")).payload(soon())


def test_a_new_question_forgets_what_was_heard_before():
    port = Pieces(b"first\n")
    wire = Messages(port)
    assert wire.line(soon()) == b"first"
    wire.send(b"X?\n", soon())
    assert wire.heard == b""
    assert port.written == b"X?\n"
