"""The physics of a cavity duplexer: cavities, cables, tee and leak to a three-port S-matrix.

Two pass-reject cavities a side stand as shunt branches on the line from the port to the tee. A branch is a
coupling reactance in series with a lossy parallel tank:

    Z = jX(f) + R / (1 + jQ (f/fp - fp/f))

X is a real inductor (notch above the pass) or a real capacitor (notch below it). All joining of networks is
scikit-rf's, so that this room shares no mathematics with what it is used to check. Nothing here is random:
tolerances and defects live in `units`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from skrf.frequency import Frequency
from skrf.media import DefinedGammaZ0
from skrf.network import Network, connect, innerconnect

from fixtures_sim.device import REFERENCE_OHM, ComplexArray, FloatArray

SPEED_OF_LIGHT_M_PER_S = 299_792_458.0
REFERENCE_TEMPERATURE_C = 23.0
"""Where a cavity has the frequencies written in it."""

CAVITY_DRIFT_PER_K = -8e-6
"""Relative change of a cavity's frequency; a common figure for temperature-compensated cavities."""

CABLE_DRIFT_PER_K = -60e-6
"""Relative change of a PTFE cable's electrical length near room temperature; from memory."""

NEPER_DB = 20.0 / math.log(10.0)


@dataclass(frozen=True, slots=True)
class Cavity:
    """One pass-reject cavity, by the four numbers a technician could measure on it alone."""

    pass_hz: float
    """Resonance of the tank: where it lets the line pass."""

    notch_hz: float
    """Where tank and coupling reactance cancel: where it shorts the line."""

    q: float
    """Unloaded quality factor of the tank."""

    tank_ohm: float
    """Resistance of the tank at resonance, as seen through the coupling."""

    @property
    def coupling_ohm(self) -> float:
        """Coupling reactance at the notch: positive for an inductor, negative for a capacitor."""
        detuning = self.q * (self.notch_hz / self.pass_hz - self.pass_hz / self.notch_hz)
        return self.tank_ohm * detuning / (1.0 + detuning**2)

    def impedance(self, freq_hz: FloatArray, temperature_c: float) -> ComplexArray:
        """Impedance of the shunt branch in ohm, shape (n,)."""
        pass_hz = self.pass_hz * (1.0 + CAVITY_DRIFT_PER_K * (temperature_c - REFERENCE_TEMPERATURE_C))
        tank = self.tank_ohm / (1.0 + 1j * self.q * (freq_hz / pass_hz - pass_hz / freq_hz))
        at_notch = self.coupling_ohm
        ratio = freq_hz / self.notch_hz
        reactance = at_notch * ratio if at_notch >= 0.0 else at_notch / ratio
        return np.asarray(tank + 1j * reactance, dtype=np.complex128)


@dataclass(frozen=True, slots=True)
class Line:
    """A cable; its loss follows the square root of frequency."""

    length_m: float
    velocity_factor: float = 0.695
    loss_db_per_100m: float = 0.0
    """At `loss_at_hz`."""

    loss_at_hz: float = 100e6
    z0_ohm: float = REFERENCE_OHM

    def gamma(self, freq_hz: FloatArray) -> ComplexArray:
        """Propagation constant in 1/m, shape (n,)."""
        alpha = self.loss_db_per_100m / 100.0 / NEPER_DB * np.sqrt(freq_hz / self.loss_at_hz)
        beta = 2.0 * math.pi * freq_hz / (self.velocity_factor * SPEED_OF_LIGHT_M_PER_S)
        return np.asarray(alpha + 1j * beta, dtype=np.complex128)

    def wavelength_m(self, freq_hz: float) -> float:
        """Wavelength on this cable."""
        return self.velocity_factor * SPEED_OF_LIGHT_M_PER_S / freq_hz

    def longer(self, by_m: float) -> Line:
        """The same cable, cut longer (or, when negative, shorter)."""
        return replace(self, length_m=self.length_m + by_m)


@dataclass(frozen=True, slots=True)
class Side:
    """From a radio's port to the tee: connector, cavity, jumper, cavity, tee cable."""

    port_line: Line
    outer: Cavity
    jumper: Line
    inner: Cavity
    tee_cable: Line


