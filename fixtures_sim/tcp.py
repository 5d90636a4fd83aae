"""Listening on loopback: one thread for whoever calls, all of them gone when the bench stops."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable

HOST = "127.0.0.1"
CHUNK = 1 << 16

Serve = Callable[[socket.socket], None]


class PortTaken(Exception):
    """Somebody else listens there."""

    def __init__(self, port: int) -> None:
        super().__init__(
            f"port {port} on {HOST} is taken or not allowed; choose another, or 0 for a free one"
        )
        self.port = port


class Listener:
    """Accepts connections and serves each in a thread of its own."""

    def __init__(self, name: str, serve: Serve, port: int) -> None:
        self._name = name
        self._serve = serve
        self._wanted = port
        self._lock = threading.Lock()
        self._socket: socket.socket | None = None
        self._calls: dict[threading.Thread, socket.socket] = {}
        self._accepting: threading.Thread | None = None
        self._stopped = False

    def start(self) -> int:
        """Begin to listen; the port. Raises PortTaken."""
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HOST, self._wanted))
            listening.listen()
        except (OSError, OverflowError) as error:
            listening.close()
            raise PortTaken(self._wanted) from error
        self._socket = listening
        self._accepting = threading.Thread(
            target=self._accept, args=(listening,), name=self._name, daemon=True
        )
        self._accepting.start()
        return int(listening.getsockname()[1])

    def stop(self) -> None:
        """Hang up on everybody and wait until the threads have ended."""
        if self._socket is None or self._accepting is None:
            return
        with self._lock:
            self._stopped = True
            calls = dict(self._calls)
        _shut(self._socket)
        self._socket.close()
        for connection in calls.values():
            _shut(connection)
        for thread in (self._accepting, *calls):
            thread.join()

    def _accept(self, listening: socket.socket) -> None:
        while True:
            try:
                connection, _ = listening.accept()
            except OSError:
                # the way `stop` wakes this thread
                return
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            thread = threading.Thread(target=self._call, args=(connection,), name=self._name, daemon=True)
            with self._lock:
                if self._stopped:
                    connection.close()
                    return
                self._calls[thread] = connection
                thread.start()

    def _call(self, connection: socket.socket) -> None:
        try:
            with connection:
                self._serve(connection)
        except (ConnectionError, TimeoutError):
            # the client hung up in mid-sentence; there is nobody to tell
            return
        finally:
            with self._lock:
                self._calls.pop(threading.current_thread(), None)


def _shut(connection: socket.socket) -> None:
    try:
        connection.shutdown(socket.SHUT_RDWR)
    except OSError:
        # already shut by the other side
        return


def still_there(connection: socket.socket) -> bool:
    """Whether the client has not hung up, without waiting or reading anything."""
    try:
        return connection.recv(1, socket.MSG_PEEK | socket.MSG_DONTWAIT) != b""
    except BlockingIOError:
        return True
    except OSError:
        return False
