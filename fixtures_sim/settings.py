"""What can be set on the vector analyzer beside what every sweeping instrument has, and the commands that do it."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from fixtures_sim.device import FloatArray
from fixtures_sim.scpi.box import Command, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token
from fixtures_sim.scpi.values import boolean, nr3, number, quoted, string
from fixtures_sim.sweep_settings import HIGH_HZ, LOW_HZ, MOST_POINTS, SweepCommands, Sweeping, SweepState

FORMS = ("COMPlex", "MLOGarithmic", "MLINear", "PHASe", "REAL", "IMAGinary", "SWR")

_FUNCTION = re.compile(r"XFR(?:EQUENCY)?:POW(?:ER)?:(S[1-9][1-9])")

_CHOICES = (
    ("SENSe#:FREQuency:MODE", "mode", ("SWEep", "LIST")),
    ("CALCulate#:FORMat", "form", FORMS),
)


@dataclass(frozen=True, slots=True)
class Settings(SweepState):
    """One state of the analyzer; the defaults are those after *RST."""

    mode: str = "SWE"
    listed_hz: tuple[float, ...] = ()
    functions: tuple[str, ...] = ("S11",)
    """In the order they were switched on."""

    concurrent: bool = False
    form: str = "MLOG"

    @property
    def point_count(self) -> int:
        """Of a sweep in the present mode."""
        return self.points if self.mode == "SWE" else len(self.listed_hz)

    def frequencies(self) -> FloatArray:
        """Of a sweep in the present mode. Raises ScpiError -221 when the list is wanted and empty."""
        if self.mode == "SWE":
            return SweepState.frequencies(self)
        if not self.listed_hz:
            raise ScpiError(-221, "the list of frequencies is empty")
        return np.array(self.listed_hz)


def function_name(text: str, ports: int) -> str:
    """`XFR:POW:S21` -> `S21` of an analyzer with so many ports, long or short, any case. Raises ScpiError -224."""
    match = _FUNCTION.fullmatch(text.upper().strip())
    if match is None or max(match[1][1:]) > str(ports):
        raise ScpiError(-224)
    return match[1]


def function_string(name: str) -> str:
    """`S21` -> `"XFR:POW:S21"`, quotes included."""
    return quoted(f"XFR:POW:{name}")


class SettingCommands(SweepCommands):
    """The rows of the command table that set and ask for settings."""

    def __init__(self, analyzer: Sweeping, ports: int) -> None:
        super().__init__(analyzer, _CHOICES)
        self._ports = ports

    def rows(self) -> Iterable[Command]:
        """All of them."""
        yield from super().rows()
        yield Command("SENSe#:LIST:FREQuency", self._run_list, 1, MOST_POINTS + 1)
        yield Command("SENSe#:LIST:FREQuency?", self._ask_list)
        yield Command("SENSe#:LIST:FREQuency:POINts?", self._ask_list_points)
        yield Command("SENSe#:FUNCtion:CONCurrent", self._run_concurrent, 1, 1)
        yield Command("SENSe#:FUNCtion:CONCurrent?", self._ask_switch("concurrent"))
        yield Command("SENSe#:FUNCtion[:ON]", self._run_functions, 1, self._ports**2)
        yield Command("SENSe#:FUNCtion[:ON]?", self._ask_functions)
        yield Command("SENSe#:FUNCtion[:ON]:COUNt?", self._ask_function_count)
        yield Command("SENSe#:FUNCtion:OFF", self._run_functions_off, 1, self._ports**2)

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
        names = tuple(dict.fromkeys(function_name(string(token), self._ports) for token in tokens))
        if self._now.concurrent:
            names = (*(name for name in self._now.functions if name not in names), *names)
        elif len(names) > 1:
            raise ScpiError(-221, "one function only unless SENSe:FUNCtion:CONCurrent is ON")
        self._change(functions=names)

    def _run_functions_off(self, session: Session, tokens: tuple[Token, ...]) -> None:
        names = {function_name(string(token), self._ports) for token in tokens}
        left = tuple(name for name in self._now.functions if name not in names)
        if not left:
            raise ScpiError(-221, "the last function cannot be switched off")
        self._change(functions=left)

    def _ask_functions(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return ",".join(function_string(name) for name in self._now.functions).encode()

    def _ask_function_count(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return b"%d" % len(self._now.functions)
