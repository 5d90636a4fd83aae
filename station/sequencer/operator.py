"""Whoever stands at the bench: a person at a terminal, a person at a page, or hands in software."""

from __future__ import annotations

from datetime import datetime
from typing import Protocol

from station.measurements.standards import Standard, ports_in_words
from station.measurements.sweep import Hookup

CAUTIONS: tuple[str, ...] = (
    "Never key a transmitter into a unit on the bench: it destroys the analyzer, and RF burns.",
    "Cavity units are heavy: support the unit, keep fingers clear, lift it with two people where the works says so.",
    "Let only authorised persons open mains-powered equipment. Local codes and licence conditions come first.",
)
"""What an operator is told before the first hook-up; the usual cautions of the trade."""


class Operator(Protocol):
    """The sequencer asks; this answers."""

    @property
    def name(self) -> str:
        """Who it is, for the record."""
        ...

    @property
    def answers(self) -> bool:
        """Whether it may be asked anything but the hook-ups, and may wait."""
        ...

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        """Cable the unit so, and return when it is done.

        Raises KeyboardInterrupt when the operator wants to stop.
        """
        ...

    def look_again(self, serial: str, hookup: Hookup, reason: str) -> None:
        """The last sweep is not believed: look, cable the unit so once more, and return when it is done.

        Whoever is sure that all is right returns at once; the sweep is taken again either way. Raises
        KeyboardInterrupt when the operator wants to stop.
        """
        ...

    def reconnect(self, serial: str, hookup: Hookup, place: str) -> None:
        """Take every cable off and put it on as it was; `place` tells which time this is, e.g. `3 of 10`."""
        ...

    def settled_since(self, serial: str, asked_s: float, now: datetime) -> datetime:
        """Since when the unit has lain at the bench, where its recipe asks for so long; aware, not after `now`."""
        ...

    def wait(self, serial: str, left_s: float) -> None:
        """Tell how long the unit must still lie at the bench, and return when that time is over.

        The clock decides whether it is.
        """
        ...

    def temperature_c(self, serial: str) -> float:
        """How warm the unit is now, by a thermometer that the station cannot read."""
        ...

    def connect(self, standard: Standard, ports: tuple[int, ...]) -> None:
        """Connect a standard to these of the analyzer's test ports, counted from 1, and return when it is done.

        Raises KeyboardInterrupt when the operator wants to stop.
        """
        ...

    def connect_again(self, standard: Standard, ports: tuple[int, ...], reason: str) -> None:
        """What was read of a standard is not believed: take it off, look, connect it once more, and return.

        Raises KeyboardInterrupt when the operator wants to stop.
        """
        ...

    def tries_on(self, reason: str, tries: int) -> bool:
        """Whether to connect once more what was not believed even after so many tries more, and keep the rest.

        Otherwise nothing of the calibration is kept.
        """
        ...


CALIBRATION_CAUTIONS: tuple[str, ...] = (
    "Nothing is keyed and nothing else is connected: a calibration needs quiet.",
    "Let the analyzer warm up first, and leave cables as they will lie in the test.",
    "Gauge and clean every connector; turn the nut, never the standard, and tighten with the torque wrench.",
)
"""What an operator is told before the first standard; the usual cautions of the trade."""


def standard_instruction(standard: Standard, ports: tuple[int, ...]) -> str:
    """What to connect, in one line."""
    if standard == "through":
        return f"the through between {ports_in_words(ports)}"
    if standard == "terminated":
        return f"a load on each of {ports_in_words(ports)}" if len(ports) > 1 else "a load on port 1"
    return f"the {standard} on {ports_in_words(ports)}, every other port left open"


def instructions(hookup: Hookup) -> tuple[str, ...]:
    """One line per cable of a hook-up, in the order in which they are screwed on.

    A single port is swept through the return-loss bridge.
    """
    loads = (f"50 ohm load       to unit port {port}" for port in hookup.loaded)
    if len(hookup.ports) == 1:
        return (*loads, f"bridge, test port to unit port {hookup.first}")
    return (
        *loads,
        *(f"analyzer port {place}   to unit port {port}" for place, port in enumerate(hookup.ports, 1)),
    )
