"""The line to one instrument: messages out, whole answers in, every fault in the words of station.errors.

The only file that imports pyvisa. What it takes care of, so that no driver has to:

- An order goes out as one joined message that ends in a question, because several small writes on a raw
  socket wait 40 ms for each other (Nagle's rule against delayed acknowledgement).
- Every wait has an end, and a connection that ended is noticed at once instead of at the end of the wait.
- An exchange that did not come to its end, for whatever reason, leaves the line in doubt: before anything
  else is asked the line is opened anew and the instrument proves itself with `*IDN?`. A late answer is
  therefore never taken for the answer to the next question.
- After every order the error queue is read; whatever is in it is a fault that quotes it.
- Whatever pyvisa, its backend or the operating system raises is translated here and nowhere else.
"""

from __future__ import annotations

import gc
import socket
import struct
import time
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TypeVar

import pyvisa
from pyvisa import constants, errors, rname
from pyvisa.constants import StatusCode
from pyvisa.resources import MessageBasedResource

from limits.reading import FloatArray
from station.errors import Garbled, Gone, InstrumentFault, Refused, Silent, Unreachable, WrongInstrument
from station.instruments import block
from station.instruments.block import NumberFormat
from station.instruments.wire import CHUNK, Messages, Stream, Wire

DEFAULT_PATIENCE_S = 5.0
"""How long an instrument may take to answer a question that starts no sweep; common practice, no source."""

_MOST_ERRORS = 100
_SHORTEN_PART_TO, _SHORTEN_TO = 48, 600

Answer = TypeVar("Answer")

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


