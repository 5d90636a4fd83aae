"""Connectors wear: every mating of a cable's end is counted as it is made, and a worn one keeps units from the bench.

Only an end that is moved is mated; what stays on the same port from one hook-up to the next is not. Where nobody
knows how an end lay before, at the beginning and after an operator stopped, it counts as moved.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

from station.bench.cables import BRIDGE, Cables
from station.measurements.sweep import Hookup
from station.sequencer.operator import Operator
from station.sequencer.reasons import Circumstances, Reason

WARN_FROM = 0.9
"""Of a cable's matings: early enough to order what will replace it (a house rule, no source)."""

On = Mapping[str, str]
"""What each end is screwed to, by the end's port (see `station.bench.cables.ENDS`)."""


@dataclass(slots=True)
class Wear:
    """Counts matings as long as a bench is open."""

    cables: Cables
    keep: Callable[[Mapping[str, int]], None]
    """Keeps the matings just made, by the cable's name."""

    bridge: bool = False
    """Whether a single port is swept over a return-loss bridge."""

    _on: dict[str, str] = field(default_factory=dict)

    def mated(self, on: On, *, anew: bool = False) -> None:
        """Everything is now screwed on so; with `anew` every end of it was taken off before."""
        moved = {end for end, what in on.items() if anew or self._on.get(end) != what}
        self._on = dict(on)
        made = Counter(name for name, form in self.cables.items() if form.port in moved)
        if made:
            self.keep(made)

    def forget(self) -> None:
        """Nobody knows any more how the ends lie."""
        self._on = {}


def unit_on(serial: str, hookup: Hookup) -> On:
    """The ends that a hook-up of a unit uses; a single port hangs on the return-loss bridge."""
    if len(hookup.ports) == 1:
        return {BRIDGE: f"{serial} {hookup.first}"}
    return {str(place): f"{serial} {port}" for place, port in enumerate(hookup.ports, 1)}


def standard_on(standard: str, ports: tuple[int, ...], *, bridge: bool = False) -> On:
    """The ends that a calibration standard is screwed to; one of a single port to the bridge, where there is one."""
    if bridge and len(ports) == 1:
        return {BRIDGE: standard}
    return {str(port): standard for port in ports}


class CountedOperator:
    """An operator whose every hook-up is counted; whatever else it does, it does itself."""

    def __init__(self, operator: Operator, wear: Wear) -> None:
        self._operator: Any = operator
        self._wear = wear

    def __getattr__(self, name: str) -> Any:
        """Everything that mates nothing."""
        return getattr(self._operator, name)

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        """As the operator does it; the ends that moved are counted."""
        self._done(lambda: self._operator.hook_up(serial, hookup), unit_on(serial, hookup))

    def look_again(self, serial: str, hookup: Hookup, reason: str) -> None:
        """As the operator does it; every end is counted, since each is loosened and tightened again."""
        self._done(
            lambda: self._operator.look_again(serial, hookup, reason), unit_on(serial, hookup), anew=True
        )

    def reconnect(self, serial: str, hookup: Hookup, place: str) -> None:
        """As the operator does it; every end is counted."""
        self._done(
            lambda: self._operator.reconnect(serial, hookup, place), unit_on(serial, hookup), anew=True
        )

    def connect(self, standard: str, ports: tuple[int, ...]) -> None:
        """As the operator does it; the ends that moved are counted."""
        on = standard_on(standard, ports, bridge=self._wear.bridge)
        self._done(lambda: self._operator.connect(standard, ports), on)

    def connect_again(self, standard: str, ports: tuple[int, ...], reason: str) -> None:
        """As the operator does it; every end is counted."""
        on = standard_on(standard, ports, bridge=self._wear.bridge)
        self._done(lambda: self._operator.connect_again(standard, ports, reason), on, anew=True)

    def _done(self, deed: Callable[[], None], on: On, *, anew: bool = False) -> None:
        try:
            deed()
        except BaseException:
            self._wear.forget()
            raise
        self._wear.mated(on, anew=anew)


def counted(operator: Operator, wear: Wear) -> Operator:
    """The operator, with every mating counted; as it is where the bench file names no cables."""
    return cast(Operator, CountedOperator(operator, wear)) if wear.cables else operator


def worn(around: Circumstances) -> Iterator[Reason]:
    """Whether every cable may still be screwed on."""
    for name, matings, most in _used(around):
        if matings >= most:
            yield Reason(
                f"{name} was mated {matings} times, and is to be serviced after {most}",
                f'gauge or replace its connector, then run `station service "{name}" --by NAME`',
            )


def nearly_worn(around: Circumstances) -> Iterator[Reason]:
    """What will soon keep the station from testing."""
    for name, matings, most in _used(around):
        if WARN_FROM * most <= matings < most:
            yield Reason(
                f"{name} was mated {matings} times, and is to be serviced after {most}",
                "have its replacement at hand",
            )


def _used(around: Circumstances) -> Iterator[tuple[str, int, int]]:
    """Each cable of the bench, its matings and how many it may have."""
    cables = around.bench.source.value.cables
    if not cables:
        return
    counts = around.store.cable_counts(around.bench.name)
    for name, form in cables.items():
        yield name, counts[name].matings if name in counts else 0, form.service_after