@dataclass(frozen=True, slots=True)
class Duplexer:
    """Two sides on a tee, and what leaks past them."""

    tx: Side
    rx: Side
    ant_line: Line
    tee_farad: float
    """Stray capacitance at the tee."""

    leak_ohm: float
    """Resistance between the TX and RX connectors that stands for the leak past all cavities.

    Ohmic, because then it adds to the path through the cavities in quadrature at the channels, and no unit gets
    better than its leak by a chance cancellation.
    """

    def s(self, freq_hz: FloatArray, temperature_c: float = REFERENCE_TEMPERATURE_C) -> ComplexArray:
        """S-parameters in 50 ohm, shape (n, 3, 3), ports TX, ANT, RX; the frequencies in any order."""
        rising, where = np.unique(freq_hz, return_inverse=True)
        return np.asarray(network(self, rising, temperature_c).s[where], dtype=np.complex128)


def network(duplexer: Duplexer, freq_hz: FloatArray, temperature_c: float) -> Network:
    """The whole duplexer as a scikit-rf network, ports TX, ANT, RX."""
    media = _media(freq_hz)
    tx, rx = (side_network(side, freq_hz, temperature_c) for side in (duplexer.tx, duplexer.rx))
    ant = media.shunt_capacitor(duplexer.tee_farad) ** _line(duplexer.ant_line, freq_hz, temperature_c)
    core = join(tx, ant, rx)
    return _bridge(core, media.resistor(duplexer.leak_ohm), media.tee())


def side_network(side: Side, freq_hz: FloatArray, temperature_c: float) -> Network:
    """One side as a two-port: port 0 at the radio, port 1 at the tee."""
    parts = (
        _line(side.port_line, freq_hz, temperature_c),
        _shunt(side.outer, freq_hz, temperature_c),
        _line(side.jumper, freq_hz, temperature_c),
        _shunt(side.inner, freq_hz, temperature_c),
        _line(side.tee_cable, freq_hz, temperature_c),
    )
    whole = parts[0]
    for part in parts[1:]:
        whole = whole**part
    return whole


def join(tx: Network, ant: Network, rx: Network) -> Network:
    """Three two-ports at an ideal tee; `tx` and `rx` by their port 1, `ant` by its port 0."""
    tee = DefinedGammaZ0(tx.frequency, z0=REFERENCE_OHM).tee()
    # A two-port joined to a larger network leaves its far port in the place of the one it took.
    return connect(connect(connect(tee, 0, tx, 1), 1, ant, 0), 2, rx, 1)


def _bridge(core: Network, leak: Network, tee: Network) -> Network:
    """Lay a two-port between ports 0 and 2 of a three-port, without moving its ports."""
    outer = connect(connect(tee, 2, leak, 0), 2, tee, 0)
    # Ports of `outer`: TX outside, TX inside, RX outside, RX inside.
    joined = innerconnect(connect(core, 0, outer, 1), 1, 4)
    # Left over, in order: ANT, TX outside, RX outside.
    return joined.subnetwork([1, 0, 2])


def _media(freq_hz: FloatArray) -> DefinedGammaZ0:
    return DefinedGammaZ0(Frequency.from_f(freq_hz, unit="hz"), z0=REFERENCE_OHM)


def _line(line: Line, freq_hz: FloatArray, temperature_c: float) -> Network:
    drift = 1.0 + CABLE_DRIFT_PER_K * (temperature_c - REFERENCE_TEMPERATURE_C)
    media = DefinedGammaZ0(
        Frequency.from_f(freq_hz, unit="hz"),
        z0_port=REFERENCE_OHM,
        z0=line.z0_ohm,
        gamma=line.gamma(freq_hz),
    )
    return media.line(line.length_m * drift, unit="m")


def _shunt(cavity: Cavity, freq_hz: FloatArray, temperature_c: float) -> Network:
    media = _media(freq_hz)
    impedance = cavity.impedance(freq_hz, temperature_c)
    branch = Network(frequency=media.frequency, z=impedance[:, np.newaxis, np.newaxis], z0=REFERENCE_OHM)
    return media.shunt(branch)
