"""What can be made to go wrong on the bench, so that a station can be shown to notice.

Not part of any instrument's language: the hands or a test ask for it. A fault waits for a message that
contains `when`, acts `times` times (0: until it is cleared) and is used up.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import Literal, get_args

import numpy as np

from fixtures_sim.device import ComplexArray
from fixtures_sim.scpi.box import Box, Session
from fixtures_sim.scpi.errors import ScpiError

Kind = Literal[
    "silent",
    "late",
    "garbage",
    "truncated block",
    "not a number",
    "queued error",
    "wrong identity",
    "hangs up",
]

FAULTS: Mapping[str, str] = MappingProxyType(
    {
        "silent": "carries the message out and answers nothing",
        "late": "answers `seconds` late",
        "garbage": "answers bytes that mean nothing",
        "truncated block": "announces a block and sends only half of it",
        "not a number": "the first value of the data is not a number",
        "queued error": "puts -310 System error into the error queue",
        "wrong identity": "says that it is another instrument",
        "hangs up": "closes the connection after `seconds` instead of carrying the message out",
    }
)
USUAL_WHEN: Mapping[str, str] = MappingProxyType(
    {
        "not a number": "DATA?",
        "truncated block": "DATA?",
        "wrong identity": "*IDN?",
        "queued error": "INIT",
        "hangs up": "INIT",
    }
)
GARBAGE = b"\xff\xfe~~~ 3.1.4,,;;\x00\n"
WRONG_IDENTITY = b"Nobody,Something else,0,0\n"


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that will go wrong."""

    kind: Kind
    when: str = ""
    """Upper case text that the message must contain; the kind's usual one, or any query, where empty."""

    seconds: float = 0.5
    times: int = 1

    def __post_init__(self) -> None:
        if self.kind not in get_args(Kind):
            raise ValueError(f"there is no fault {self.kind!r}; the faults are {', '.join(FAULTS)}")
        if self.seconds < 0.0 or self.times < 0:
            raise ValueError("seconds and times of a fault cannot be negative")

    def hits(self, message: bytes) -> bool:
        """Whether this message makes it happen."""
        when = self.when or USUAL_WHEN.get(self.kind, "?")
        return when.upper().encode() in message.upper()


@dataclass(frozen=True, slots=True)
class Reply:
    """What a link must do with an answer."""

    data: bytes
    after_s: float = 0.0
    close: bool = False


class Faults:
    """Those waiting to happen."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._waiting: tuple[Fault, ...] = ()

    def add(self, fault: Fault) -> None:
        with self._lock:
            self._waiting = (*self._waiting, fault)

    def clear(self) -> None:
        with self._lock:
            self._waiting = ()

    def take(self, message: bytes, *kinds: Kind) -> Fault | None:
        """The first waiting fault of these kinds that the message sets off, counted down."""
        if not self._waiting:
            return None
        with self._lock:
            for place, fault in enumerate(self._waiting):
                if fault.kind in kinds and fault.hits(message):
                    left = () if fault.times == 1 else (_counted_down(fault),)
                    self._waiting = (*self._waiting[:place], *left, *self._waiting[place + 1 :])
                    return fault
        return None


def carry_out(box: Box, faults: Faults, message: bytes, session: Session) -> Reply:
    """The box's reply to one message, as the waiting faults leave it.

    Raises scpi.box.Abandoned when the client left while it was being waited for.
    """
    if gone := faults.take(message, "hangs up"):
        return Reply(b"", after_s=gone.seconds, close=True)
    answer = box.converse(message, session)
    if faults.take(message, "queued error"):
        box.report(ScpiError(-310))
    fault = faults.take(message, "silent", "late", "garbage", "truncated block", "wrong identity")
    return Reply(answer) if fault is None else _spoilt(fault, answer)


def _spoilt(fault: Fault, answer: bytes) -> Reply:
    spoilt = {
        "silent": b"",
        "late": answer,
        "garbage": GARBAGE,
        "truncated block": answer[: len(answer) // 2],
        "wrong identity": WRONG_IDENTITY,
    }
    return Reply(spoilt[fault.kind], after_s=fault.seconds if fault.kind == "late" else 0.0)


def _counted_down(fault: Fault) -> Fault:
    return replace(fault, times=fault.times - 1) if fault.times else fault


def without_first(values: ComplexArray) -> ComplexArray:
    """The values with not-a-number in the first place."""
    spoilt = values.copy()
    spoilt[:1] = complex(np.nan, np.nan)
    return spoilt
