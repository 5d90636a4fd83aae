"""A process that plays an analyzer's recorded part of a conversation, so that no instrument's own work is measured.

Prints its port and ends when its standard input does. The conversation is a pickled list of pairs, what was said
to the analyzer and what it answered, and is played from the start again when it has come to its end. Whoever says
anything else is hung up on.
"""

from __future__ import annotations

import pickle
import socket
import sys
import threading
from itertools import cycle
from pathlib import Path

Conversation = list[tuple[bytes, bytes]]


def talk(line: socket.socket, conversation: Conversation) -> None:
    with line:
        for expected, answer in cycle(conversation):
            said = bytearray()
            while len(said) < len(expected) and (chunk := line.recv(1 << 16)):
                said += chunk
            if said != expected:
                return
            line.sendall(answer)


def serve(listener: socket.socket, conversation: Conversation) -> None:
    while True:
        line, _ = listener.accept()
        line.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        threading.Thread(target=talk, args=(line, conversation), daemon=True).start()


def main() -> None:
    conversation: Conversation = pickle.loads(Path(sys.argv[1]).read_bytes())
    listener = socket.create_server(("127.0.0.1", 0))
    threading.Thread(target=serve, args=(listener, conversation), daemon=True).start()
    sys.stdout.write(f"{listener.getsockname()[1]}\n")
    sys.stdout.flush()
    sys.stdin.read()


if __name__ == "__main__":
    main()
