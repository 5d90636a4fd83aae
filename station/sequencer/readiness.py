"""Reasons not to test, each with its way out; none means ready. Asked before the first hook-up.

Each reason comes from one question in QUESTIONS; to ask something more, write a function and add it there. What a
question looks at and answers is in `reasons.py`.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import chain

from station.errors import InstrumentFault
from station.instruments.analyzer import Analyzer
from station.sequencer.calibration_age import calibration_holds
from station.sequencer.promises import kept_promises
from station.sequencer.reasons import Circumstances, Question, Reason
from station.sequencer.settling import settle, temperature
from station.sequencer.standing import check_standard
from station.sequencer.wear import nearly_worn, worn

LEAST_FREE_BYTES = 50_000_000
"""Room for some hundred units and their certificates: below it, a run might not be kept whole."""


@dataclass(frozen=True, slots=True)
class Readiness:
    """What the station found when it looked at itself."""

    identity: str
    """The analyzer's answer to `*IDN?`; empty when it gave none that could be accepted."""

    reasons: tuple[Reason, ...]
    warnings: tuple[Reason, ...] = ()
    """What will soon speak against testing."""

    @property
    def is_ready(self) -> bool:
        """Whether nothing speaks against testing."""
        return not self.reasons


def look_around(
    analyzer: Analyzer, circumstances: Callable[[str], Circumstances], questions: tuple[Question, ...] = ()
) -> Readiness:
    """Ask the analyzer who it is, and then every question; `circumstances` takes the analyzer's answer."""
    reasons: list[Reason] = []
    identity = ""
    try:
        identity = analyzer.identify()
    except InstrumentFault as fault:
        reasons.append(
            Reason(str(fault), "switch it on, or put its address and identity right in bench.yaml")
        )
    around = circumstances(identity)
    for question in questions or QUESTIONS:
        reasons += question(around)
    warnings = tuple(chain.from_iterable(question(around) for question in WARNINGS))
    return Readiness(identity, tuple(reasons), warnings)


def room_on_disk(around: Circumstances) -> Iterator[Reason]:
    """Whether a run can be kept whole."""
    free = shutil.disk_usage(around.folder).free
    if free < LEAST_FREE_BYTES:
        yield Reason(
            f"{around.folder}: only {free / 1e6:.0f} MB are free, {LEAST_FREE_BYTES / 1e6:.0f} are needed",
            "make room",
        )


def signing_key(around: Circumstances) -> Iterator[Reason]:
    """Whether a certificate could be signed."""
    if not around.key_file.is_file():
        yield Reason(
            f"{around.key_file}: the signing key is missing, so no certificate could be made",
            "run `station key`",
        )


QUESTIONS: tuple[Question, ...] = (
    room_on_disk,
    signing_key,
    calibration_holds,
    kept_promises,
    check_standard,
    settle,
    temperature,
    worn,
)

WARNINGS: tuple[Question, ...] = (nearly_worn,)

BEFORE_A_CHECK = tuple(each for each in QUESTIONS if each not in (signing_key, check_standard))
"""What is asked before the check standard is measured: it is what answers for itself."""
