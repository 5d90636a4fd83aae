"""A process that answers from ready bytes, so that only the client's side of an exchange is measured.

Prints two ports, a raw socket's and a HiSLIP one's, and ends when its standard input does. `DATA?` is answered
by 1601 complex REAL,64 numbers, every other question by `1`, once for each question in the message. Keeps to the
processor core given as its argument, if one is given.
"""

from __future__ import annotations

import os
import socket
import struct
import sys
import threading

import numpy as np

POINTS = 1601
HEADER = struct.Struct("!2sBBIQ")


def _block() -> bytes:
    data = np.random.default_rng(1601).normal(size=2 * POINTS).astype(">f8").tobytes()
    length = str(len(data)).encode()
    return b"#" + str(len(length)).encode() + length + data + b"\n"


BLOCK = _block()


def answer(message: bytes) -> bytes:
    """What comes back, if anything."""
    if message.strip() == b"DATA?":
        return BLOCK
    count = message.count(b"?")
    if b"SYST:ERR?" in message:
        return b";".join([b"1"] * (count - 1) + [b'0,"No error"']) + b"\n"
    return b";".join([b"1"] * count) + b"\n" if count else b""


def talk_on_socket(line: socket.socket) -> None:
    with line.makefile("rb") as messages:
        for message in messages:
            if reply := answer(message):
                line.sendall(reply)


def talk_on_hislip(line: socket.socket) -> None:
    """Only what a client needs: both channels opened, the largest message agreed, Data answered."""
    with line.makefile("rb") as stream:
        while len(header := stream.read(HEADER.size)) == HEADER.size:
            _, kind, _, parameter, length = HEADER.unpack(header)
            payload = stream.read(length)
            if kind == 0:
                line.sendall(HEADER.pack(b"HS", 1, 0, 0x0100_0001, 0))
            elif kind == 17:
                line.sendall(HEADER.pack(b"HS", 18, 0, 0, 0))
            elif kind == 15:
                line.sendall(HEADER.pack(b"HS", 16, 0, 0, 8) + payload)
            elif kind == 7 and (reply := answer(payload)):
                line.sendall(HEADER.pack(b"HS", 7, 0, parameter, len(reply)) + reply)


def serve(listener: socket.socket, talk) -> None:
    while True:
        line, _ = listener.accept()
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        threading.Thread(target=talk, args=(line,), daemon=True).start()


def main() -> None:
    if len(sys.argv) > 1:
        os.sched_setaffinity(0, {int(sys.argv[1])})
    for talk in (talk_on_socket, talk_on_hislip):
        listener = socket.create_server(("127.0.0.1", 0))
        sys.stdout.write(f"{listener.getsockname()[1]}\n")
        threading.Thread(target=serve, args=(listener, talk), daemon=True).start()
    sys.stdout.flush()
    sys.stdin.read()


if __name__ == "__main__":
    main()
