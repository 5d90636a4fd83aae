"""What can be set on any instrument of the bench that sweeps, within which limits, and the commands that do it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from fixtures_sim.device import FloatArray
from fixtures_sim.scpi.box import Command, Run, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token
from fixtures_sim.scpi.values import boolean, choice, decimal, nr3, number, special

LOW_HZ, HIGH_HZ = 300e3, 3e9
MOST_POINTS = 20_001


@dataclass(frozen=True, slots=True)
class SweepState:
    """One state of an instrument that sweeps; the defaults are those after *RST."""

    start_hz: float = LOW_HZ
    stop_hz: float = HIGH_HZ
    points: int = 201
    bandwidth_hz: float = 1e3
    averaging: bool = False
    average_count: int = 1
    power_dbm: float = 0.0
    output: bool = True
    continuous: bool = False
    trigger: str = "IMM"
    encoding: str = "ASC"
    border: str = "NORM"

    @property
    def averages(self) -> int:
        """Those that count."""
        return self.average_count if self.averaging else 1

    @property
    def point_count(self) -> int:
        """Of a sweep."""
        return self.points

    def frequencies(self) -> FloatArray:
        """Of a sweep."""
        return np.linspace(self.start_hz, self.stop_hz, self.points)


class Sweeping(Protocol):
    """What the commands need of the instrument."""

    settings: Any
    """A SweepState, or what is derived from it."""

    def restart(self) -> None:
        """Stop the sweep; a new mode of INITiate begins."""
        ...


@dataclass(frozen=True, slots=True)
class Number:
    """A setting that is one number."""

    pattern: str
    field: str
    unit: str | None
    low: float
    high: float
    whole: bool = False


_NUMBERS = (
    Number("SENSe#:FREQuency:STARt", "start_hz", "hertz", LOW_HZ, HIGH_HZ),
    Number("SENSe#:FREQuency:STOP", "stop_hz", "hertz", LOW_HZ, HIGH_HZ),
    Number("SENSe#:FREQuency:CENTer", "center_hz", "hertz", LOW_HZ, HIGH_HZ),
    Number("SENSe#:FREQuency:SPAN", "span_hz", "hertz", 0.0, HIGH_HZ - LOW_HZ),
    Number("SENSe#:SWEep:POINts", "points", None, 1, MOST_POINTS, whole=True),
    Number("SENSe#:BANDwidth[:RESolution]", "bandwidth_hz", "hertz", 1.0, 100e3),
    Number("SENSe#:AVERage:COUNt", "average_count", None, 1, 1024, whole=True),
    Number("SOURce#:POWer[:LEVel][:IMMediate][:AMPLitude]", "power_dbm", "dbm", -60.0, 10.0),
)

_SWITCHES = (
    ("SENSe#:AVERage[:STATe]", "averaging"),
    ("OUTPut#[:STATe]", "output"),
)

_CHOICES = (("FORMat:BORDer", "border", ("NORMal", "SWAPped")),)


class SweepCommands:
    """The rows of the command table that set and ask for what every sweeping instrument has.

    Derived for an instrument that has more to set; `choices` are its settings that are one of several words.
    """

    def __init__(
        self, instrument: Sweeping, choices: tuple[tuple[str, str, tuple[str, ...]], ...] = ()
    ) -> None:
        self._instrument = instrument
        self._choices = (*_CHOICES, *choices)

    def rows(self) -> Iterable[Command]:
        """All of them."""
        for row in _NUMBERS:
            yield Command(row.pattern, self._set_number(row), 1, 1)
            yield Command(f"{row.pattern}?", self._ask_number(row), 0, 1)
        for pattern, name in _SWITCHES:
            yield Command(pattern, self._set_switch(name), 1, 1)
            yield Command(f"{pattern}?", self._ask_switch(name))
        for pattern, name, choices in self._choices:
            yield Command(pattern, self._set_choice(name, choices), 1, 1)
            yield Command(f"{pattern}?", self._ask_choice(name))
        yield Command("INITiate:CONTinuous", self._run_continuous, 1, 1)
        yield Command("INITiate:CONTinuous?", self._ask_switch("continuous"))
        yield Command("TRIGger[:SEQuence]:SOURce", self._run_trigger, 1, 1)
        yield Command("TRIGger[:SEQuence]:SOURce?", self._ask_choice("trigger"))
        yield Command("FORMat[:DATA]", self._run_encoding, 1, 2)
        yield Command("FORMat[:DATA]?", self._ask_encoding)

    @property
    def _now(self) -> Any:
        return self._instrument.settings

    def _change(self, **changes: Any) -> None:
        self._instrument.settings = replace(self._instrument.settings, **changes)

    def _set_number(self, row: Number) -> Run:
        def run(session: Session, tokens: tuple[Token, ...]) -> None:
            value = number(tokens[0], row.low, row.high, _read(SweepState(), row.field), row.unit)
            if row.field in _COUPLED:
                self._change(**_COUPLED[row.field](self._now, value))
            else:
                self._change(**{row.field: round(value) if row.whole else value})

        return run

    def _ask_number(self, row: Number) -> Run:
        def run(session: Session, tokens: tuple[Token, ...]) -> bytes:
            value = _read(self._now, row.field)
            if tokens:
                asked = special(tokens[0], row.low, row.high, _read(SweepState(), row.field))
                if asked is None:
                    raise ScpiError(-141)
                value = asked
            return (str(round(value)) if row.whole else nr3(value)).encode()

        return run

    def _set_switch(self, name: str) -> Run:
        return lambda session, tokens: self._change(**{name: boolean(tokens[0])})

    def _ask_switch(self, name: str) -> Run:
        return lambda session, tokens: b"%d" % getattr(self._now, name)

    def _set_choice(self, name: str, choices: tuple[str, ...]) -> Run:
        return lambda session, tokens: self._change(**{name: choice(tokens[0], choices)})

    def _ask_choice(self, name: str) -> Run:
        return lambda session, tokens: str(getattr(self._now, name)).encode()

    def _run_continuous(self, session: Session, tokens: tuple[Token, ...]) -> None:
        on = boolean(tokens[0])
        if on and self._now.trigger != "IMM":
            raise ScpiError(-221, "continuous sweeps need TRIGger:SOURce IMMediate")
        if on != self._now.continuous:
            self._change(continuous=on)
            self._instrument.restart()

    def _run_trigger(self, session: Session, tokens: tuple[Token, ...]) -> None:
        source = choice(tokens[0], ("IMMediate", "BUS"))
        if self._now.continuous and source != "IMM":
            raise ScpiError(-221, "continuous sweeps need TRIGger:SOURce IMMediate")
        self._change(trigger=source)

    def _run_encoding(self, session: Session, tokens: tuple[Token, ...]) -> None:
        encoding = choice(tokens[0], ("REAL", "ASCii"))
        size = decimal(tokens[1]) if len(tokens) == 2 else {"REAL": 64.0, "ASC": 0.0}[encoding]
        if (encoding, size) not in (("REAL", 64.0), ("REAL", 32.0), ("ASC", 0.0)):
            raise ScpiError(-224)
        self._change(encoding="ASC" if encoding == "ASC" else f"REAL,{size:.0f}")

    def _ask_encoding(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return b"ASC,0" if self._now.encoding == "ASC" else self._now.encoding.encode()


def _read(settings: SweepState, field: str) -> float:
    if field == "center_hz":
        return (settings.start_hz + settings.stop_hz) / 2.0
    if field == "span_hz":
        return settings.stop_hz - settings.start_hz
    return float(getattr(settings, field))


def _with_start(now: SweepState, start_hz: float) -> dict[str, float]:
    return {"start_hz": start_hz, "stop_hz": max(start_hz, now.stop_hz)}


def _with_stop(now: SweepState, stop_hz: float) -> dict[str, float]:
    return {"start_hz": min(now.start_hz, stop_hz), "stop_hz": stop_hz}


def _with_center(now: SweepState, center_hz: float) -> dict[str, float]:
    half = min((now.stop_hz - now.start_hz) / 2.0, center_hz - LOW_HZ, HIGH_HZ - center_hz)
    return {"start_hz": center_hz - half, "stop_hz": center_hz + half}


def _with_span(now: SweepState, span_hz: float) -> dict[str, float]:
    center_hz = (now.start_hz + now.stop_hz) / 2.0
    half = min(span_hz / 2.0, center_hz - LOW_HZ, HIGH_HZ - center_hz)
    return {"start_hz": center_hz - half, "stop_hz": center_hz + half}


_COUPLED: dict[str, Callable[[SweepState, float], dict[str, float]]] = {
    "start_hz": _with_start,
    "stop_hz": _with_stop,
    "center_hz": _with_center,
    "span_hz": _with_span,
}
"""Start and stop push each other; center keeps the span and span the center, as far as the range allows."""
