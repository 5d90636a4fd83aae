"""What any instrument on the bench keeps: its commands, its status, and the conversations going on with it.

One box may be talked to over several connections at once; each has its own Session, and a message is carried
out as a whole before the next one of anybody. A wait for a sweep lets the others in.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.header import CommandTree
from fixtures_sim.scpi.message import Token, parse_message
from fixtures_sim.scpi.status import ALL_BITS, Register, Status
from fixtures_sim.scpi.values import integer

VERSION = "1999.0"
LONGEST_REMEMBERED = 200
MOST_REMEMBERED = 500
LOOK_EVERY_S = 0.02
"""How often a waiting conversation looks whether its client is still there."""


class Abandoned(Exception):
    """The client of a waiting conversation has gone or cleared it."""


def _always() -> bool:
    return True


@dataclass(slots=True, eq=False)
class Session:
    """One conversation: what has been answered in the present message, and whether the client still waits."""

    waiting: Callable[[], bool] = _always
    """Asked during a wait; False ends it without an answer."""

    answers: list[bytes] = field(default_factory=list)


Run = Callable[[Session, tuple[Token, ...]], bytes | None]


@dataclass(frozen=True, slots=True)
class Command:
    """A row of an instrument's command table."""

    pattern: str
    run: Run
    least: int = 0
    """Parameters it must have."""

    most: int = 0
    """Parameters it may have."""


Step = Command | ScpiError


