"""The instruments of the bench: now a two-port vector network analyzer.

Its command language is SCPI-1999's own. One S-parameter per sweep (`SENSe:FUNCtion` with one name, linear
sweep, `CALCulate:DATA?`) or several at once over a list of frequencies (`SENSe:FUNCtion:CONCurrent`,
`SENSe:FREQuency:MODE LIST`, `SENSe:DATA?`); every setting has its query. `settings.py` says what can be set.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

import numpy as np

from fixtures_sim.cabling import Cabling, between_cables
from fixtures_sim.device import ComplexArray, FloatArray
from fixtures_sim.faults import Faults, without_first
from fixtures_sim.fixture import Fixture
from fixtures_sim.imperfections import (
    Care,
    Imperfections,
    key_of,
    load_reflection,
    through_ports,
    with_noise,
)
from fixtures_sim.scpi.box import Box, Command, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token
from fixtures_sim.scpi.values import ascii_list, block, string
from fixtures_sim.settings import SettingCommands, Settings, function_name

IDENTITY = "Skerry Works,Simulated vector analyzer,SIM-0001,1.0"

SWEEPING_BIT, TRIGGER_BIT = 3, 5
"""Of the operation status, SCPI-1999 volume 2."""

FILTER_PERIODS = 1.1
"""Time per point times bandwidth; common practice, no source."""

POINT_S, TURN_S = 30e-6, 4e-3
"""Settling at each point, and back to the start after each sweep; common practice, no source."""

MOST_KEPT = 8
"""S-parameters of the device kept for the sweeps of one order, which ask for the same frequencies."""


def sweep_time_s(points: int, bandwidth_hz: float) -> float:
    """How long one sweep in one direction takes, which is what SENSe:SWEep:TIME? tells (SCPI-1999 volume 2)."""
    return points * (FILTER_PERIODS / bandwidth_hz + POINT_S) + TURN_S


def acquisition_time_s(sweep_s: float, averages: int, functions: tuple[str, ...]) -> float:
    """How long all sweeps after one INITiate take: forward and reverse in turn, each as often as averaged."""
    directions = len({name[-1] for name in functions})
    return directions * averages * sweep_s


@dataclass(frozen=True, slots=True, eq=False)
class Acquisition:
    """One sweep with its data, which are good from `ends_s` on."""

    values: dict[str, ComplexArray]
    ends_s: float
    last: str
    """The function that CALCulate:DATA? gives."""

    answers: dict[tuple[str, ...], bytes] = field(default_factory=dict)
    """Response data already encoded."""


class Takes:
    """How often each frequency was read with the same care since the last re-cabling."""

    def __init__(self) -> None:
        self._cabling: Cabling | None = None
        self._seen: dict[tuple[str, Care], tuple[FloatArray, FloatArray]] = {}

    def count(self, cabling: Cabling, parameter: str, care: Care, freq_hz: FloatArray) -> FloatArray:
        """Earlier readings at each of these frequencies, which now have one more."""
        if cabling is not self._cabling:
            self._cabling, self._seen = cabling, {}
        known, times = self._seen.get((parameter, care), (np.empty(0), np.empty(0)))
        earlier = np.zeros(len(freq_hz))
        if len(known):
            place = np.minimum(np.searchsorted(known, freq_hz), len(known) - 1)
            earlier = np.where(known[place] == freq_hz, times[place], 0.0)
        everything = np.concatenate([freq_hz, known])
        # of a frequency that is there twice, the first and newer count stays
        merged, first = np.unique(everything, return_index=True)
        self._seen[parameter, care] = merged, np.concatenate([earlier + 1.0, times])[first]
        return earlier


class VectorAnalyzer(Box):
    """A two-port vector network analyzer, port 1 and port 2 on the fixture's hook-up."""

    def __init__(
        self,
        fixture: Fixture,
        *,
        seed: int,
        real_time: bool,
        clock: Callable[[], float],
        imperfections: Imperfections,
        faults: Faults,
    ) -> None:
        super().__init__(IDENTITY)
        self.settings = Settings()
        self._fixture = fixture
        self._seed = seed
        self._real_time = real_time
        self._clock = clock
        self._imperfections = imperfections
        self._faults = faults
        self._takes = Takes()
        self._kept: dict[tuple[object, ...], ComplexArray] = {}
        self._armed = False
        self._running: Acquisition | None = None
        self._done: Acquisition | None = None
        self._next_s = 0.0
        self.teach(SettingCommands(self).rows())
        self.teach(self._sweep_commands())

    # what the box asks for

    def reset(self) -> None:
        """*RST: every setting to its default, no sweep, no data."""
        self._stop()
        self._done = None
        self.settings = Settings()

    def pending_s(self) -> float:
        """Seconds until the sweep ends; without end while it waits for its trigger."""
        if self._armed:
            return math.inf
        if self._running is None:
            return 0.0
        left = self._running.ends_s - self._clock()
        if left <= 0.0:
            self._done, self._running = self._running, None
            self.status.operation.set(SWEEPING_BIT, False)
        return max(left, 0.0)

    def trigger(self) -> None:
        """Begin the sweep that waits for it. Raises ScpiError -211 when none does."""
        if not self._armed:
            raise ScpiError(-211)
        self._start()

    # the sweep

    @property
    def sweep_s(self) -> float:
        """How long one sweep with the present settings takes, were it in real time."""
        return sweep_time_s(self.settings.point_count, self.settings.bandwidth_hz)

    @property
    def acquisition_s(self) -> float:
        """How long an acquisition takes on this bench: nothing, unless sweeps take their time."""
        settings = self.settings
        if not self._real_time:
            return 0.0
        return acquisition_time_s(self.sweep_s, settings.averages, settings.functions)

    def restart(self) -> None:
        """After a change of INITiate:CONTinuous, whose sweeps follow each other and are no pending operation."""
        self._stop()
        if self.settings.continuous:
            self._done = None
            self._next_s = self._clock() + self.acquisition_s
            self.status.operation.set(SWEEPING_BIT, True)

    def _start(self) -> None:
        self._armed = False
        self.status.operation.set(TRIGGER_BIT, False)
        self._done = None
        self._running = self._acquire()
        self.status.operation.set(SWEEPING_BIT, True)

    def _stop(self) -> None:
        self._armed, self._running = False, None
        for bit in (SWEEPING_BIT, TRIGGER_BIT):
            self.status.operation.set(bit, False)
        self.turn.notify_all()

    def _acquire(self) -> Acquisition:
        ends_s = self._clock() + self.acquisition_s
        return Acquisition(self._measure(), ends_s, self.settings.functions[-1])

    def _measure(self) -> dict[str, ComplexArray]:
        settings, cabling = self.settings, self._fixture.cabling
        freq_hz = settings.frequencies()
        clean = self._clean(cabling, freq_hz)
        care = Care(settings.bandwidth_hz, settings.averages, settings.power_dbm)
        label = cabling.device.label if cabling.device and cabling.connected else ""
        values: dict[str, ComplexArray] = {}
        for name in settings.functions:
            value = clean[:, int(name[1]) - 1, int(name[2]) - 1] * settings.output
            takes = self._takes.count(cabling, name, care, freq_hz)
            noise = self._imperfections.noise
            if noise is not None:
                key = key_of(self._seed, label, cabling.name, cabling.repeat, name, care)
                value = with_noise(value, noise, care, key, freq_hz, takes.astype(np.uint64))
            values[name] = value
        return values

    def _clean(self, cabling: Cabling, freq_hz: FloatArray) -> ComplexArray:
        """What the test ports see, without noise, shape (n, 2, 2)."""
        temperature_c = self._fixture.temperature_c
        key = (id(cabling.device), cabling.name, temperature_c, freq_hz.tobytes())
        if key not in self._kept:
            if len(self._kept) == MOST_KEPT:
                del self._kept[next(iter(self._kept))]
            self._kept[key] = self._seen(cabling, freq_hz, temperature_c)
        return self._kept[key]

    def _seen(self, cabling: Cabling, freq_hz: FloatArray, temperature_c: float) -> ComplexArray:
        load = load_reflection(self._imperfections, cabling.idle, freq_hz)
        try:
            s = between_cables(cabling, load, freq_hz, temperature_c)
        except ValueError as error:
            raise ScpiError(-200, str(error)) from error
        ports = self._imperfections.ports
        return s if ports is None else through_ports(s, ports, freq_hz)

    # its commands

    def _sweep_commands(self) -> Iterable[Command]:
        return (
            Command("INITiate[:IMMediate]", self._run_init),
            Command("ABORt", self._run_abort),
            Command("SENSe#:SWEep:TIME?", lambda s, t: repr(self.sweep_s).encode()),
            Command("CALCulate#:DATA?", self._run_formatted),
            Command("SENSe#:DATA?", self._run_data, 0, 1),
        )

    def _run_init(self, session: Session, tokens: tuple[Token, ...]) -> None:
        if self._running is not None or self._armed or self.settings.continuous:
            raise ScpiError(-213)
        if self.settings.trigger == "IMM":
            self._start()
        else:
            self._done, self._armed = None, True
            self.status.operation.set(TRIGGER_BIT, True)

    def _run_abort(self, session: Session, tokens: tuple[Token, ...]) -> None:
        self._stop()
        self.restart()

    def _run_formatted(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        done = self._good_data()
        return self._answer(done, done.last, self.settings.form)

    def _run_data(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        done = self._good_data()
        name = function_name(string(tokens[0])) if tokens else done.last
        if name not in done.values:
            raise ScpiError(-221, f"{name} was not switched on for this sweep")
        return self._answer(done, name, "COMP")

    def _good_data(self) -> Acquisition:
        if self.settings.continuous and self._clock() >= self._next_s:
            self._done = self._acquire()
            self._next_s = self._done.ends_s
        if self._done is None:
            raise ScpiError(-230)
        return self._done

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


def encode(values: FloatArray, encoding: str, border: str) -> bytes:
    """Response data as FORMat:DATA and FORMat:BORDer ask for."""
    if encoding == "ASC":
        return ascii_list(values)
    order = ">" if border == "NORM" else "<"
    return block(values.astype(f"{order}f{4 if encoding == 'REAL,32' else 8}").tobytes())
