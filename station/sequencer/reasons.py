"""What the questions before a test look at, and what they answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from station.bench.file import Bench
from station.database.store import Store
from station.sequencer.conditions import UNKNOWN, Climate


@dataclass(frozen=True, slots=True)
class Circumstances:
    """All that the questions look at."""

    folder: Path
    """The works folder."""

    key_file: Path
    bench: Bench
    store: Store
    now: datetime
    identity: str = ""
    """The analyzer's answer to `*IDN?`; empty when it gave none that could be accepted."""

    bench_c: float | None = None
    """The temperature at the bench, where it is known: what a calibration was made at; no unit's."""

    climate: Climate = UNKNOWN
    """Of the unit, as far as it is known."""


@dataclass(frozen=True, slots=True)
class Reason:
    """Something that speaks against testing."""

    what: str
    way_out: str

    def __str__(self) -> str:
        return f"{self.what}; {self.way_out}" if self.way_out else self.what


Question = Callable[[Circumstances], Iterator[Reason]]
