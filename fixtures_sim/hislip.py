"""HiSLIP, the network link of IVI-6.1, version 1.0 in synchronised mode.

A client opens two connections: program and response messages go over the synchronous one; status, locks and
device clear over the asynchronous one. Each message has a header of 16 bytes: `HS`, type, control code,
parameter, payload length. Overlapped mode, encryption and service requests are not offered.
"""

from __future__ import annotations

import itertools
import socket
import struct
import threading
from dataclasses import dataclass, field
from enum import IntEnum
from typing import NamedTuple

from fixtures_sim.faults import Faults, carry_out
from fixtures_sim.scpi.box import Abandoned, Box, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import cut_message
from fixtures_sim.tcp import CHUNK, still_there

HEADER = struct.Struct("!2sBBIQ")
PROLOGUE = b"HS"
VERSION = 0x0100
VENDOR = int.from_bytes(b"SW", "big")
LARGEST_MESSAGE = 1 << 20
MOST_CLIENTS = 64
RMT_DELIVERED = 1
GOODBYE_S = 1.0
"""How long a client may take to hang up after a fatal error."""


class Type(IntEnum):
    """Message types, IVI-6.1 table 4."""

    INITIALIZE = 0
    INITIALIZE_RESPONSE = 1
    FATAL_ERROR = 2
    ERROR = 3
    ASYNC_LOCK = 4
    ASYNC_LOCK_RESPONSE = 5
    DATA = 6
    DATA_END = 7
    DEVICE_CLEAR_COMPLETE = 8
    DEVICE_CLEAR_ACKNOWLEDGE = 9
    ASYNC_REMOTE_LOCAL_CONTROL = 10
    ASYNC_REMOTE_LOCAL_RESPONSE = 11
    TRIGGER = 12
    INTERRUPTED = 13
    ASYNC_INTERRUPTED = 14
    ASYNC_MAXIMUM_MESSAGE_SIZE = 15
    ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE = 16
    ASYNC_INITIALIZE = 17
    ASYNC_INITIALIZE_RESPONSE = 18
    ASYNC_DEVICE_CLEAR = 19
    ASYNC_SERVICE_REQUEST = 20
    ASYNC_STATUS_QUERY = 21
    ASYNC_STATUS_RESPONSE = 22
    ASYNC_DEVICE_CLEAR_ACKNOWLEDGE = 23
    ASYNC_LOCK_INFO = 24
    ASYNC_LOCK_INFO_RESPONSE = 25


BAD_HEADER, NOT_BOTH_CHANNELS, BAD_START, TOO_MANY_CLIENTS = 1, 2, 3, 4
"""Codes of fatal errors."""

UNKNOWN_TYPE, TOO_LARGE = 1, 4
"""Codes of errors that leave the connection alive."""

LOCK_FAILED, LOCK_EXCLUSIVE, LOCK_SHARED, LOCK_ERROR = 0, 1, 2, 3


class Message(NamedTuple):
    """One message, whose payload is already read."""

    kind: int
    control: int
    parameter: int
    payload: bytes
    too_large: bool = False


