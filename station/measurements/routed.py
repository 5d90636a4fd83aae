"""Calibrating a two-port analyzer behind a switch: error terms of each route, and the switch's own terminations.

Every standard is connected once and swept over each route that leads to it. The cables are counted as the unit's
ports, TX on 1, ANT on 2, RX on 3. While a through joins the cable of an idle port to one that is swept, the switch's
own termination of the idle port is read through it; so its reflection can be taken out of every reading later.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import combinations
from typing import get_args

import numpy as np

from station.measurements.calibration import ErrorTerms, corrected
from station.measurements.kit import Kit
from station.measurements.load import Load
from station.measurements.noise import MeasuredNoise
from station.measurements.solt import VectorProcedure
from station.measurements.standards import (
    Findings,
    Residual,
    Standard,
    StandardDoubt,
    Step,
    Swept,
    Use,
)
from station.measurements.sweep import HOOKUPS, PORTS, ComplexArray, Hookup, Port

_CABLES = tuple(range(1, len(PORTS) + 1))
_FIRST = (Use.CALIBRATE, Use.TRACE, Use.IDLE)
"""What is swept while a standard is connected for the first time."""

_STANDARDS: tuple[Standard, ...] = get_args(Standard)
_PORT_WORDS = re.compile(r"\b(ports?) ([12])(?: and ([12]))?\b")


@dataclass(frozen=True)
class RoutedProcedure:
    """Of an analyzer whose two ports a switch leads to every pair of three cables."""

    kit: Kit
    largest_step_hz: float
    repeats_within_db: float
    hookups: tuple[Hookup, ...] = HOOKUPS
    """The routes."""

    @property
    def steps(self) -> tuple[Step, ...]:
        """Those of each route, in the order of connecting."""
        steps = [_outer(step, hookup) for hookup in self.hookups for step in self._route(hookup).steps]
        steps += [
            Step("through", pair, Use.IDLE, hookup)
            for pair in combinations(_CABLES, 2)
            for hookup in self.hookups
            if len(set(pair) & set(_cables(hookup))) == 1
        ]
        return tuple(sorted(steps, key=_order))

    def doubt(self, step: Step, swept: Swept) -> StandardDoubt | None:
        """Why this standard cannot be what it should be, over the route it was swept by."""
        if step.use is Use.IDLE:
            return None
        route = self._route(step.hookup)
        found = route.doubt(_inner(step), _of_route(swept, step.hookup))
        return self._told(found, step.hookup) if found else None

    def conclude(self, swept: Swept) -> Findings | StandardDoubt:
        """Error terms of each route, how well they repeat, the noise, and the terminations of the switch."""
        found: dict[Hookup, Findings] = {}
        for hookup in self.hookups:
            one = self._route(hookup).conclude(_of_route(swept, hookup))
            if isinstance(one, StandardDoubt):
                return self._told(one, hookup)
            found[hookup] = one
        terms = {hookup: one.terms[hookup] for hookup, one in found.items()}
        return Findings(
            terms,
            tuple(_worst_residuals(found)),
            tuple(_worst_noise(one.noise for one in found.values())),
            loads=self._loads(swept, terms),
        )

    def _route(self, hookup: Hookup) -> VectorProcedure:
        return VectorProcedure((hookup,), self.kit, self.largest_step_hz, self.repeats_within_db)

    def _told(self, doubt: StandardDoubt, hookup: Hookup) -> StandardDoubt:
        """In the numbers of the cables, with every step on the connections in doubt."""
        outer = [_outer(step, hookup) for step in doubt.steps]
        again = {(step.connection, _order(step)[0]) for step in outer}
        steps = tuple(step for step in self.steps if (step.connection, _order(step)[0]) in again)
        return StandardDoubt(_in_cables(doubt.words, hookup), steps)

    def _loads(self, swept: Swept, terms: Mapping[Hookup, ErrorTerms]) -> Mapping[Port, Load]:
        """The reflection at the cable of each idle port, the mean of what was read through its throughs."""
        read: dict[Port, list[ComplexArray]] = {port: [] for port in PORTS}
        freq_hz = next(iter(terms.values())).freq_hz
        known = self.kit.through(freq_hz)
        for step, sweeps in swept.items():
            if step.use is not Use.IDLE:
                continue
            cables = _cables(step.hookup)
            (swept_cable,) = set(step.ports) & set(cables)
            (idle,) = set(step.ports) - set(cables)
            place = cables.index(swept_cable)
            seen = corrected(sweeps[0], terms[step.hookup]).s[:, place, place] - known[:, 0, 0]
            behind = seen / (known[:, 0, 1] * known[:, 1, 0] + known[:, 1, 1] * seen)
            read[PORTS[idle - 1]].append(behind)
        return {
            port: Load(f"the switch's termination of {port}", freq_hz, np.mean(each, axis=0), (0, 0))
            for port, each in read.items()
        }


def _order(step: Step) -> tuple[int, bool, tuple[int, ...], int, int]:
    """First all standards, reflections before throughs; then once more to verify; what is on stays on meanwhile."""
    turn = 0 if step.use in _FIRST else 1 if step.use is Use.VERIFY else 2
    standard, use = _STANDARDS.index(step.standard), list(Use).index(step.use)
    return turn, step.standard == "through", step.ports, standard, use


def _cables(hookup: Hookup) -> tuple[int, ...]:
    return tuple(PORTS.index(port) + 1 for port in hookup.ports)


def _outer(step: Step, hookup: Hookup) -> Step:
    """A step of a route alone, by the numbers of the cables; all are terminated where any is."""
    cables = _cables(hookup)
    ports = _CABLES if step.standard == "terminated" else tuple(cables[port - 1] for port in step.ports)
    return replace(step, ports=ports, hookup=hookup)


def _inner(step: Step) -> Step:
    """The other way round."""
    cables = _cables(step.hookup)
    ports = (1, 2) if step.standard == "terminated" else tuple(cables.index(port) + 1 for port in step.ports)
    return replace(step, ports=ports)


def _of_route(swept: Swept, hookup: Hookup) -> Swept:
    return {
        _inner(step): sweeps
        for step, sweeps in swept.items()
        if step.hookup == hookup and step.use is not Use.IDLE
    }


def _in_cables(words: str, hookup: Hookup) -> str:
    """Words of a route alone, which counts the analyzer's ports, with the numbers of the cables."""
    cables = _cables(hookup)

    def named(match: re.Match[str]) -> str:
        first = f"{match[1]} {cables[int(match[2]) - 1]}"
        return f"{first} and {cables[int(match[3]) - 1]}" if match[3] else first

    return _PORT_WORDS.sub(named, words)


def _worst_residuals(found: Mapping[Hookup, Findings]) -> Iterator[Residual]:
    """Of each kind at each cable, over all routes."""
    worst: dict[tuple[str, int], Residual] = {}
    for hookup, one in found.items():
        for each in one.residuals:
            told = replace(each, port=_cables(hookup)[each.port - 1])
            key = (told.what, told.port)
            if key not in worst or told.value_db < worst[key].value_db:
                worst[key] = told
    yield from worst.values()


def _worst_noise(found: Iterable[tuple[MeasuredNoise, ...]]) -> Iterator[MeasuredNoise]:
    """Of each bandwidth, over all routes."""
    for same_bandwidth in zip(*found, strict=True):
        leaks = [each.leakage_db for each in same_bandwidth if each.leakage_db is not None]
        yield MeasuredNoise(
            same_bandwidth[0].bandwidth_hz,
            max(each.floor_dbm for each in same_bandwidth),
            max(each.trace_db for each in same_bandwidth),
            min(leaks, default=None),
        )