class Box:
    """An instrument without any function of its own: common commands, SYSTem and STATus."""

    def __init__(self, identity: str) -> None:
        self.identity = identity
        self.status = Status()
        self.turn = threading.Condition(threading.RLock())
        """Whose turn it is; notified when an operation ends early."""

        self._tree: CommandTree[Command] = CommandTree()
        self._remembered: dict[bytes, tuple[tuple[Step, tuple[Token, ...]], ...]] = {}
        self._complete_wanted = False
        self.teach(self._common_commands())
        self.teach(self._status_commands())

    # for the instrument built on this box

    def teach(self, commands: Iterable[Command]) -> None:
        """Add rows to the command table."""
        for command in commands:
            self._tree.add(command.pattern, command)

    def pending_s(self) -> float:
        """Seconds until no overlapped operation is going on; 0 when none is."""
        return 0.0

    def reset(self) -> None:
        """*RST for the functions of the instrument."""

    def trigger(self) -> None:
        """*TRG and the trigger message of a link."""
        raise ScpiError(-211)

    # for the links

    def converse(self, message: bytes, session: Session) -> bytes:
        """Carry out one program message; the response message with its line feed, or nothing.

        Raises Abandoned when the client left while it was being waited for.
        """
        session.answers.clear()
        with self.turn:
            for step, tokens in self._steps(message):
                try:
                    if isinstance(step, ScpiError):
                        raise step
                    self._settle()
                    answer = step.run(session, tokens)
                except ScpiError as error:
                    self.status.report(error)
                else:
                    if answer is not None:
                        session.answers.append(answer)
            if not session.answers:
                return b""
            return b";".join(session.answers) + b"\n"

    def status_byte(self, message_available: bool) -> int:
        """The status byte as a link asks for it, past the message exchange."""
        with self.turn:
            self._settle()
            return self.status.byte(message_available)

    def report(self, error: ScpiError) -> None:
        """An error that a link found."""
        with self.turn:
            self.status.report(error)

    def clear_device(self) -> None:
        """What a device clear means beyond the conversation: nobody waits for an operation any more."""
        with self.turn:
            self._complete_wanted = False
            self.turn.notify_all()

    # inside

    def _steps(self, message: bytes) -> tuple[tuple[Step, tuple[Token, ...]], ...]:
        steps = self._remembered.get(message)
        if steps is None:
            steps = tuple(
                (self._step(unit.header, unit.tokens, unit.error), unit.tokens)
                for unit in parse_message(message)
            )
            if len(message) <= LONGEST_REMEMBERED and len(self._remembered) < MOST_REMEMBERED:
                self._remembered[message] = steps
        return steps

    def _step(self, header: str, tokens: tuple[Token, ...], error: ScpiError | None) -> Step:
        if error is not None:
            return error
        try:
            command, suffixes = self._tree.find(header)
        except ScpiError as unknown:
            return unknown
        if any(suffix != 1 for suffix in suffixes):
            return ScpiError(-114)
        if len(tokens) < command.least:
            return ScpiError(-109)
        return ScpiError(-108) if len(tokens) > command.most else command

    def _settle(self) -> None:
        """Let what has ended since the last look have ended."""
        if self.pending_s() <= 0.0 and self._complete_wanted:
            self._complete_wanted = False
            self.status.operation_complete()

    def _wait(self, session: Session) -> None:
        while (left := self.pending_s()) > 0.0:
            if not session.waiting():
                raise Abandoned
            self.turn.wait(min(left, LOOK_EVERY_S))
        self._settle()

    def _common_commands(self) -> Iterable[Command]:
        status = self.status
        return (
            Command("*IDN?", lambda s, t: self.identity.encode()),
            Command("*RST", self._run_reset),
            Command("*CLS", self._run_clear),
            Command("*OPC", self._run_complete),
            Command("*OPC?", self._run_complete_query),
            Command("*WAI", lambda s, t: self._wait(s)),
            Command("*TRG", lambda s, t: self.trigger()),
            Command("*TST?", lambda s, t: b"0"),
            Command("*ESR?", lambda s, t: b"%d" % status.take_event()),
            Command("*ESE?", lambda s, t: b"%d" % status.event_enable),
            Command("*ESE", self._run_event_enable, 1, 1),
            Command("*SRE?", lambda s, t: b"%d" % status.service_enable),
            Command("*SRE", self._run_service_enable, 1, 1),
            Command("*STB?", lambda s, t: b"%d" % status.byte(bool(s.answers))),
        )

    def _status_commands(self) -> Iterable[Command]:
        status = self.status
        yield Command("SYSTem:ERRor[:NEXT]?", lambda s, t: status.next_error().encode())
        yield Command("SYSTem:ERRor:ALL?", self._run_all_errors)
        yield Command("SYSTem:ERRor:COUNt?", lambda s, t: b"%d" % len(status.errors))
        yield Command("SYSTem:VERSion?", lambda s, t: VERSION.encode())
        yield Command("STATus:PRESet", self._run_status_preset)
        yield from _register_commands("STATus:OPERation", status.operation)
        yield from _register_commands("STATus:QUEStionable", status.questionable)

    def _run_reset(self, session: Session, tokens: tuple[Token, ...]) -> None:
        self._complete_wanted = False
        self.reset()

    def _run_clear(self, session: Session, tokens: tuple[Token, ...]) -> None:
        self._complete_wanted = False
        self.status.clear()

    def _run_complete(self, session: Session, tokens: tuple[Token, ...]) -> None:
        self._complete_wanted = True
        self._settle()

    def _run_complete_query(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        self._wait(session)
        return b"1"

    def _run_event_enable(self, session: Session, tokens: tuple[Token, ...]) -> None:
        self.status.event_enable = integer(tokens[0], 0, 255)

    def _run_service_enable(self, session: Session, tokens: tuple[Token, ...]) -> None:
        # bit 6 cannot be enabled: IEEE 488.2-1992 section 11.3.2
        self.status.service_enable = integer(tokens[0], 0, 255) & ~64

    def _run_all_errors(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        everything = [self.status.next_error()]
        while self.status.errors:
            everything.append(self.status.next_error())
        return ",".join(everything).encode()

    def _run_status_preset(self, session: Session, tokens: tuple[Token, ...]) -> None:
        self.status.operation.preset()
        self.status.questionable.preset()


def _register_commands(root: str, register: Register) -> Iterable[Command]:
    yield Command(f"{root}[:EVENt]?", lambda s, t: b"%d" % register.take_event())
    yield Command(f"{root}:CONDition?", lambda s, t: b"%d" % register.condition)
    for mnemonic, name in (("ENABle", "enable"), ("PTRansition", "rising"), ("NTRansition", "falling")):
        yield Command(f"{root}:{mnemonic}?", _register_query(register, name))
        yield Command(f"{root}:{mnemonic}", _register_setting(register, name), 1, 1)


def _register_query(register: Register, name: str) -> Run:
    return lambda session, tokens: b"%d" % getattr(register, name)


def _register_setting(register: Register, name: str) -> Run:
    def run(session: Session, tokens: tuple[Token, ...]) -> None:
        setattr(register, name, integer(tokens[0], 0, 0xFFFF) & ALL_BITS)

    return run