class Fatal(Exception):
    """The connection must end; the client is told why."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(text)
        self.code = code


def receive(connection: socket.socket) -> Message | None:
    """The next message, or None when the client has hung up between two. Raises Fatal, ConnectionError."""
    first = connection.recv(HEADER.size)
    if not first:
        return None
    head = first + _exactly(connection, HEADER.size - len(first))
    prologue, kind, control, parameter, length = HEADER.unpack(head)
    if prologue != PROLOGUE:
        raise Fatal(BAD_HEADER, "a header begins with HS")
    if length <= LARGEST_MESSAGE:
        return Message(kind, control, parameter, _exactly(connection, length))
    while length:
        length -= len(_exactly(connection, min(length, LARGEST_MESSAGE)))
    return Message(kind, control, parameter, b"", too_large=True)


def _exactly(connection: socket.socket, count: int) -> bytes:
    parts = []
    while count:
        part = connection.recv(count)
        if not part:
            raise ConnectionResetError("hung up in mid-message")
        parts.append(part)
        count -= len(part)
    return b"".join(parts)


@dataclass(slots=True, eq=False)
class Client:
    """What the server remembers of one client."""

    number: int
    sync: socket.socket
    asynchronous: socket.socket | None = None
    largest: int = LARGEST_MESSAGE
    """Bytes of payload it takes in one message."""

    undelivered: bool = False
    """A response was sent and the client has not said that it read it to the end."""

    clearing: bool = False
    sending: threading.Lock = field(default_factory=threading.Lock)
    """Both threads may speak on the asynchronous channel."""

    def say(self, kind: Type, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        """On the synchronous channel."""
        self.sync.sendall(HEADER.pack(PROLOGUE, kind, control, parameter, len(payload)) + payload)

    def say_aside(self, kind: Type, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
        """On the asynchronous channel, if there is one yet."""
        if self.asynchronous is not None:
            with self.sending:
                head = HEADER.pack(PROLOGUE, kind, control, parameter, len(payload))
                self.asynchronous.sendall(head + payload)


class Locks:
    """Who may talk to the instrument: one client alone, or all that share a lock string."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._alone: Client | None = None
        self._sharing: dict[Client, bytes] = {}

    def request(self, client: Client, name: bytes, timeout_s: float) -> int:
        """Try for a shared lock of this name, or an exclusive one when it is empty; the response's code."""
        with self._changed:
            if self._alone is client or (name and client in self._sharing):
                return LOCK_ERROR
            if not self._changed.wait_for(lambda: self._free_for(client, name), timeout_s):
                return LOCK_FAILED
            if name:
                self._sharing[client] = name
            else:
                self._alone = client
            return LOCK_EXCLUSIVE

    def release(self, client: Client) -> int:
        """Give up the exclusive lock, or else the shared one; the response's code."""
        with self._changed:
            if self._alone is client:
                self._alone, code = None, LOCK_EXCLUSIVE
            elif self._sharing.pop(client, None) is not None:
                code = LOCK_SHARED
            else:
                return LOCK_ERROR
            self._changed.notify_all()
            return code

    def forget(self, client: Client) -> None:
        """Give up everything a client held."""
        while self.release(client) != LOCK_ERROR:
            pass

    def may_talk(self, client: Client) -> bool:
        """Whether no other client keeps this one out."""
        with self._changed:
            return self._alone in (None, client) and (
                not self._sharing or client in self._sharing or self._alone is client
            )

    def info(self) -> tuple[bool, int]:
        """Whether somebody holds the exclusive lock, and how many hold any."""
        with self._changed:
            holders = set(self._sharing) | ({self._alone} if self._alone else set())
            return self._alone is not None, len(holders)

    def _free_for(self, client: Client, name: bytes) -> bool:
        if self._alone is not None:
            return False
        others = {shared for holder, shared in self._sharing.items() if holder is not client}
        return not others or (others == {name} and bool(name)) or (not name and client in self._sharing)


