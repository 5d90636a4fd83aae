"""The vector network analyzers of the bench: of two ports, of three, and of two behind a switch.

Its command language is SCPI-1999's own. One S-parameter per sweep (`SENSe:FUNCtion` with one name, linear
sweep, `CALCulate:DATA?`) or several at once over a list of frequencies (`SENSe:FUNCtion:CONCurrent`,
`SENSe:FREQuency:MODE LIST`, `SENSe:DATA?`); every setting has its query. `settings.py` says what can be set.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from fixtures_sim.cabling import Cabling, between_cables
from fixtures_sim.device import ComplexArray, FloatArray
from fixtures_sim.faults import Faults, without_first
from fixtures_sim.fixture import Fixture
from fixtures_sim.imperfections import Imperfections, load_reflections
from fixtures_sim.keys import key_of
from fixtures_sim.noise import Care, with_noise
from fixtures_sim.port_errors import seen_through
from fixtures_sim.scpi.box import Command, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token
from fixtures_sim.scpi.values import string
from fixtures_sim.settings import SettingCommands, Settings, function_name
from fixtures_sim.sweeper import Acquisition, Sweeper, encode
from fixtures_sim.switch import Switch

IDENTITIES = {
    2: "Skerry Works,Simulated vector analyzer,SIM-0001,1.0",
    3: "Skerry Works,Simulated three-port vector analyzer,SIM-0005,1.0",
}
"""By the number of ports."""

MOST_KEPT = 8
"""S-parameters of the device kept for the sweeps of one order, which ask for the same frequencies."""


def sweep_count(averages: int, functions: tuple[str, ...]) -> int:
    """How many sweeps one INITiate takes: forward and reverse in turn, each as often as averaged."""
    directions = len({name[-1] for name in functions})
    return directions * averages


class VectorAnalyzer(Sweeper):
    """A vector network analyzer, port 1, 2, ... on the fixture's test ports, or on a switch in front of them."""

    def __init__(
        self,
        fixture: Fixture,
        *,
        seed: int,
        real_time: bool,
        clock: Callable[[], float],
        imperfections: Imperfections,
        faults: Faults,
        ports: int = 2,
        switch: Switch | None = None,
    ) -> None:
        super().__init__(IDENTITIES[ports], Settings(), real_time=real_time, clock=clock, faults=faults)
        self._ports = ports
        self._switch = switch
        self._fixture = fixture
        self._seed = seed
        self._imperfections = imperfections
        self._kept: dict[tuple[object, ...], ComplexArray] = {}
        self.teach(SettingCommands(self, ports).rows())
        self.teach(self._sweep_commands())

    # the sweep

    @property
    def sweeps(self) -> int:
        """How many follow one start."""
        return sweep_count(self.settings.averages, self.settings.functions)

    def measure(self) -> Acquisition:
        """The functions that are on, between the test ports."""
        ends_s = self._clock() + self.acquisition_s
        done = Acquisition(self._measure(), ends_s, self.settings.functions[-1])
        self._fixture.pass_time(self.sweeps * self.sweep_s / 3600.0)
        return done

    def _measure(self) -> dict[str, ComplexArray]:
        settings, cabling = self.settings, self._fixture.cabling
        freq_hz = settings.frequencies()
        closed = self._switch.closed if self._switch else {}
        clean = self._clean(cabling, closed, freq_hz)
        care = Care(settings.bandwidth_hz, settings.averages, settings.power_dbm)
        label = cabling.device.label if cabling.device and cabling.connected else ""
        values: dict[str, ComplexArray] = {}
        for name in settings.functions:
            value = clean[:, int(name[1]) - 1, int(name[2]) - 1] * settings.output
            takes = self._takes.count(cabling, name, care, freq_hz)
            noise = self._imperfections.noise
            if noise is not None:
                route = tuple(sorted(closed.items()))
                key = key_of(self._seed, label, cabling.name, cabling.repeat, *route, name, care)
                value = with_noise(value, noise, care, key, freq_hz, takes.astype(np.uint64))
            values[name] = value
        return values

    def _clean(self, cabling: Cabling, closed: dict[int, int], freq_hz: FloatArray) -> ComplexArray:
        """What its k ports see, without noise, shape (n, k, k)."""
        temperature_c = self._fixture.temperature_c
        hours = round(self._fixture.hours, 2)  # less than a minute moves nothing
        key = (cabling, tuple(closed.items()), temperature_c, hours, freq_hz.tobytes())
        if key not in self._kept:
            if len(self._kept) == MOST_KEPT:
                del self._kept[next(iter(self._kept))]
            s = self._at_ports(cabling, closed, freq_hz, temperature_c)
            ports = self._imperfections.ports
            terms = ports.terms(freq_hz, self._ports, hours) if ports else None
            self._kept[key] = seen_through(s, terms) if terms else s
        return self._kept[key]

    def _at_ports(
        self, cabling: Cabling, closed: dict[int, int], freq_hz: FloatArray, temperature_c: float
    ) -> ComplexArray:
        loads = load_reflections(self._imperfections, freq_hz)
        try:
            s = between_cables(cabling, loads, freq_hz, temperature_c, self._fixture.test_ports)
        except ValueError as error:
            raise ScpiError(-200, str(error)) from error
        return self._switch.between(s, closed, freq_hz) if self._switch else s

    # its commands

    def _sweep_commands(self) -> Iterable[Command]:
        return (
            Command("CALCulate#:DATA?", self._run_formatted),
            Command("SENSe#:DATA?", self._run_data, 0, 1),
        )

    def _run_formatted(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        done = self.good_data()
        return self._answer(done, done.last, self.settings.form)

    def _run_data(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        done = self.good_data()
        name = function_name(string(tokens[0]), self._ports) if tokens else done.last
        if name not in done.values:
            raise ScpiError(-221, f"{name} was not switched on for this sweep")
        return self._answer(done, name, "COMP")

    def _answer(self, done: Acquisition, name: str, form: str) -> bytes:
        values = done.values[name]
        encoding = self.settings.encoding, self.settings.border
        if self._faults.take(b"DATA?", "not a number"):
            return encode(shown(without_first(values), form), *encoding)
        key = (name, form, *encoding)
        if key not in done.answers:
            done.answers[key] = encode(shown(values, form), *encoding)
        return done.answers[key]


def shown(values: ComplexArray, form: str) -> FloatArray:
    """Values in one of the forms of CALCulate:FORMat; complex ones as pairs of real and imaginary part."""
    if form == "COMP":
        return np.ascontiguousarray(values).view(np.float64)
    with np.errstate(divide="ignore", invalid="ignore"):
        size = np.abs(values)
        forms: dict[str, Callable[[], FloatArray]] = {
            "MLOG": lambda: 20.0 * np.log10(size),
            "MLIN": lambda: size,
            "PHAS": lambda: np.degrees(np.angle(values)),
            "REAL": lambda: values.real.copy(),
            "IMAG": lambda: values.imag.copy(),
            "SWR": lambda: np.where(size < 1.0, (1.0 + size) / (1.0 - size), np.inf),
        }
        return forms[form]()
