"""The calibration kit that lies beside the fixture: open, short, load and through, and terminations for the rest.

A kit is known by its definition, as written in its booklet (DEFINITION); the standards themselves are a little
off, each kit in its own way (`true_kit`). All of them are built by scikit-rf.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from skrf.frequency import Frequency
from skrf.media import DefinedGammaZ0
from skrf.network import Network

from fixtures_sim.device import REFERENCE_OHM, ComplexArray, FloatArray
from fixtures_sim.duplexer import SPEED_OF_LIGHT_M_PER_S, Line

MOST_TEST_PORTS = 3


@dataclass(frozen=True, slots=True)
class Kit:
    """One calibration kit; the defaults are its definition."""

    open_delay_ps: float = 23.5
    """One way, of the line in front of the open end."""

    open_capacitance_ff: float = 68.0
    """Fringing capacitance of the open end."""

    short_delay_ps: float = 25.0
    short_inductance_ph: float = 8.0
    load_ohm: float = 50.0
    load_inductance_ph: float = 0.0
    """In series with the resistance."""

    through_delay_ps: float = 41.0
    through_loss_db: float = 0.010
    """At 1 GHz; it follows the square root of frequency."""

    termination_ohm: tuple[float, ...] = (50.0,) * MOST_TEST_PORTS
    """Of the spare terminations, one for each test port: no standards, only something to keep a port quiet."""


DEFINITION = Kit()
"""What the booklet says of every kit of this kind."""

LOAD_RETURN_LOSS_DB = 46.0
"""Of a load at low frequency, about; its inductance adds to that higher up."""

TERMINATION_RETURN_LOSS_DB = 40.0


def true_kit(rng: np.random.Generator) -> Kit:
    """One kit as it was made. The spreads are those of a good works kit (common practice, no source)."""
    load_sign = rng.choice((-1.0, 1.0))
    return Kit(
        open_delay_ps=DEFINITION.open_delay_ps + rng.normal(0.0, 0.15),
        open_capacitance_ff=DEFINITION.open_capacitance_ff + rng.normal(0.0, 1.5),
        short_delay_ps=DEFINITION.short_delay_ps + rng.normal(0.0, 0.15),
        short_inductance_ph=DEFINITION.short_inductance_ph + rng.normal(0.0, 1.5),
        load_ohm=_ohm(load_sign * 10.0 ** (-rng.normal(LOAD_RETURN_LOSS_DB, 1.0) / 20.0)),
        load_inductance_ph=rng.normal(0.0, 15.0),
        through_delay_ps=DEFINITION.through_delay_ps + rng.normal(0.0, 0.2),
        through_loss_db=DEFINITION.through_loss_db + abs(rng.normal(0.0, 0.002)),
        termination_ohm=tuple(
            _ohm(rng.choice((-1.0, 1.0)) * 10.0 ** (-rng.normal(TERMINATION_RETURN_LOSS_DB, 2.0) / 20.0))
            for _ in DEFINITION.termination_ohm
        ),
    )


def _ohm(reflection: float) -> float:
    return float(REFERENCE_OHM * (1.0 + reflection) / (1.0 - reflection))


def open_end(kit: Kit, frequency: Frequency) -> Network:
    """The open standard."""
    media = DefinedGammaZ0(frequency, z0=REFERENCE_OHM)
    end = media.shunt_capacitor(kit.open_capacitance_ff * 1e-15) ** media.open()
    return _line(kit.open_delay_ps, 0.0, frequency) ** end


def short_end(kit: Kit, frequency: Frequency) -> Network:
    """The short standard."""
    media = DefinedGammaZ0(frequency, z0=REFERENCE_OHM)
    end = media.inductor(kit.short_inductance_ph * 1e-12) ** media.short()
    return _line(kit.short_delay_ps, 0.0, frequency) ** end


def load(kit: Kit, frequency: Frequency) -> Network:
    """The load standard."""
    media = DefinedGammaZ0(frequency, z0=REFERENCE_OHM)
    ohm = media.resistor(kit.load_ohm) ** media.inductor(kit.load_inductance_ph * 1e-12)
    return ohm ** media.short()


def through(kit: Kit, frequency: Frequency) -> Network:
    """The through standard."""
    return _line(kit.through_delay_ps, kit.through_loss_db, frequency)


def _line(delay_ps: float, loss_db: float, frequency: Frequency) -> Network:
    """A line of 50 ohm; `loss_db` at 1 GHz."""
    length_m = delay_ps * 1e-12 * SPEED_OF_LIGHT_M_PER_S
    line = Line(length_m, velocity_factor=1.0, loss_db_per_100m=100.0 * loss_db / length_m, loss_at_hz=1e9)
    media = DefinedGammaZ0(frequency, z0=REFERENCE_OHM, gamma=line.gamma(frequency.f))
    return media.line(length_m, unit="m")


_ENDS: dict[str, Callable[[Kit, Frequency], Network]] = {"open": open_end, "short": short_end, "load": load}
_MOST_PORTS = {"open": 1, "short": 1, "load": 1, "through": 2, "terminated": MOST_TEST_PORTS}
STANDARDS = tuple(_MOST_PORTS)


@dataclass(frozen=True, slots=True)
class Connection:
    """A standard on the test ports, each counted from 1; the others hang open."""

    kit: Kit
    standard: str
    test_ports: tuple[int, ...]

    @property
    def name(self) -> str:
        """E.g. `through on 1-2`."""
        return f"{self.standard} on {'-'.join(map(str, self.test_ports))}"

    def s(self, freq_hz: FloatArray, count: int) -> ComplexArray:
        """What `count` test ports see, shape (n, count, count); the frequencies in any order."""
        rising, where = np.unique(freq_hz, return_inverse=True)
        frequency = Frequency.from_f(rising, unit="hz")
        seen = np.tile(np.eye(count, dtype=np.complex128), (rising.size, 1, 1))
        places = [port - 1 for port in self.test_ports]
        if self.standard == "through":
            rows, columns = np.ix_(places, places)
            seen[:, rows, columns] = through(self.kit, frequency).s
        elif self.standard == "terminated":
            for place in places:
                ohm = self.kit.termination_ohm[place]
                seen[:, place, place] = (ohm - REFERENCE_OHM) / (ohm + REFERENCE_OHM)
        else:
            seen[:, places[0], places[0]] = _ENDS[self.standard](self.kit, frequency).s[:, 0, 0]
        return np.asarray(seen[where], dtype=np.complex128)


def connection(kit: Kit, standard: str, test_ports: tuple[int, ...], count: int) -> Connection:
    """The connection, where it can be made on a fixture of `count` test ports. Raises ValueError where not."""
    if standard not in _MOST_PORTS:
        raise ValueError(f"there is no standard {standard!r}; there are {', '.join(STANDARDS)}")
    for port in test_ports:
        if port not in range(1, count + 1):
            raise ValueError(f"there is no test port {port}; the fixture has 1 to {count}")
    least = 2 if standard == "through" else 1
    if len(set(test_ports)) != len(test_ports) or not least <= len(test_ports) <= _MOST_PORTS[standard]:
        wanted = {"through": "two different test ports", "terminated": "one test port or more, each once"}
        raise ValueError(f"{standard!r} goes on {wanted.get(standard, 'one test port')}")
    return Connection(kit, standard, test_ports)
