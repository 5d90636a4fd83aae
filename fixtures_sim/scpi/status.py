"""What an instrument remembers of its own state: event registers, status byte, error queue.

IEEE 488.2-1992 chapter 11 and SCPI-1999 volume 1 chapter 9, volume 2 STATus.
"""

from __future__ import annotations

from collections import deque

from fixtures_sim.scpi.errors import OPC_BIT, PON_BIT, TEXTS, ScpiError, event_bit
from fixtures_sim.scpi.values import quoted

QMA, QUES, MAV, ESB, MSS, OPER = 4, 8, 16, 32, 64, 128
"""Weights in the status byte."""

ALL_BITS = 0x7FFF
"""SCPI registers have 15 usable bits."""

QUEUE_LENGTH = 20
LONGEST_TEXT = 255


class Register:
    """A SCPI condition register with its transition filters, event and enable registers."""

    def __init__(self) -> None:
        self.condition = 0
        self.event = 0
        self.preset()

    def preset(self) -> None:
        """As STATus:PRESet leaves it."""
        self.enable, self.rising, self.falling = 0, ALL_BITS, 0

    def set(self, bit: int, on: bool) -> None:
        """Set one condition bit; the event it means is latched."""
        before = self.condition
        self.condition = before | 1 << bit if on else before & ~(1 << bit)
        self.event |= self.condition & ~before & self.rising | before & ~self.condition & self.falling

    def take_event(self) -> int:
        """Read the event register, which clears it."""
        event, self.event = self.event, 0
        return event

    @property
    def summary(self) -> bool:
        return bool(self.event & self.enable)


class Status:
    """All status of one instrument."""

    def __init__(self) -> None:
        self.operation = Register()
        self.questionable = Register()
        self.event = 1 << PON_BIT
        self.event_enable = 0
        self.service_enable = 0
        self.errors: deque[str] = deque()

    def report(self, error: ScpiError) -> None:
        """Put an error into the queue and its class into the event register."""
        self.event |= 1 << event_bit(error.number)
        if len(self.errors) == QUEUE_LENGTH:
            self.errors[-1] = error_text(-350)
        else:
            self.errors.append(error_text(error.number, error.detail))

    def next_error(self) -> str:
        """The oldest error, which leaves the queue."""
        return self.errors.popleft() if self.errors else error_text(0)

    def operation_complete(self) -> None:
        self.event |= 1 << OPC_BIT

    def take_event(self) -> int:
        """Read the standard event status register, which clears it."""
        event, self.event = self.event, 0
        return event

    def clear(self) -> None:
        """As *CLS: events and errors go, enable registers stay."""
        self.errors.clear()
        self.event = self.operation.event = self.questionable.event = 0

    def byte(self, message_available: bool) -> int:
        """The status byte, with the master summary in bit 6."""
        value = (
            QMA * bool(self.errors)
            + QUES * self.questionable.summary
            + MAV * message_available
            + ESB * bool(self.event & self.event_enable)
            + OPER * self.operation.summary
        )
        return value + MSS * bool(value & self.service_enable)


def error_text(number: int, detail: str = "") -> str:
    """`-222,"Data out of range;what was wrong"`, at most 255 characters inside the quotes."""
    text = f"{TEXTS[number]};{detail}" if detail else TEXTS[number]
    plain = text.encode("ascii", "replace").decode()
    return f"{number},{quoted(' '.join(plain.split())[:LONGEST_TEXT])}"
