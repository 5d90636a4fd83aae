"""Reasons not to test, each with its way out; none means ready. Asked before the first hook-up."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from station.errors import InstrumentFault
from station.instruments.analyzer import Analyzer

LEAST_FREE_BYTES = 50_000_000
"""Room for some hundred units and their certificates: below it, a run might not be kept whole."""


@dataclass(frozen=True, slots=True)
class Readiness:
    """What the station found when it looked at itself."""

    identity: str
    """The analyzer's answer to `*IDN?`; empty when it gave none that could be accepted."""

    reasons: tuple[str, ...]

    @property
    def is_ready(self) -> bool:
        """Whether nothing speaks against testing."""
        return not self.reasons


def look_around(analyzer: Analyzer, folder: Path, key_file: Path) -> Readiness:
    """Ask the analyzer who it is, and look at the disk and at the signing key."""
    reasons: list[str] = []
    identity = ""
    try:
        identity = analyzer.identify()
    except InstrumentFault as fault:
        reasons.append(str(fault))
    free = shutil.disk_usage(folder).free
    if free < LEAST_FREE_BYTES:
        reasons.append(
            f"{folder}: only {free / 1e6:.0f} MB are free, {LEAST_FREE_BYTES / 1e6:.0f} are needed; make room"
        )
    if not key_file.is_file():
        reasons.append(
            f"{key_file}: the signing key is missing, so no certificate could be made; run `station key`"
        )
    return Readiness(identity, tuple(reasons))
