"""How an answer is read to its end: differently on a raw socket and on a line that marks the end of a message.

Pure reading rules over a port that can write and read bytes; the port itself, and with it the VISA library,
lives in `visa.py`. Faults leave here as TimeoutError (no answer in time), EOFError (the other side closed) and
ValueError (the answer makes no sense); the link gives them their names.
"""

from __future__ import annotations

import select
import socket
import time
from typing import Protocol

from station.instruments import block

CHUNK = 1 << 16
"""Most bytes taken from a port at a time."""

_WRITE_CHUNK = 4096
_MOST_BYTES = 1 << 28
_LONGEST_HEAD = 11


class Port(Protocol):
    """What carries the bytes."""

    @property
    def socket(self) -> socket.socket | None:
        """The socket beneath, where the library shows it."""

    def write(self, raw: bytes) -> None: ...

    def read(self, count: int, within_s: float) -> tuple[bytes, bool]:
        """At most `count` bytes, and whether the message ended with them.

        On a raw socket it waits for all of them and nothing tells an end.
        """


class Wire(Protocol):
    """One question at a time: send it, then hear a line or a block. Deadlines are of `time.monotonic`."""

    heard: bytearray
    """What has come of the answer that is being read."""

    def stale(self) -> bool:
        """Whether something waits that nobody asked for; an end of the connection counts."""

    def send(self, message: bytes, deadline: float) -> None: ...

    def line(self, deadline: float) -> bytes:
        """One answer in text, without its line end."""

    def payload(self, deadline: float) -> bytes:
        """The data of one IEEE 488.2 block."""


class Stream:
    """A raw socket: nothing marks the end of an answer, so a line end or the block's own count must.

    The library waits for a closed socket as if it were silent, with a busy processor. So where it shows its
    socket we wait there ourselves and let it read only what has arrived.
    """

    def __init__(self, port: Port) -> None:
        self._port = port
        self.heard = bytearray()

    def stale(self) -> bool:
        return self._port.socket is not None and _readable(self._port.socket, 0)

    def send(self, message: bytes, deadline: float) -> None:
        self.heard.clear()
        for start in range(0, len(message), _WRITE_CHUNK):
            # The library would wait for ever for a peer that takes nothing; the first piece always finds room.
            if start and self._port.socket is not None and not _writable(self._port.socket, left_s(deadline)):
                raise TimeoutError("the instrument does not take the message")
            self._port.write(message[start : start + _WRITE_CHUNK])

    def line(self, deadline: float) -> bytes:
        while (end := self.heard.find(b"\n")) < 0:
            self._hear(1, deadline)
        self._nothing_after(end + 1)
        return bytes(self.heard[:end]).removesuffix(b"\r")

    def payload(self, deadline: float) -> bytes:
        while (head := block.block_head(bytes(self.heard[:_LONGEST_HEAD]))) is None:
            self._hear(1, deadline)
        if head.length is None:
            raise ValueError(
                "a block of indefinite length has no end on a raw socket; ask for a definite one"
            )
        if head.length > _MOST_BYTES:
            raise ValueError(f"a block of {head.length} bytes is announced")
        whole = head.size + head.length
        while (missing := whole + 1 - len(self.heard)) > 0:
            self._hear(missing, deadline)
        if self.heard[whole : whole + 1] == b"\r" and len(self.heard) == whole + 1:
            self._hear(1, deadline)
        return block.block_payload(bytes(self.heard))

    def _hear(self, at_least: int, deadline: float) -> None:
        if self._port.socket is None:
            self.heard += self._port.read(at_least, left_s(deadline))[0]
            return
        if not _readable(self._port.socket, left_s(deadline)):
            raise TimeoutError
        there = len(self._port.socket.recv(CHUNK, socket.MSG_PEEK))
        if there == 0:
            raise EOFError("closed by the other side")
        self.heard += self._port.read(there, left_s(deadline))[0]
        if len(self.heard) > _MOST_BYTES:
            raise ValueError("the answer has no end")

    def _nothing_after(self, end: int) -> None:
        if len(self.heard) > end:
            raise ValueError(f"more came than was asked for: {block.shown(self.heard[end:])}")


class Messages:
    """HiSLIP, VXI-11, USB, GPIB: the line marks where an answer ends, and we always read up to there.

    What is read beyond the end, or left unread before it, would be taken for the next answer's beginning.
    """

    def __init__(self, port: Port) -> None:
        self._port = port
        self.heard = bytearray()

    def stale(self) -> bool:
        return False  # these lines number or clear their answers by protocol

    def send(self, message: bytes, deadline: float) -> None:
        self.heard.clear()
        self._port.write(message)

    def line(self, deadline: float) -> bytes:
        self._hear_all(deadline)
        return bytes(self.heard).removesuffix(b"\n").removesuffix(b"\r")

    def payload(self, deadline: float) -> bytes:
        self._hear_all(deadline)
        return block.block_payload(bytes(self.heard))

    def _hear_all(self, deadline: float) -> None:
        ended = False
        while not ended:
            within_s = left_s(deadline)
            if within_s == 0:
                raise TimeoutError
            part, ended = self._port.read(CHUNK, within_s)
            self.heard += part
            if len(self.heard) > _MOST_BYTES:
                raise ValueError("the answer has no end")


def left_s(deadline: float) -> float:
    """Seconds until a deadline, never negative."""
    return max(0.0, deadline - time.monotonic())


def _readable(line: socket.socket, within_s: float) -> bool:
    return bool(select.select([line], [], [], within_s)[0])


def _writable(line: socket.socket, within_s: float) -> bool:
    return bool(select.select([], [line], [], within_s)[1])
