"""The border to the VISA library: lines opened, bytes carried, and its errors in the words of station.errors.

The only file that imports pyvisa. Whatever pyvisa, its backend or the operating system raises is translated
here and nowhere else.
"""

from __future__ import annotations

import gc
import socket
import struct
import traceback
import warnings
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass

import pyvisa
from pyvisa import constants, errors, rname
from pyvisa.constants import StatusCode
from pyvisa.resources import MessageBasedResource

from station.errors import Garbled, Gone, InstrumentFault, Silent, Unreachable
from station.instruments.wire import CHUNK, Messages, Stream, Wire

# First match wins. The status of a VisaIOError is looked up in _STATUS first.
_FOREIGN: tuple[tuple[type[Exception], type[InstrumentFault], str], ...] = (
    (rname.InvalidResourceName, Unreachable, "the address is not a VISA resource name"),
    (TimeoutError, Silent, "no answer in time"),
    (ConnectionRefusedError, Unreachable, "the connection was refused"),
    (socket.gaierror, Unreachable, "the host of the address is not known"),
    (ConnectionError, Gone, "the connection ended"),
    (EOFError, Gone, "the connection ended"),
    (errors.InvalidSession, Gone, "the connection is closed"),
    (errors.VisaIOError, Gone, "the line failed"),
    (errors.InvalidBinaryFormat, Garbled, "the answer makes no sense"),
    (UnicodeError, Garbled, "the answer is not plain ASCII text"),
    (ValueError, Garbled, "the answer makes no sense"),
    (struct.error, Garbled, "the answer makes no sense"),
    (AssertionError, Garbled, "the instrument broke the rules of the line's protocol"),
    (OSError, Gone, "the line failed"),
    (Exception, Gone, "the line failed"),
)

_STATUS: dict[StatusCode, tuple[type[InstrumentFault], str]] = {
    StatusCode.error_timeout: (Silent, "no answer in time"),
    StatusCode.error_connection_lost: (Gone, "the connection ended"),
    StatusCode.error_resource_not_found: (Unreachable, "nothing answers at the address"),
    StatusCode.error_invalid_resource_name: (Unreachable, "the address is not a VISA resource name"),
    StatusCode.error_resource_locked: (Unreachable, "somebody else holds the instrument"),
    StatusCode.error_resource_busy: (Unreachable, "somebody else holds the instrument"),
    StatusCode.error_machine_not_available: (Unreachable, "nothing answers at the address"),
    StatusCode.error_library_not_found: (Unreachable, "the VISA library is not installed"),
}

# What pyvisa-py raises as bare RuntimeError over HiSLIP when the other side closes.
_DROPPED = "Connection was dropped"

_CODES = frozenset(int(status) for status in StatusCode)


@dataclass(frozen=True, slots=True)
class Line:
    """An open line to one instrument."""

    wire: Wire
    hang_up: Callable[[], None]


def open_line(address: str, backend: str, patience_s: float) -> Line:
    """Open the line at a VISA resource name. Raises whatever the library raises; see `translate`."""
    resource = _open_resource(address, backend, patience_s)
    try:
        return Line(_wire_over(resource, address), resource.close)
    except BaseException:
        # What failed is told; that a dead line cannot be closed in good order is nothing new.
        with suppress(Exception):
            resource.close()
        raise


def address_mistake(address: str) -> str:
    """What is wrong with a VISA resource name; empty when nothing is. Asks nobody."""
    example = "write it like TCPIP::192.168.0.10::5025::SOCKET or TCPIP::192.168.0.10::hislip0::INSTR"
    try:
        parsed = rname.parse_resource_name(address)
    except ValueError:
        return f"'{address}' is no VISA resource name; {example}"
    if isinstance(parsed, rname.TCPIPInstr) and ":" in parsed.lan_device_name:
        return f"'{parsed.lan_device_name}' is no name of a device; {example}"  # one colon for two
    if isinstance(parsed, rname.TCPIPSocket) and not _is_port(parsed.port):
        return f"'{parsed.port}' is no port, which is a whole number from 1 to 65535; {example}"
    return ""