class Link:
    """One instrument as its driver sees it. Made by `open_link`; opens the line when first needed."""

    def __init__(
        self,
        address: str,
        *,
        role: str = "analyzer",
        backend: str = "@py",
        line_end: str = "\n",
        error_query: str = "SYST:ERR?",
        joined: bool = True,
        patience_s: float = DEFAULT_PATIENCE_S,
    ) -> None:
        """`joined` tells whether the instrument takes several commands in one message; all SCPI ones should."""
        self.address = address
        self.instrument = f"{role} at {address}"
        self.patience_s = patience_s
        self._backend = backend
        self._line_end = line_end
        self._error_query = error_query
        self._joined = joined
        self._resource: MessageBasedResource | None = None
        self._wire: Wire | None = None
        self._opened_before = False
        self._sound = False
        self._identity = ""

    def identify(self) -> str:
        """Its answer to `*IDN?`."""
        self._identity = self._exchange("*IDN?", self._text)
        return self._identity

    def ask(self, question: str, timeout_s: float | None = None) -> str:
        """The answer to one question, in text."""
        return self._blamed(lambda: self._exchange(question, self._text, timeout_s), question)

    def ask_numbers(
        self, question: str, number_format: NumberFormat, count: int, timeout_s: float | None = None
    ) -> FloatArray:
        """The numbers that answer one question: `count` of them, all finite. Shape (count,)."""

        def hear(wire: Wire, deadline: float) -> FloatArray:
            if number_format.binary:
                values = block.binary_numbers(wire.payload(deadline), number_format)
            else:
                values = block.text_numbers(wire.line(deadline).decode("ascii"))
            if values.size != count:
                raise ValueError(f"{count} numbers were expected and {values.size} came")
            return values

        return self._blamed(lambda: self._exchange(question, hear, timeout_s), question)

    def order(
        self, commands: Sequence[str], questions: Sequence[str] = (), timeout_s: float | None = None
    ) -> tuple[str, ...]:
        """Send commands, then ask questions, then read the error queue; the answers to the questions.

        Raises Refused when the error queue is not empty, with everything that is in it.
        """
        parts = (*commands, *questions, self._error_query)
        if self._joined:
            whole, hear = block.join_messages(parts), self._texts(len(questions) + 1)
            answers = self._blamed(lambda: self._exchange(whole, hear, timeout_s), whole)
        else:
            whole = ";".join(parts)
            answers = self._blamed(lambda: self._one_by_one(commands, questions, timeout_s), whole)
        *wanted, first_error = answers
        if not self._is_no_error(first_error):
            self._refuse((first_error, *self.errors()), whole)
        return tuple(wanted)

    def tell(self, command: str) -> None:
        """Send one command and look at nothing; for trying things out. An order is what a driver wants."""
        self._exchange(command, lambda _wire, _deadline: None)

    def errors(self) -> tuple[str, ...]:
        """Empty the error queue; what was in it, oldest first."""
        found: list[str] = []
        while len(found) < _MOST_ERRORS:
            answer = self._exchange(self._error_query, self._text)
            if self._is_no_error(answer):
                return tuple(found)
            found.append(answer)
        raise self._fault(Garbled, "its error queue has no end", self._error_query, found[-1])

    def close(self) -> None:
        """Hang up. The next question opens the line again."""
        resource, self._resource, self._wire, self._sound = self._resource, None, None, False
        if resource is None:
            return
        # A dead line often cannot be closed in good order, and is given up either way.
        with suppress(InstrumentFault), self._border("(closing)"):
            resource.close()

    def _one_by_one(
        self, commands: Sequence[str], questions: Sequence[str], timeout_s: float | None
    ) -> tuple[str, ...]:
        for command in commands:
            self.tell(command)
        asked = [self._exchange(question, self._text, timeout_s) for question in questions]
        return (*asked, self._exchange(self._error_query, self._text, timeout_s))

    def _exchange(
        self, message: str, hear: Callable[[Wire, float], Answer], timeout_s: float | None = None
    ) -> Answer:
        wire = self._ready()
        deadline = time.monotonic() + (self.patience_s if timeout_s is None else timeout_s)
        # Sound again only when the whole exchange came to its end: also Ctrl-C leaves an answer on its way.
        self._sound = False
        with self._border(message, wire):
            wire.send((message + self._line_end).encode("ascii"), deadline)
            answer = hear(wire, deadline)
        self._sound = True
        return answer

    @staticmethod
    def _text(wire: Wire, deadline: float) -> str:
        return wire.line(deadline).decode("ascii").strip()

    @staticmethod
    def _texts(count: int) -> Callable[[Wire, float], tuple[str, ...]]:
        def hear(wire: Wire, deadline: float) -> tuple[str, ...]:
            answers = block.split_answers(wire.line(deadline).decode("ascii"))
            if len(answers) != count:
                raise ValueError(f"{count} questions were asked and {len(answers)} answers came")
            return answers

        return hear

    def _ready(self) -> Wire:
        if self._wire is not None and self._sound and not self._wire.stale():
            return self._wire
        return self._open_again() if self._opened_before else self._open()

    def _open(self) -> Wire:
        with self._border("(opening the line)", opening=True):
            try:
                resource = _open_resource(self.address, self._backend, self.patience_s)
                self._resource = resource
                wire = _wire_over(resource, self.address)
            except BaseException:
                self.close()
                raise
        self._opened_before, self._sound, self._wire = True, True, wire
        return wire

    def _open_again(self) -> Wire:
        self.close()
        wire = self._open()
        answer = self._exchange("*IDN?", self._text)
        if self._identity and answer != self._identity:
            self._sound = False
            raise self._fault(WrongInstrument, f"it was {self._identity!r} before", "*IDN?", answer)
        # IEEE 488.2-1992, 10.14: four fields separated by commas (clause from memory).
        if answer.count(",") < 3:
            self._sound = False
            raise self._fault(Garbled, "this is no identity of four fields", "*IDN?", answer)
        return wire

    def _blamed(self, exchange: Callable[[], Answer], message: str) -> Answer:
        """Silence and nonsense often come of a command it did not know: then its error queue says so."""
        try:
            return exchange()
        except (Silent, Garbled) as fault:
            try:
                found = self.errors()
            except InstrumentFault:
                raise fault from fault.__cause__
            if found:
                self._refuse(found, message, fault)
            raise

    def _refuse(self, found: tuple[str, ...], message: str, cause: InstrumentFault | None = None) -> None:
        quoted = "; ".join(found)
        raise self._fault(Refused, "the instrument refused", message, quoted) from cause

    def _is_no_error(self, answer: str) -> bool:
        number = answer.partition(",")[0]
        try:
            return int(number) == 0
        except ValueError as error:
            self._sound = False
            raise self._fault(
                Garbled, "this is no entry of an error queue", self._error_query, answer
            ) from error

    @contextmanager
    def _border(self, command: str, wire: Wire | None = None, opening: bool = False) -> Iterator[None]:
        try:
            yield
        except InstrumentFault:
            raise
        except Exception as error:
            kind, what = translate(error, opening=opening)
            heard = block.shown(bytes(wire.heard)) if wire is not None and wire.heard else ""
            raise self._fault(kind, what, command, heard) from error

    def _fault(self, kind: type[InstrumentFault], what: str, command: str, answer: str) -> InstrumentFault:
        # Each command by itself, so that a list of a thousand frequencies hides none of its neighbours.
        short = ";".join(_shortened(part, _SHORTEN_PART_TO) for part in command.split(";"))
        command = _shortened(short, _SHORTEN_TO)
        return kind(what, instrument=self.instrument, command=command, answer=answer)


@contextmanager
def open_link(
    address: str,
    *,
    role: str = "analyzer",
    backend: str = "@py",
    line_end: str = "\n",
    error_query: str = "SYST:ERR?",
    joined: bool = True,
    patience_s: float = DEFAULT_PATIENCE_S,
) -> Iterator[Link]:
    """A link to the instrument at a VISA resource name, for as long as the block lasts.

    Nothing is sent before the first question, so an absent instrument shows there, as Unreachable.
    """
    link = Link(
        address,
        role=role,
        backend=backend,
        line_end=line_end,
        error_query=error_query,
        joined=joined,
        patience_s=patience_s,
    )
    try:
        yield link
    finally:
        link.close()


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


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[:most]}..."


_CODES = frozenset(int(status) for status in StatusCode)


class _VisaPort:
    """One open VISA session as the reading rules want it."""

    def __init__(self, resource: MessageBasedResource) -> None:
        self._resource = resource
        self._timeout_s = 0.0
        self.socket = _socket_of(resource)

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
    port = _VisaPort(resource)
    if not address.upper().endswith("::SOCKET"):
        if "::HISLIP" not in address.upper():
            # A new session on these lines may still find an answer to a question of the last one.
            resource.clear()
        return Messages(port)
    if port.socket is not None:
        port.socket.getpeername()  # raises where pyvisa-py took a refused connection for a good one
        port.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return Stream(port)


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
