"""Benches of every kind for studies: simulated with full imperfections, calibrated, read by the station's own code.

In process, without instruments: the sweeps are made straight from the simulator. A `Day` is one bench as it stands
for a shift: its errors, kit and loads are its own, it was calibrated by the hands at its beginning, and it drifts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from itertools import combinations

import numpy as np

from fixtures_sim.cabling import between_cables
from fixtures_sim.connections import Connectors
from fixtures_sim.drift import Drift
from fixtures_sim.fixture import Fixture
from fixtures_sim.keys import key_of
from fixtures_sim.loads import Load as SimulatedLoad
from fixtures_sim.noise import Care, Noise, mean_power, with_noise
from fixtures_sim.port_errors import DrawnPorts, seen_through
from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.standards import true_kit
from fixtures_sim.switch import Switch, SwitchErrors
from fixtures_sim.units import Unit
from limits.yamlfile import parse
from station.measurements.calibration import ErrorTerms, Standards, error_terms
from station.measurements.error_source import Worth
from station.measurements.evaluation import BenchData, evaluate
from station.measurements.figures import Figures
from station.measurements.kit import Kit, KitForm
from station.measurements.load import Load
from station.measurements.normalisation import reference_terms
from station.measurements.scalar_figures import ScalarFigures
from station.measurements.sweep import HOOKUPS, PORTS, SINGLES, WHOLE, Hookup, Sweep, SweepSettings

Array = np.ndarray
Rng = np.random.Generator
STARTED = datetime(2026, 9, 1, tzinfo=UTC)
CALIBRATED = SweepSettings(bandwidth_hz=300.0, averages=4, power_dbm=0.0)
SHIFT_H = 8.0

KIT = """\
kit: as its booklet says
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {resistance: 50 ohm, return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""

VECTOR = """\
noise_floor: -115 dBm at 1 kHz
trace_noise: 0.002 dB
connector_repeatability: 0.021 dB    # two connectors of 0.015 dB
cable_flex: 0.0042 dB                # two cables of 0.003 dB
drift: 0.04 dB                       # the connectors of the calibration, 0.021 dB, and 0.01 dB of drift; times root 3
load_standard: 46 dB
directivity: 55 dB                   # the connector that the load was on
port_match: 49.2 dB                  # the connectors of open, short and through
load_match: 46 dB                    # of the loads' files
leakage: 132 dB
unit_temperature: 0.5 K
tuning_drift: 8 ppm/K
"""
"""As a works would state them that knows the spreads of `fixtures_sim`: standard deviations and rms sizes."""

SCALAR = """\
noise_floor: -95 dBm at 1 kHz
trace_noise: 0.01 dB
log_linearity: 0.13 dB               # a wave of up to 0.1 dB: 0.0075 dB rms for each dB apart; times 10 dB, root 3
connector_repeatability: 0.021 dB    # two connectors of 0.015 dB
cable_flex: 0.0042 dB                # two cables of 0.003 dB
drift: 0.063 dB                      # up to 0.05 dB, of the references 0.021 dB, 0.005 dB of the through; root 3
source_match: 20 dB
receiver_match: 20 dB
directivity: 35 dB
port_match: 25 dB
bridge_loss: 12.5 dB
load_match: 40 dB
unit_temperature: 0.5 K
tuning_drift: 8 ppm/K
"""
"""The like, of a bench that knows magnitudes alone."""

SCALAR_DRIFT_DB = 0.05
MATCH_SPREAD_DB = 1.0
LOAD_FILE_DB = 46.0
"""Rms error of a load's measured reflection."""

UNKNOWN_LOAD_DB, UNKNOWN_SPREAD_DB = 40.0, 2.0
TEMPERATURE_K = 0.5


class Known:
    """A device whose S-parameters are worked out once for all benches that it lies on."""

    def __init__(self, unit: Unit) -> None:
        self._unit = unit
        self._kept: dict[tuple[bytes, float], Array] = {}

    @property
    def label(self) -> str:
        return self._unit.label

    def s(self, freq_hz: Array, temperature_c: float) -> Array:
        key = (freq_hz.tobytes(), temperature_c)
        if key not in self._kept:
            self._kept[key] = self._unit.s(freq_hz, temperature_c)
        return self._kept[key]


@dataclass
class Day:
    """One bench for one shift."""

    seed: int
    band_hz: Array
    """Where it is calibrated."""

    fixture: Fixture = field(init=False)
    rng: Rng = field(init=False)
    ports: DrawnPorts = field(init=False)
    loads: Mapping[str, SimulatedLoad] = field(init=False)
    began_h: float = field(init=False)
    test_ports = 2
    noise = Noise()

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng([self.seed, 11])
        self.ports = DrawnPorts(self.seed, drift=Drift())
        self.began_h = float(self.rng.uniform(0.0, 100.0))
        self.fixture = Fixture(
            23.0,
            test_ports=self.test_ports,
            kit=true_kit(self.rng),
            connectors=Connectors(),
            seed=self.seed,
        )
        self.loads = {port: self._load() for port in PORTS}

    def _load(self) -> SimulatedLoad:
        return_loss_db = self.rng.normal(UNKNOWN_LOAD_DB, UNKNOWN_SPREAD_DB)
        return SimulatedLoad(
            return_loss_db, self.rng.uniform(-np.pi, np.pi), self.rng.uniform(0.1e-9, 0.3e-9)
        )

    def sweep(self, hookup: Hookup, freq_hz: Array, settings: SweepSettings) -> Sweep:
        """What the analyzer reads of the fixture as it is cabled."""
        loads = {port: load.reflection(freq_hz) for port, load in self.loads.items()}
        s = between_cables(self.fixture.cabling, loads, freq_hz, self.fixture.temperature_c, self.test_ports)
        s = self.through_paths(s, hookup, freq_hz)
        s = seen_through(s, self.ports.terms(freq_hz, s.shape[1], self.fixture.hours))
        return Sweep(hookup, freq_hz, self._noisy(s, freq_hz, settings), settings, STARTED, 0.3)

    def through_paths(self, s: Array, hookup: Hookup, freq_hz: Array) -> Array:
        """What lies between the analyzer's ports and the cables."""
        return s

    def _noisy(self, s: Array, freq_hz: Array, settings: SweepSettings) -> Array:
        care = Care(settings.bandwidth_hz, settings.averages, settings.power_dbm)
        takes = np.zeros(len(freq_hz), dtype=np.uint64)
        seen = np.empty_like(s)
        for to in range(s.shape[1]):
            for source in range(s.shape[1]):
                key = key_of(int(self.rng.integers(1 << 60)))
                seen[:, to, source] = with_noise(s[:, to, source], self.noise, care, key, freq_hz, takes)
        return seen

    def calibrated(self, hookup: Hookup, ports: tuple[int, ...]) -> ErrorTerms:
        """The error terms by short, open, load and through on these test ports."""
        reflections, throughs = {}, {}
        for place, port in enumerate(ports, start=1):
            for kind in ("short", "open", "load"):
                self.fixture.connect(kind, port)
                s = self.sweep(hookup, self.band_hz, CALIBRATED).s
                reflections[kind, place] = s[:, place - 1, place - 1]
        for first, second in combinations(range(1, len(ports) + 1), 2):
            self.fixture.connect("through", ports[first - 1], ports[second - 1])
            used = [first - 1, second - 1]
            throughs[first, second] = self.sweep(hookup, self.band_hz, CALIBRATED).s[:, used][:, :, used]
        step_hz = float(self.band_hz[1] - self.band_hz[0])
        return error_terms(Standards(self.band_hz, reflections, throughs), booklet(), step_hz * 1.001)

    def read(
        self, unit: Known, freq_hz: Array, settings: SweepSettings, temperature_c: float
    ) -> Mapping[Hookup, Sweep]:
        """The pairs that a run on this unit comes to."""
        self.fixture.place(unit)
        self.fixture.warm(temperature_c)
        self.fixture.hours = self.began_h + float(self.rng.uniform(0.0, SHIFT_H))
        return evaluate(self.sweeps(freq_hz, settings), self.data).sweeps

    def sweeps(self, freq_hz: Array, settings: SweepSettings) -> list[Sweep]:
        """All that the bench sweeps of the unit."""
        taken = []
        for hookup in HOOKUPS:
            self.fixture.hook_up(*hookup.ports)
            taken.append(self.sweep(hookup, freq_hz, settings))
        return taken

    @property
    def data(self) -> BenchData:
        """What the works knows of it."""
        raise NotImplementedError

    @property
    def worth(self) -> Worth:
        """What the works states of it."""
        assert self.data.figures is not None
        return self.data.figures


@cache
def booklet() -> Kit:
    """The kit as all benches know it."""
    return Kit(parse(KIT, KitForm, "kit.yaml"), {}, {})


@cache
def figures(**changed: float) -> Figures:
    """The stated figures, and what the kit adds to them."""
    stated = parse(VECTOR, Figures, "bench.yaml").value
    return stated.model_copy(update=changed).calibrated_by(booklet())


class TwoPorts(Day):
    """Two test ports, loads of which only the size is known."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.fixture.hours = self.began_h
        self._terms = self.calibrated(HOOKUPS[0], (1, 2))

    @property
    def data(self) -> BenchData:
        rms_db = UNKNOWN_LOAD_DB - (math.log(10) / 20) * UNKNOWN_SPREAD_DB**2
        return BenchData(figures(load_match=rms_db), terms=dict.fromkeys(HOOKUPS, self._terms))


class TwoPortsLoadsKnown(TwoPorts):
    """Two test ports, loads whose reflection was measured."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self._files = {port: self._file(load) for port, load in self.loads.items()}

    def _file(self, load: SimulatedLoad) -> Load:
        off = complex(*self.rng.normal(0.0, 10 ** (-LOAD_FILE_DB / 20) / math.sqrt(2), 2))
        freq_hz = np.linspace(self.band_hz[0] - 1e6, self.band_hz[-1] + 1e6, 101)
        return Load("load.s1p", freq_hz, load.reflection(freq_hz) + off, (1, 101))

    @property
    def data(self) -> BenchData:
        return BenchData(figures(), self._files, dict.fromkeys(HOOKUPS, self._terms))


class ThreePorts(Day):
    """An analyzer with a port for each of the unit's."""

    test_ports = 3

    def __post_init__(self) -> None:
        super().__post_init__()
        self.fixture.hours = self.began_h
        self._terms = self.calibrated(WHOLE, (1, 2, 3))

    def sweeps(self, freq_hz: Array, settings: SweepSettings) -> list[Sweep]:
        self.fixture.hook_up(*PORTS)
        return [self.sweep(WHOLE, freq_hz, settings)]

    @property
    def data(self) -> BenchData:
        return BenchData(figures(), terms={WHOLE: self._terms})


class Switched(Day):
    """Two test ports behind a switch, which loads what it does not lead to."""

    test_ports = 3

    def __post_init__(self) -> None:
        super().__post_init__()
        self._box = Switch(SwitchErrors(self.seed))
        self.fixture.hours = self.began_h
        self._terms = {
            hookup: self.calibrated(hookup, tuple(PORTS.index(port) + 1 for port in hookup.ports))
            for hookup in HOOKUPS
        }

    def through_paths(self, s: Array, hookup: Hookup, freq_hz: Array) -> Array:
        closed = {place: PORTS.index(port) + 1 for place, port in enumerate(hookup.ports, start=1)}
        return self._box.between(s, closed, freq_hz)

    def sweeps(self, freq_hz: Array, settings: SweepSettings) -> list[Sweep]:
        self.fixture.hook_up(*PORTS)
        return [self.sweep(hookup, freq_hz, settings) for hookup in HOOKUPS]

    @property
    def data(self) -> BenchData:
        return BenchData(figures(load_match=33.7), terms=self._terms)


class Scalar(Day):
    """A spectrum analyzer with tracking generator and a return-loss bridge, set against its reference sweeps."""

    def __post_init__(self) -> None:
        super().__post_init__()
        self.fixture.hours = self.began_h
        source, receiver, leak, match = (
            size_db + float(self.rng.normal(0.0, MATCH_SPREAD_DB)) for size_db in (20.0, 20.0, 35.0, 25.0)
        )
        self._errors = ScalarErrors(
            source_match_db=source,
            receiver_match_db=receiver,
            bridge_directivity_db=leak,
            bridge_match_db=match,
            linearity_db=float(self.rng.uniform(-0.1, 0.1)),
            delay_s=float(self.rng.uniform(0.5e-9, 8e-9)),
        )
        self._drift_db = 0.0
        swept = [
            self._reference(kind, hookup, *ports)
            for kind, hookup, *ports in (
                ("through", HOOKUPS[0], 1, 2),
                ("open", SINGLES[0], 1),
                ("short", SINGLES[0], 1),
            )
        ]
        step_hz = float(self.band_hz[1] - self.band_hz[0])
        self._terms = reference_terms(*swept, step_hz * 1.001)

    def _reference(self, kind: str, hookup: Hookup, *ports: int) -> Sweep:
        self.fixture.connect(kind, *ports)
        return self.sweep(hookup, self.band_hz, CALIBRATED)

    def sweep(self, hookup: Hookup, freq_hz: Array, settings: SweepSettings) -> Sweep:
        """Powers at the receiver, as the driver tells them."""
        loads = {port: load.reflection(freq_hz) for port, load in self.loads.items()}
        cabling, count = self.fixture.cabling, len(hookup.ports)
        s = between_cables(cabling, loads, freq_hz, self.fixture.temperature_c, count)
        wave = self._errors.bridged(s[:, 0, 0], freq_hz) if count == 1 else self._errors.through(s, freq_hz)
        size = self._read(wave, freq_hz, settings)
        found = np.full((len(freq_hz), count, count), complex(np.nan, np.nan))
        if count == 1:
            found[:, 0, 0] = size
        else:
            found[:, 1, 0] = found[:, 0, 1] = size
        return Sweep(hookup, freq_hz, found, settings, STARTED, 0.3, phase=False)

    def _read(self, wave: Array, freq_hz: Array, settings: SweepSettings) -> Array:
        """The size of a wave as the logarithmic scale tells it, beside the one that goes in."""
        errors = self._errors
        level_dbm = settings.power_dbm + errors.flatness(freq_hz) + self._drift_db
        wider = math.sqrt(settings.bandwidth_hz / 1e3)
        power = mean_power(
            wave * 10 ** (level_dbm / 20),
            10 ** (errors.floor_dbm / 20) * wider,
            errors.trace_db * wider,
            settings.averages,
            key_of(int(self.rng.integers(1 << 60))),
            freq_hz,
            np.zeros(len(freq_hz), dtype=np.uint64),
        )
        dbm = 10 * np.log10(power)
        return np.asarray(10 ** ((dbm + errors.linearity(dbm) - settings.power_dbm) / 20))

    def sweeps(self, freq_hz: Array, settings: SweepSettings) -> list[Sweep]:
        self._drift_db = float(self.rng.uniform(-SCALAR_DRIFT_DB, SCALAR_DRIFT_DB))
        taken = []
        for hookup in (*HOOKUPS, *SINGLES):
            self.fixture.hook_up(*hookup.ports)
            taken.append(self.sweep(hookup, freq_hz, settings))
        return taken

    @property
    def data(self) -> BenchData:
        off_db = (math.log(10) / 20) * np.array([MATCH_SPREAD_DB**2, UNKNOWN_SPREAD_DB**2])
        stated = parse(SCALAR, ScalarFigures, "bench.yaml").value
        sizes = {
            name: getattr(stated, name) - off_db[0]
            for name in ("source_match", "receiver_match", "directivity", "port_match")
        }
        return BenchData(
            stated.model_copy(update={**sizes, "load_match": UNKNOWN_LOAD_DB - off_db[1]}), terms=self._terms
        )


KINDS: Mapping[str, Callable[[int, Array], Day]] = {
    "two ports, loads known": TwoPortsLoadsKnown,
    "two ports, loads unknown": TwoPorts,
    "three ports": ThreePorts,
    "two ports behind a switch": Switched,
    "scalar": Scalar,
}


def truth(unit: Known, freq_hz: Array, settings: SweepSettings) -> Mapping[Hookup, Sweep]:
    """The unit without any bench, at 23 deg C."""
    s = unit.s(freq_hz, 23.0)
    return {
        hookup: Sweep(hookup, freq_hz, s[:, used][:, :, used], settings, STARTED, 0.0)
        for hookup in HOOKUPS
        for used in ([PORTS.index(port) for port in hookup.ports],)
    }