def _is_port(text: str) -> bool:
    return text.isascii() and text.isdigit() and 1 <= int(text) <= 65535


def translate(error: Exception, *, opening: bool = False) -> tuple[type[InstrumentFault], str]:
    """The fault that a foreign exception stands for, and what to say of it.

    While the line is being opened every failure means that the instrument cannot be reached.
    """
    kind, what = _meaning(error)
    if opening and isinstance(error, OSError):
        what = "nobody answers at this address; check that it is switched on and connected, and its address"
    told = " ".join(str(error).split())
    words = f"{what} ({told})" if told and told not in what else what
    return (Unreachable if opening else kind), words


def _meaning(error: Exception) -> tuple[type[InstrumentFault], str]:
    if isinstance(error, errors.VisaIOError):
        status = constants.StatusCode(error.error_code) if error.error_code in _CODES else None
        if status in _STATUS:
            return _STATUS[status]
    if isinstance(error, RuntimeError) and type(error) is RuntimeError:
        if _DROPPED in str(error):
            return Gone, "the connection ended"
        return Garbled, "the instrument broke the rules of the line's protocol"
    return next((kind, what) for foreign, kind, what in _FOREIGN if isinstance(error, foreign))


class VisaPort:
    """One open VISA session as the reading rules want it."""

    def __init__(self, resource: MessageBasedResource, beneath: socket.socket | None = None) -> None:
        """`beneath` is the session's own socket, where the library shows it."""
        self._resource = resource
        self._timeout_s = 0.0
        self.socket = beneath

    def write(self, raw: bytes) -> None:
        self._resource.write_raw(raw)

    def read(self, count: int, within_s: float) -> tuple[bytes, bool]:
        # Setting the time-out is a trip through the backend; a tenth more does not matter to anybody.
        if not within_s <= self._timeout_s <= 1.3 * within_s:
            self._timeout_s = max(0.001, within_s * 1.1)
            self._resource.timeout = 1000 * self._timeout_s
        with self._resource.ignore_warning(StatusCode.success_max_count_read):
            part, status = self._resource.visalib.read(self._resource.session, count)
        return part, status != StatusCode.success_max_count_read


def _open_resource(address: str, backend: str, patience_s: float) -> MessageBasedResource:
    manager = pyvisa.ResourceManager(backend)
    try:
        resource = manager.open_resource(address, open_timeout=int(1000 * patience_s))
    except Exception as error:
        _drop_half_open(error)
        raise
    if isinstance(resource, MessageBasedResource):
        return resource
    resource.close()
    raise ValueError("the address is not one of an instrument that takes messages")


def _drop_half_open(error: BaseException) -> None:
    """Close what pyvisa-py leaves open of an attempt that failed: a socket held by nothing but the traceback."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)
        link: BaseException | None = error
        while link is not None:
            traceback.clear_frames(link.__traceback__)
            link = link.__cause__ or link.__context__
        gc.collect()


def _wire_over(resource: MessageBasedResource, address: str) -> Wire:
    if not address.upper().endswith("::SOCKET"):
        if "::HISLIP" not in address.upper():
            # A new session on these lines may still find an answer to a question of the last one.
            resource.clear()
        return Messages(VisaPort(resource))
    beneath = _socket_of(resource)
    if beneath is not None:
        beneath.getpeername()  # raises where pyvisa-py took a refused connection for a good one
        beneath.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return Stream(VisaPort(resource, beneath))


def _socket_of(resource: MessageBasedResource) -> socket.socket | None:
    """The socket beneath a raw socket session of pyvisa-py; None with any other library or line."""
    session = getattr(resource.visalib, "sessions", {}).get(resource.session)
    found = getattr(session, "interface", None)
    if session is None or not isinstance(found, socket.socket) or not hasattr(session, "max_recv_size"):
        return None
    # It takes in pieces of this size and keeps what is beyond the bytes asked for where a wait on the socket
    # does not see it. With pieces as large as ours nothing is ever kept.
    session.max_recv_size = CHUNK
    return found
