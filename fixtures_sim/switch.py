"""An RF switch box between an analyzer of two ports and a unit of three, on a SCPI socket of its own.

Each analyzer port leads to one of three unit ports, or to none and is open; a unit port that no path leads to is
terminated in the box. Channels are written `port!unit port`, e.g. `(@1!1,2!3)`. Its command language is the
ROUTe subsystem of SCPI-1999 and nothing else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from skrf.frequency import Frequency
from skrf.media import DefinedGammaZ0

from fixtures_sim.device import REFERENCE_OHM, ComplexArray, FloatArray
from fixtures_sim.duplexer import SPEED_OF_LIGHT_M_PER_S, Line
from fixtures_sim.joining import joined, open_ports
from fixtures_sim.keys import key_of
from fixtures_sim.scpi.box import Box, Command, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token

IDENTITY = "Skerry Works,Simulated RF switch,SIM-0003,1.0"
ANALYZER_PORTS, UNIT_PORTS = 2, 3

Channel = tuple[int, int]
"""Analyzer port and unit port, each counted from 1."""

_LIST = re.compile(r"\(@(.*)\)")
_CHANNEL = re.compile(r"\s*(\d+)\s*!\s*(\d+)\s*")


@dataclass(frozen=True, slots=True)
class SwitchErrors:
    """What the paths and the terminations of one box are worth, drawn from its seed; common practice, no source."""

    seed: int
    loss_db: float = 0.45
    """Of a path at 1 GHz; it follows the square root of frequency."""

    delay_s: float = 0.9e-9
    impedance_ohm: float = 1.5
    """Standard deviation of a path's line impedance from 50 ohm."""

    stray_farad: float = 0.12e-12
    """At each end of a path."""

    termination_db: float = 34.0
    """Return loss of the terminations."""

    def path(self, channel: Channel, freq_hz: FloatArray) -> tuple[ComplexArray, ComplexArray]:
        """Reflection, alike from both ends, and transmission of a path, shape (n,) each."""
        rng = np.random.default_rng(key_of(self.seed, "switch path", channel))
        length_m = self.delay_s * (1.0 + rng.normal(0.0, 0.05)) * SPEED_OF_LIGHT_M_PER_S
        loss_db = self.loss_db * (1.0 + rng.normal(0.0, 0.1))
        z0_ohm = REFERENCE_OHM + rng.normal(0.0, self.impedance_ohm)
        line = Line(length_m, 1.0, 100.0 * loss_db / length_m, 1e9)
        rising, where = np.unique(freq_hz, return_inverse=True)
        frequency = Frequency.from_f(rising, unit="hz")
        media = DefinedGammaZ0(frequency, z0_port=REFERENCE_OHM, z0=z0_ohm, gamma=line.gamma(frequency.f))
        end = DefinedGammaZ0(frequency, z0=REFERENCE_OHM).shunt_capacitor(self.stray_farad)
        whole = (end ** media.line(length_m, unit="m") ** end).s[where]
        return whole[:, 0, 0], whole[:, 1, 0]

    def termination(self, unit_port: int, freq_hz: FloatArray) -> ComplexArray:
        """Reflection of the box's own load on a unit port, shape (n,)."""
        rng = np.random.default_rng(key_of(self.seed, "switch termination", unit_port))
        size = 10.0 ** (-(self.termination_db + rng.normal(0.0, 1.5)) / 20.0)
        phase, delay_s = rng.uniform(-np.pi, np.pi), rng.uniform(0.5e-9, 0.9e-9)
        return np.asarray(size * np.exp(1j * (phase - 2.0 * np.pi * delay_s * freq_hz)), dtype=np.complex128)


class Switch(Box):
    """The box. Without errors its paths are no lengths at all and its terminations perfect."""

    def __init__(self, errors: SwitchErrors | None) -> None:
        super().__init__(IDENTITY)
        self._errors = errors
        self.closed: dict[int, int] = {}
        """The unit port that each joined analyzer port leads to. Replaced as a whole, never changed."""

        self.teach(self._route_commands())

    def reset(self) -> None:
        """*RST: all paths open."""
        self.closed = {}

    def between(self, s: ComplexArray, closed: dict[int, int], freq_hz: FloatArray) -> ComplexArray:
        """What the analyzer's ports see of `s`, shape (n, 3, 3), through these paths: shape (n, 2, 2)."""
        nothing = np.zeros(len(freq_hz), dtype=np.complex128)
        for unit_port in {*range(1, UNIT_PORTS + 1)} - {*closed.values()}:
            load = self._errors.termination(unit_port, freq_hz) if self._errors else nothing
            s = joined(s, unit_port - 1, load, nothing)
        if self._errors:
            for channel in closed.items():
                s = joined(s, channel[1] - 1, *self._errors.path(channel, freq_hz))
        seen = open_ports(freq_hz, ANALYZER_PORTS).copy()
        for port, unit_port in closed.items():
            for other, other_unit_port in closed.items():
                seen[:, port - 1, other - 1] = s[:, unit_port - 1, other_unit_port - 1]
        return seen

    def _route_commands(self) -> Iterable[Command]:
        return (
            Command("ROUTe:CLOSe", self._run_close, 1, 1),
            Command("ROUTe:CLOSe?", self._ask_closed, 1, 1),
            Command("ROUTe:CLOSe:STATe?", self._ask_state),
            Command("ROUTe:OPEN", self._run_open, 1, 1),
            Command("ROUTe:OPEN?", self._ask_open, 1, 1),
            Command("ROUTe:OPEN:ALL", self._run_open_all),
        )

    def _run_close(self, session: Session, tokens: tuple[Token, ...]) -> None:
        """A port of the analyzer leads to one unit port at a time: its other path opens by itself."""
        closed = {**self.closed, **dict(_channels(tokens[0]))}
        if len(set(closed.values())) < len(closed):
            raise ScpiError(-221, "two analyzer ports cannot lead to one unit port")
        self.closed = closed

    def _run_open(self, session: Session, tokens: tuple[Token, ...]) -> None:
        opened = _channels(tokens[0])
        self.closed = {port: unit for port, unit in self.closed.items() if (port, unit) not in opened}

    def _run_open_all(self, session: Session, tokens: tuple[Token, ...]) -> None:
        self.closed = {}

    def _ask_closed(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return _flags(channel in self.closed.items() for channel in _channels(tokens[0]))

    def _ask_open(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return _flags(channel not in self.closed.items() for channel in _channels(tokens[0]))

    def _ask_state(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        return f"(@{','.join(f'{port}!{unit}' for port, unit in sorted(self.closed.items()))})".encode()


def _flags(states: Iterable[bool]) -> bytes:
    return b",".join(b"%d" % state for state in states)


def _channels(token: Token) -> tuple[Channel, ...]:
    """A channel list of SCPI-1999 volume 1, section 8.3.2. Raises ScpiError."""
    if token.kind != "expression":
        raise ScpiError(-104)
    inside = _LIST.fullmatch(token.text)
    if inside is None:
        raise ScpiError(-171)
    found = []
    for text in inside[1].split(","):
        match = _CHANNEL.fullmatch(text)
        if match is None:
            raise ScpiError(-171)
        port, unit_port = int(match[1]), int(match[2])
        if not (1 <= port <= ANALYZER_PORTS and 1 <= unit_port <= UNIT_PORTS):
            raise ScpiError(-222, f"there is no channel {port}!{unit_port}")
        found.append((port, unit_port))
    return tuple(found)
