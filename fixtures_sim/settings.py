"""What can be set on the vector analyzer, within which limits, and the commands that do it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any, Protocol

import numpy as np

from fixtures_sim.device import FloatArray
from fixtures_sim.imperfections import PARAMETERS
from fixtures_sim.scpi.box import Command, Run, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token
from fixtures_sim.scpi.values import boolean, choice, decimal, nr3, number, quoted, special, string

LOW_HZ, HIGH_HZ = 300e3, 3e9
MOST_POINTS = 20_001
FORMS = ("COMPlex", "MLOGarithmic", "MLINear", "PHASe", "REAL", "IMAGinary", "SWR")

_FUNCTION = re.compile(r"XFR(?:EQUENCY)?:POW(?:ER)?:(S[12][12])")


@dataclass(frozen=True, slots=True)
class Settings:
    """One state of the analyzer; the defaults are those after *RST."""

    start_hz: float = LOW_HZ
    stop_hz: float = HIGH_HZ
    points: int = 201
    mode: str = "SWE"
    listed_hz: tuple[float, ...] = ()
    bandwidth_hz: float = 1e3
    averaging: bool = False
    average_count: int = 1
    power_dbm: float = 0.0
    output: bool = True
    functions: tuple[str, ...] = ("S11",)
    """In the order they were switched on."""

    concurrent: bool = False
    continuous: bool = False
    trigger: str = "IMM"
    form: str = "MLOG"
    encoding: str = "ASC"
    border: str = "NORM"

    @property
    def averages(self) -> int:
        """Those that count."""
        return self.average_count if self.averaging else 1

    @property
    def point_count(self) -> int:
        """Of a sweep in the present mode."""
        return self.points if self.mode == "SWE" else len(self.listed_hz)

    def frequencies(self) -> FloatArray:
        """Of a sweep in the present mode. Raises ScpiError -221 when the list is wanted and empty."""
        if self.mode == "SWE":
            return np.linspace(self.start_hz, self.stop_hz, self.points)
        if not self.listed_hz:
            raise ScpiError(-221, "the list of frequencies is empty")
        return np.array(self.listed_hz)


def function_name(text: str) -> str:
    """`XFR:POW:S21` -> `S21`, long or short, any case. Raises ScpiError -224."""
    match = _FUNCTION.fullmatch(text.upper().strip())
    if match is None:
        raise ScpiError(-224)
    return match[1]


def function_string(name: str) -> str:
    """`S21` -> `"XFR:POW:S21"`, quotes included."""
    return quoted(f"XFR:POW:{name}")


class Analyzer(Protocol):
    """What the commands need of the instrument."""

    settings: Settings

    def restart(self) -> None:
        """Stop the sweep; a new mode of INITiate begins."""
        ...


@dataclass(frozen=True, slots=True)
class _Number:
    """A setting that is one number."""

    pattern: str
    field: str
    unit: str | None
    low: float
    high: float
    whole: bool = False


_NUMBERS = (
    _Number("SENSe#:FREQuency:STARt", "start_hz", "hertz", LOW_HZ, HIGH_HZ),
    _Number("SENSe#:FREQuency:STOP", "stop_hz", "hertz", LOW_HZ, HIGH_HZ),
    _Number("SENSe#:FREQuency:CENTer", "center_hz", "hertz", LOW_HZ, HIGH_HZ),
    _Number("SENSe#:FREQuency:SPAN", "span_hz", "hertz", 0.0, HIGH_HZ - LOW_HZ),
    _Number("SENSe#:SWEep:POINts", "points", None, 1, MOST_POINTS, whole=True),
    _Number("SENSe#:BANDwidth[:RESolution]", "bandwidth_hz", "hertz", 1.0, 100e3),
    _Number("SENSe#:AVERage:COUNt", "average_count", None, 1, 1024, whole=True),
    _Number("SOURce#:POWer[:LEVel][:IMMediate][:AMPLitude]", "power_dbm", "dbm", -60.0, 10.0),
)

_SWITCHES = (
    ("SENSe#:AVERage[:STATe]", "averaging"),
    ("OUTPut#[:STATe]", "output"),
)

_CHOICES = (
    ("SENSe#:FREQuency:MODE", "mode", ("SWEep", "LIST")),
    ("CALCulate#:FORMat", "form", FORMS),
    ("FORMat:BORDer", "border", ("NORMal", "SWAPped")),
)


class SettingCommands:
    """The rows of the command table that set and ask for settings."""

    def __init__(self, analyzer: Analyzer) -> None:
        self._analyzer = analyzer

    def rows(self) -> Iterable[Command]:
        """All of them."""
        for row in _NUMBERS:
            yield Command(row.pattern, self._set_number(row), 1, 1)
            yield Command(f"{row.pattern}?", self._ask_number(row), 0, 1)
        for pattern, name in _SWITCHES:
            yield Command(pattern, self._set_switch(name), 1, 1)
            yield Command(f"{pattern}?", self._ask_switch(name))
        for pattern, name, choices in _CHOICES:
            yield Command(pattern, self._set_choice(name, choices), 1, 1)
            yield Command(f"{pattern}?", self._ask_choice(name))
        yield Command("INITiate:CONTinuous", self._run_continuous, 1, 1)
        yield Command("INITiate:CONTinuous?", self._ask_switch("continuous"))
        yield Command("TRIGger[:SEQuence]:SOURce", self._run_trigger, 1, 1)
        yield Command("TRIGger[:SEQuence]:SOURce?", self._ask_choice("trigger"))
        yield Command("FORMat[:DATA]", self._run_encoding, 1, 2)
        yield Command("FORMat[:DATA]?", self._ask_encoding)
        yield Command("SENSe#:LIST:FREQuency", self._run_list, 1, MOST_POINTS + 1)
        yield Command("SENSe#:LIST:FREQuency?", self._ask_list)
        yield Command("SENSe#:LIST:FREQuency:POINts?", self._ask_list_points)
        yield Command("SENSe#:FUNCtion:CONCurrent", self._run_concurrent, 1, 1)
        yield Command("SENSe#:FUNCtion:CONCurrent?", self._ask_switch("concurrent"))
        yield Command("SENSe#:FUNCtion[:ON]", self._run_functions, 1, len(PARAMETERS))
        yield Command("SENSe#:FUNCtion[:ON]?", self._ask_functions)
        yield Command("SENSe#:FUNCtion[:ON]:COUNt?", self._ask_function_count)
        yield Command("SENSe#:FUNCtion:OFF", self._run_functions_off, 1, len(PARAMETERS))

    @property
    def _now(self) -> Settings:
        return self._analyzer.settings

    def _change(self, **changes: Any) -> None:
        self._analyzer.settings = replace(self._analyzer.settings, **changes)

    def _set_number(self, row: _Number) -> Run:
        def run(session: Session, tokens: tuple[Token, ...]) -> None:
            value = number(tokens[0], row.low, row.high, _read(Settings(), row.field), row.unit)
            if row.field in _COUPLED:
                self._change(**_COUPLED[row.field](self._now, value))
            else:
                self._change(**{row.field: round(value) if row.whole else value})

        return run

    def _ask_number(self, row: _Number) -> Run:
        def run(session: Session, tokens: tuple[Token, ...]) -> bytes:
            value = _read(self._now, row.field)
            if tokens:
                asked = special(tokens[0], row.low, row.high, _read(Settings(), row.field))
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
            self._analyzer.restart()

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

    def _run_list(self, session: Session, tokens: tuple[Token, ...]) -> None:
        if len(tokens) > MOST_POINTS:
            raise ScpiError(-223)
        self._change(listed_hz=tuple([number(token, LOW_HZ, HIGH_HZ, LOW_HZ, "hertz") for token in tokens]))

    def _ask_list(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        if not self._now.listed_hz:
            raise ScpiError(-221, "the list of frequencies is empty")
        return ",".join([nr3(value) for value in self._now.listed_hz]).encode()

    def _ask_list_points(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return b"%d" % len(self._now.listed_hz)

    def _run_concurrent(self, session: Session, tokens: tuple[Token, ...]) -> None:
        on = boolean(tokens[0])
        self._change(concurrent=on, functions=self._now.functions if on else self._now.functions[-1:])

    def _run_functions(self, session: Session, tokens: tuple[Token, ...]) -> None:
        names = tuple(dict.fromkeys(function_name(string(token)) for token in tokens))
        if self._now.concurrent:
            names = (*(name for name in self._now.functions if name not in names), *names)
        elif len(names) > 1:
            raise ScpiError(-221, "one function only unless SENSe:FUNCtion:CONCurrent is ON")
        self._change(functions=names)

    def _run_functions_off(self, session: Session, tokens: tuple[Token, ...]) -> None:
        names = {function_name(string(token)) for token in tokens}
        left = tuple(name for name in self._now.functions if name not in names)
        if not left:
            raise ScpiError(-221, "the last function cannot be switched off")
        self._change(functions=left)

    def _ask_functions(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return ",".join(function_string(name) for name in self._now.functions).encode()

    def _ask_function_count(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return b"%d" % len(self._now.functions)


def _read(settings: Settings, field: str) -> float:
    if field == "center_hz":
        return (settings.start_hz + settings.stop_hz) / 2.0
    if field == "span_hz":
        return settings.stop_hz - settings.start_hz
    return float(getattr(settings, field))


def _with_start(now: Settings, start_hz: float) -> dict[str, float]:
    return {"start_hz": start_hz, "stop_hz": max(start_hz, now.stop_hz)}


def _with_stop(now: Settings, stop_hz: float) -> dict[str, float]:
    return {"start_hz": min(now.start_hz, stop_hz), "stop_hz": stop_hz}


def _with_center(now: Settings, center_hz: float) -> dict[str, float]:
    half = min((now.stop_hz - now.start_hz) / 2.0, center_hz - LOW_HZ, HIGH_HZ - center_hz)
    return {"start_hz": center_hz - half, "stop_hz": center_hz + half}


def _with_span(now: Settings, span_hz: float) -> dict[str, float]:
    center_hz = (now.start_hz + now.stop_hz) / 2.0
    half = min(span_hz / 2.0, center_hz - LOW_HZ, HIGH_HZ - center_hz)
    return {"start_hz": center_hz - half, "stop_hz": center_hz + half}


_COUPLED: dict[str, Callable[[Settings, float], dict[str, float]]] = {
    "start_hz": _with_start,
    "stop_hz": _with_stop,
    "center_hz": _with_center,
    "span_hz": _with_span,
}
"""Start and stop push each other; center keeps the span and span the center, as far as the range allows."""
