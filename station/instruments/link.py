"""The line to one instrument: messages out, whole answers in, every fault in the words of station.errors.

What it takes care of, so that no driver has to:

- An order goes out as one joined message that ends in a question, because several small writes on a raw
  socket wait 40 ms for each other (Nagle's rule against delayed acknowledgement).
- Every wait has an end, and a connection that ended is noticed at once instead of at the end of the wait.
- An exchange that did not come to its end, for whatever reason, leaves the line in doubt: before anything
  else is asked the line is opened anew and the instrument proves itself with `*IDN?`. A late answer is
  therefore never taken for the answer to the next question.
- After every order the error queue is read; whatever is in it is a fault that quotes it.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from typing import TypeVar

from limits.reading import FloatArray
from station.errors import Garbled, InstrumentFault, Refused, Silent, WrongInstrument
from station.instruments import block
from station.instruments.block import NumberFormat
from station.instruments.faults import cut, fault_of
from station.instruments.visa import Line, open_line, translate
from station.instruments.wire import Wire

DEFAULT_PATIENCE_S = 5.0
"""How long an instrument may take to answer a question that starts no sweep; common practice, no source."""

_MOST_ERRORS = 100
_MOST_KEPT = 4096
"""Bytes of a spoilt answer that a fault carries."""

_ENTRY_SHOWN = 120
"""Characters of an entry of the error queue in a message: it explains the fault."""

Answer = TypeVar("Answer")


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
        self._line: Line | None = None
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
        raise self.fault(Garbled, "its error queue has no end", self._error_query, found[-1])

    def fault(
        self, kind: type[InstrumentFault], what: str, command: str, answer: str, brief_answer: str = ""
    ) -> InstrumentFault:
        """A fault of this instrument, to be raised: short in its message, whole in what it carries."""
        return fault_of(
            kind,
            what,
            instrument=self.instrument,
            command=command,
            answer=answer,
            brief_answer=brief_answer,
            error_query=self._error_query,
        )

    def close(self) -> None:
        """Hang up. The next question opens the line again."""
        line, self._line, self._sound = self._line, None, False
        if line is None:
            return
        # A dead line often cannot be closed in good order, and is given up either way.
        with suppress(InstrumentFault), self._border("(closing)"):
            line.hang_up()

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
        if self._line is not None and self._sound and not self._line.wire.stale():
            return self._line.wire
        return self._open_again() if self._opened_before else self._open()

    def _open(self) -> Wire:
        with self._border("(opening the line)", opening=True):
            self._line = open_line(self.address, self._backend, self.patience_s)
        self._opened_before, self._sound = True, True
        return self._line.wire

    def _open_again(self) -> Wire:
        self.close()
        wire = self._open()
        answer = self._exchange("*IDN?", self._text)
        if self._identity and answer != self._identity:
            self._sound = False
            raise self.fault(WrongInstrument, f"it was {self._identity!r} before", "*IDN?", answer, answer)
        # IEEE 488.2-1992, 10.14: four fields separated by commas (clause from memory).
        if answer.count(",") < 3:
            self._sound = False
            raise self.fault(Garbled, "this is no identity of four fields", "*IDN?", answer)
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
        others = f" and {len(found) - 1} more" if found[1:] else ""
        brief = cut(found[0], _ENTRY_SHOWN) + others
        raise self.fault(Refused, "the instrument refused", message, "; ".join(found), brief) from cause

    def _is_no_error(self, answer: str) -> bool:
        number = answer.partition(",")[0]
        try:
            return int(number) == 0
        except ValueError as error:
            self._sound = False
            raise self.fault(
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
            heard = bytes(wire.heard) if wire is not None else b""
            if not heard:
                raise self.fault(kind, what, command, "") from error
            whole, brief = block.shown(heard, _MOST_KEPT), block.shown(heard)
            raise self.fault(kind, what, command, whole, brief) from error


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
