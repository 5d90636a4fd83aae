"""Every kind of instrument driver by the name that a bench file uses."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Protocol

from station.instruments.analyzer import Ability, Analyzer
from station.instruments.dialect import Dialect
from station.instruments.link import Link
from station.instruments.scalar import ScalarAnalyzer
from station.instruments.vector import VectorAnalyzer
from station.measurements.sweep import HOOKUPS, SINGLES, WHOLE, Hookup


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
    hookups: tuple[Hookup, ...] = HOOKUPS
    """What it sweeps."""

    phase: bool = True
    """Whether it measures phases."""

    paths: tuple[str, ...] = ("one", "all")
    """The `paths` of the dialects it can speak."""

    behind_switch: bool = False
    """Whether a switch may lead its ports to every pair of the unit's."""


ANALYZERS: tuple[AnalyzerKind, ...] = (
    AnalyzerKind("vector", VectorAnalyzer, behind_switch=True),
    AnalyzerKind("three-port", VectorAnalyzer, (WHOLE,)),
    AnalyzerKind("scalar", ScalarAnalyzer, (*HOOKUPS, *SINGLES), phase=False, paths=("none",)),
)
"""`vector` is a two-port vector network analyzer: complex S-parameters. `three-port` is one with a port for each of
the unit's, which measures all in one hook-up. `scalar` is a spectrum analyzer with tracking generator and a
return-loss bridge: magnitudes, of a transmission one way, of a reflection one port at a time."""


def kind_named(name: str) -> AnalyzerKind | None:
    """The kind of a name; None where there is none."""
    return next((kind for kind in ANALYZERS if kind.name == name), None)
