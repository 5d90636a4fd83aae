"""Every kind of instrument driver by the name that a bench file uses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from station.instruments.analyzer import Ability, Analyzer
from station.instruments.dialect import Dialect
from station.instruments.link import Link
from station.instruments.vector import VectorAnalyzer


class MakesAnalyzer(Protocol):
    """Makes a driver over a link that is or will be open; talks to nobody."""

    def __call__(
        self,
        link: Link,
        dialect: Dialect,
        ability: Ability,
        *,
        identity: str,
        now: Callable[[], datetime],
    ) -> Analyzer: ...


@dataclass(frozen=True, slots=True)
class AnalyzerKind:
    """One kind of analyzer."""

    name: str
    make: MakesAnalyzer


ANALYZERS: tuple[AnalyzerKind, ...] = (AnalyzerKind("vector", VectorAnalyzer),)
"""`vector` is a two-port vector network analyzer: complex S-parameters."""
