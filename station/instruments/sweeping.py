"""What every driver of a sweeping instrument does: a sweep order in, one whole sweep out.

It has no command of its own; every one comes from the dialect. What the instrument sweeps in one go is a stretch:
a segment, or a part of one where it has more points than the instrument, or the like part of a list.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from limits.reading import FloatArray
from station.errors import Garbled, Refused, UserMistake, WrongInstrument
from station.instruments.analyzer import Ability, SweepOrder
from station.instruments.dialect import Dialect, same_answer, words_for
from station.instruments.faults import COMMAND_SHOWN, cut
from station.instruments.link import Link
from station.measurements.sweep import ComplexArray, Hookup, Sweep, SweepSettings

# A point takes about the inverse of the bandwidth, and each direction is swept by itself, as often as averaged;
# the rest (settling, going back) is covered by waiting three times as long. Common practice, no source.
_PATIENCE_FACTOR = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """Frequencies swept in one go."""

    first: int
    """Where they begin among the frequencies of the order."""

    freq_hz: FloatArray


class SweepingInstrument:
    """An analyzer (see `Analyzer`) that sweeps as its dialect says; the one derived from it tells what to fetch."""

    def __init__(
        self,
        link: Link,
        dialect: Dialect,
        ability: Ability,
        *,
        identity: str,
        now: Callable[[], datetime],
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        """`identity` is text that must occur in the `*IDN?` answer; `now` gives aware UTC."""
        self._link = link
        self._dialect = dialect
        self._ability = ability
        self._identity = identity
        self._now = now
        self._monotonic = monotonic
        self._identified = False

    @property
    def ability(self) -> Ability:
        return self._ability

    def identify(self) -> str:
        """Its answer to `*IDN?`. Raises WrongInstrument when it is not the one the bench file names."""
        answer = self._link.identify()
        for wanted in (self._identity, self._dialect.form.identity):
            if wanted not in answer:
                expected = f"expected an instrument whose identity contains {wanted!r}"
                raise self._link.fault(WrongInstrument, expected, "*IDN?", answer, answer)
        self._identified = True
        return answer

    def sweep(self, order: SweepOrder) -> Sweep:
        """Carry out one order, all of it or nothing. Raises InstrumentFault, or UserMistake out of range."""
        freq_hz = order.freq_hz
        _refuse_out_of_range(freq_hz, self._ability)
        if not self._identified:
            self.identify()
        started, begun = self._now(), self._monotonic()
        ports = len(order.hookup.ports)
        s = np.full((freq_hz.size, ports, ports), complex(np.nan, np.nan), np.complex128)
        # Once a sweep and never in between: it empties the error queue, where a fetch may have left something.
        prepare = self._dialect.prepare()
        for stretch in stretches(order, self._ability, linear=self._dialect.form.frequencies == "linear"):
            part = slice(stretch.first, stretch.first + stretch.freq_hz.size)
            timeout_s = self._arrange(stretch.freq_hz, order.settings, prepare)
            self.fill(order.hookup, order.settings, timeout_s, s[part])
            prepare = ()
        self._link.order(())  # whatever the fetches left in the error queue
        took_s = self._monotonic() - begun
        return Sweep(order.hookup, freq_hz, s, order.settings, started, took_s, phase=self._ability.phase)

    def fill(self, hookup: Hookup, settings: SweepSettings, timeout_s: float, into: ComplexArray) -> None:
        """Sweep a stretch that is arranged and put it into its part of the sweep, shape (n, k, k).

        One start of a sweep may take `timeout_s`. Raises InstrumentFault.
        """
        raise NotImplementedError

    # for the driver built on this

    def acquire(self, path: str, timeout_s: float) -> None:
        """Start the sweep of an S-parameter, or of all there is, and wait for its end."""
        wait = self._dialect.form.wait
        commands = (*self._dialect.choose(path), *self._dialect.form.start)
        (done,) = self._link.order(commands, (wait,), timeout_s)
        # IEEE 488.2: *OPC? answers "1". A dialect with another question of its own is not held to it.
        if wait == "*OPC?" and done != "1":
            raise self._link.fault(Garbled, "'1' was expected", wait, done)

    # inside

    def _arrange(self, freq_hz: FloatArray, settings: SweepSettings, prepare: tuple[str, ...]) -> float:
        """Set everything, make sure it was taken, and return how long the sweeps of one start may take."""
        dialect = self._dialect
        words = words_for(settings, freq_hz)
        checks = dialect.checks(words)
        time_query = (dialect.form.sweep_time,) if dialect.form.sweep_time else ()
        questions = (*(ask for ask, _ in checks), *time_query) or (dialect.form.wait,)
        answers = self._link.order((*prepare, *dialect.arrange(words)), questions)
        for (ask, expected), answer in zip(checks, answers, strict=False):
            if not same_answer(answer, expected):
                what = f"a setting was not taken as ordered: {cut(expected, COMMAND_SHOWN)} was asked for"
                raise self._link.fault(Refused, what, ask, answer)
        told_s = self._seconds(time_query[0], answers[-1]) if time_query else 0.0
        return timeout_for(freq_hz.size, settings, told_s, self._link.patience_s)

    def _seconds(self, question: str, answer: str) -> float:
        try:
            return float(answer)
        except ValueError as error:
            raise self._link.fault(Garbled, "a number of seconds was expected", question, answer) from error


def stretches(order: SweepOrder, ability: Ability, *, linear: bool) -> tuple[Stretch, ...]:
    """An order cut into what the analyzer sweeps in one go; together exactly the frequencies of the order.

    Evenly spaced stretches never go beyond a segment; a list may. Cut into equal parts, so that no part is left
    with a single point.
    """
    wholes = [segment.freq_hz for segment in order.segments] if linear else [order.freq_hz]
    found: list[Stretch] = []
    first = 0
    for whole in wholes:
        for part in np.array_split(whole, -(-whole.size // ability.most_points)):
            found.append(Stretch(first, part))
            first += part.size
    return tuple(found)


def timeout_for(points: int, settings: SweepSettings, told_s: float, patience_s: float) -> float:
    """Seconds to wait for the end of all sweeps of one start; `told_s` is what the analyzer says one takes.

    SCPI-1999's SENSe:SWEep:TIME is of one sweep in one direction. One that counts more is waited for too long.
    """
    both_directions = 2
    one_s = max(points / settings.bandwidth_hz, told_s)
    return patience_s + _PATIENCE_FACTOR * both_directions * settings.averages * one_s


def _refuse_out_of_range(freq_hz: FloatArray, ability: Ability) -> None:
    low_hz, high_hz = float(freq_hz[0]), float(freq_hz[-1])
    if low_hz < ability.low_hz or high_hz > ability.high_hz:
        raise UserMistake(
            f"a sweep from {low_hz / 1e6:g} to {high_hz / 1e6:g} MHz goes beyond the analyzer of this bench, "
            f"{ability.low_hz / 1e6:g} to {ability.high_hz / 1e6:g} MHz"
        )