class HislipServer:
    """Serves both channels of every client that talks to one instrument."""

    def __init__(self, box: Box, faults: Faults, stop: threading.Event) -> None:
        self._box = box
        self._faults = faults
        self._stop = stop
        self._locks = Locks()
        self._clients: dict[int, Client] = {}
        self._numbers = itertools.count(1)
        self._registry = threading.Lock()

    def serve(self, connection: socket.socket) -> None:
        """One connection from its first message to its end; the first message says which channel it is."""
        try:
            first = receive(connection)
            if first is None:
                return
            if first.kind == Type.INITIALIZE:
                self._serve_sync(connection, first)
            elif first.kind == Type.ASYNC_INITIALIZE:
                self._serve_async(connection, first)
            else:
                raise Fatal(BAD_START, "the first message must be Initialize or AsyncInitialize")
        except Fatal as fatal:
            _say_goodbye(connection, fatal)

    # the synchronous channel

    def _serve_sync(self, connection: socket.socket, first: Message) -> None:
        client = self._admit(connection)
        try:
            version = min(first.parameter >> 16, VERSION)
            client.say(Type.INITIALIZE_RESPONSE, 0, version << 16 | client.number)
            self._converse(client)
        finally:
            with self._registry:
                del self._clients[client.number]
            self._locks.forget(client)
            if client.asynchronous is not None:
                _hang_up(client.asynchronous)

    def _admit(self, connection: socket.socket) -> Client:
        with self._registry:
            if len(self._clients) == MOST_CLIENTS:
                raise Fatal(TOO_MANY_CLIENTS, f"{MOST_CLIENTS} clients are connected already")
            number = next(n & 0xFFFF for n in self._numbers if n & 0xFFFF not in self._clients)
            client = Client(number, connection)
            self._clients[number] = client
            return client

    def _converse(self, client: Client) -> None:
        waiting = self._session_of(client)
        buffer = b""
        while message := receive(client.sync):
            if client.asynchronous is None:
                raise Fatal(NOT_BOTH_CHANNELS, "AsyncInitialize must come before anything else")
            if message.kind == Type.DEVICE_CLEAR_COMPLETE:
                buffer, client.undelivered, client.clearing = b"", False, False
                client.say(Type.DEVICE_CLEAR_ACKNOWLEDGE)
            elif message.too_large:
                client.say(Type.ERROR, TOO_LARGE, 0, b"message too large")
            elif message.kind in (Type.DATA, Type.DATA_END, Type.TRIGGER):
                if client.clearing:
                    continue
                self._note_delivery(client, message)
                if message.kind == Type.TRIGGER:
                    self._box.converse(b"*TRG", waiting)
                    continue
                buffer += message.payload
                rest = self._carry_out(client, waiting, buffer, message)
                if rest is None:
                    return
                buffer = rest
            elif message.kind == Type.FATAL_ERROR:
                return
            elif message.kind != Type.ERROR:
                client.say(Type.ERROR, UNKNOWN_TYPE, 0, b"unrecognised message type")

    def _session_of(self, client: Client) -> Session:
        return Session(
            waiting=lambda: not client.clearing and not self._stop.is_set() and still_there(client.sync),
        )

    def _note_delivery(self, client: Client, message: Message) -> None:
        """A new message before the old response was read interrupts it, IVI-6.1 section 3.1.1."""
        if client.undelivered and not message.control & RMT_DELIVERED:
            self._box.report(ScpiError(-410))
            client.say(Type.INTERRUPTED, 0, message.parameter)
            client.say_aside(Type.ASYNC_INTERRUPTED, 0, message.parameter)
        client.undelivered = False

    def _carry_out(self, client: Client, session: Session, buffer: bytes, message: Message) -> bytes | None:
        """Carry out what is whole in the buffer; what is left of it, or None when the line must be closed."""
        while cut := cut_message(buffer, ended=message.kind == Type.DATA_END):
            program, buffer = cut
            if not self._await_turn(client, session):
                return b""
            try:
                reply = carry_out(self._box, self._faults, program, session)
            except Abandoned:
                return b""
            if reply.after_s:
                self._stop.wait(reply.after_s)
            if reply.close:
                return None
            if reply.data and not client.clearing:
                self._respond(client, message.parameter, reply.data)
        return buffer

    def _await_turn(self, client: Client, session: Session) -> bool:
        while not self._locks.may_talk(client):
            if not session.waiting() or self._stop.wait(0.01):
                return False
        return True

    def _respond(self, client: Client, number: int, data: bytes) -> None:
        client.undelivered = True
        while len(data) > client.largest:
            client.say(Type.DATA, 0, number, data[: client.largest])
            data = data[client.largest :]
        client.say(Type.DATA_END, 0, number, data)

    # the asynchronous channel

    def _serve_async(self, connection: socket.socket, first: Message) -> None:
        with self._registry:
            client = self._clients.get(first.parameter)
            if client is None or client.asynchronous is not None:
                raise Fatal(BAD_START, "no client of this session number waits for its second channel")
            client.asynchronous = connection
        client.say_aside(Type.ASYNC_INITIALIZE_RESPONSE, 0, VENDOR)
        try:
            while message := receive(connection):
                self._answer_aside(client, message)
        finally:
            # without its second channel a client cannot go on
            _hang_up(client.sync)

    def _answer_aside(self, client: Client, message: Message) -> None:
        if message.kind == Type.ASYNC_STATUS_QUERY:
            if message.control & RMT_DELIVERED:
                client.undelivered = False
            client.say_aside(Type.ASYNC_STATUS_RESPONSE, self._box.status_byte(client.undelivered))
        elif message.kind == Type.ASYNC_DEVICE_CLEAR:
            client.clearing = True
            self._box.clear_device()
            client.say_aside(Type.ASYNC_DEVICE_CLEAR_ACKNOWLEDGE)
        elif message.kind == Type.ASYNC_MAXIMUM_MESSAGE_SIZE and len(message.payload) == 8:
            client.largest = max(1, int.from_bytes(message.payload, "big") - HEADER.size)
            client.say_aside(
                Type.ASYNC_MAXIMUM_MESSAGE_SIZE_RESPONSE, payload=LARGEST_MESSAGE.to_bytes(8, "big")
            )
        elif message.kind == Type.ASYNC_LOCK:
            client.say_aside(Type.ASYNC_LOCK_RESPONSE, self._lock(client, message))
        elif message.kind == Type.ASYNC_LOCK_INFO:
            alone, holders = self._locks.info()
            client.say_aside(Type.ASYNC_LOCK_INFO_RESPONSE, int(alone), holders)
        elif message.kind == Type.ASYNC_REMOTE_LOCAL_CONTROL:
            client.say_aside(Type.ASYNC_REMOTE_LOCAL_RESPONSE)
        else:
            client.say_aside(Type.ERROR, UNKNOWN_TYPE, 0, b"unrecognised message type")

    def _lock(self, client: Client, message: Message) -> int:
        if message.control == 0:
            return self._locks.release(client)
        return self._locks.request(client, message.payload, message.parameter / 1e3)


def _hang_up(connection: socket.socket) -> None:
    try:
        connection.shutdown(socket.SHUT_RDWR)
    except OSError:
        # already gone
        return


def _say_goodbye(connection: socket.socket, fatal: Fatal) -> None:
    text = str(fatal).encode()
    connection.sendall(HEADER.pack(PROLOGUE, Type.FATAL_ERROR, fatal.code, 0, len(text)) + text)
    connection.shutdown(socket.SHUT_WR)
    # closing with bytes unread would reset the line and could take the message with it
    connection.settimeout(GOODBYE_S)
    while connection.recv(CHUNK):
        pass
