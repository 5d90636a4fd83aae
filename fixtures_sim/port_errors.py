"""What uncorrected test ports make of what is connected to them: the error model of twelve terms, for k ports.

Port j drives, every other port receives. With S at the cable ends, source match and load match decide the waves
there; directivity, tracking and isolation what is read of them. For two ports this is the model of twelve terms
as in every textbook (from memory); with more ports each has its own directivity, source match, load match and
reflection tracking, and each pair its transmission tracking and isolation.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from fixtures_sim.device import ComplexArray, FloatArray
from fixtures_sim.drift import Drift
from fixtures_sim.keys import key_of


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """Error terms at n frequencies of k ports."""

    directivity: ComplexArray
    """Shape (n, k), as the other three of a port."""

    source_match: ComplexArray
    load_match: ComplexArray
    reflection_tracking: ComplexArray
    transmission_tracking: ComplexArray
    """Shape (n, k, k), `[:, i, j]` from port j to port i; the diagonal means nothing."""

    isolation: ComplexArray
    """Shape (n, k, k), the like."""


class PortErrors(Protocol):
    """The test ports of one analyzer."""

    def terms(self, freq_hz: FloatArray, count: int, hours: float) -> Terms:
        """Of `count` ports, so many hours after the analyzer was switched on and warm."""
        ...


def seen_through(s: ComplexArray, terms: Terms) -> ComplexArray:
    """What the analyzer reads of `s` at its cable ends, shape (n, k, k)."""
    count = s.shape[1]
    seen = np.array(terms.isolation)
    for source in range(count):
        # a = e_source + match * b and b = S a, so (I - S diag(match)) b = S e_source
        match = np.array(terms.load_match)
        match[:, source] = terms.source_match[:, source]
        leaving = np.linalg.solve(np.eye(count) - s * match[:, None, :], s[:, :, source, None])[..., 0]
        seen[:, :, source] += terms.transmission_tracking[:, :, source] * leaving
        seen[:, source, source] = (
            terms.directivity[:, source] + terms.reflection_tracking[:, source] * leaving[:, source]
        )
    return seen


@dataclass(frozen=True, slots=True)
class TestPorts:
    """Ports that are all alike, each term of one size: positive dB, the more the better. No isolation, no drift."""

    # not a test class, whatever its name begins with
    __test__ = False

    directivity_db: float = 40.0
    source_match_db: float = 30.0
    load_match_db: float = 30.0
    tracking_db: float = 0.1
    """Loss in reflection and in transmission."""

    delay_s: float = 1e-9
    """Turns the phases with frequency, as some length of line inside the ports does."""

    def terms(self, freq_hz: FloatArray, count: int, hours: float = 0.0) -> Terms:
        line = np.asarray(np.exp(-2j * np.pi * self.delay_s * freq_hz), dtype=np.complex128)
        turn = np.repeat(line[:, None], count, axis=1)
        tracking = np.full_like(turn, _size(self.tracking_db))
        pairs = np.repeat(tracking[:, :, None], count, axis=2)
        return Terms(
            directivity=turn * _size(self.directivity_db),
            source_match=turn * turn * _size(self.source_match_db),
            load_match=turn * turn * turn * _size(self.load_match_db),
            reflection_tracking=tracking,
            transmission_tracking=pairs,
            isolation=np.zeros_like(pairs),
        )


@dataclass(frozen=True, slots=True)
class DrawnPorts:
    """Ports as an analyzer without calibration has them at the ends of its test cables, each in its own way.

    Every term is a sum of a few echoes, drawn from the seed, and so turns smoothly with frequency. The figures
    are common practice for a bench analyzer, no source; positive dB, the more the better.
    """

    seed: int
    directivity_db: float = 32.0
    source_match_db: float = 28.0
    load_match_db: float = 28.0
    spread_db: float = 2.0
    """Standard deviation of these three, and of the leakage, from port to port."""

    tracking_db: float = 0.5
    """Standard deviation of the receivers' gain."""

    ripple_db: float = 0.1
    """Of tracking over frequency, about."""

    cable_delay_s: float = 4e-9
    cable_loss_db: float = 0.3
    """At 1 GHz, of each cable one way; it follows the square root of frequency."""

    leakage_db: float = 132.0
    """Isolation from port to port inside the analyzer."""

    drift: Drift | None = None

    def terms(self, freq_hz: FloatArray, count: int, hours: float) -> Terms:
        cables = np.stack([self._cable(port, freq_hz) for port in range(count)], axis=1)
        pairs = [
            [self._gain("transmission", (i, j), freq_hz, hours) for j in range(count)] for i in range(count)
        ]
        leaks = [
            [self._echoes(self.leakage_db, ("leak", i, j), freq_hz) for j in range(count)]
            for i in range(count)
        ]
        return Terms(
            directivity=self._of_ports("directivity", self.directivity_db, count, freq_hz, hours),
            source_match=self._of_ports("source match", self.source_match_db, count, freq_hz, hours),
            load_match=self._of_ports("load match", self.load_match_db, count, freq_hz, hours),
            reflection_tracking=cables**2
            * np.stack([self._gain("reflection", (i,), freq_hz, hours) for i in range(count)], axis=1),
            transmission_tracking=cables[:, :, None]
            * cables[:, None, :]
            * np.moveaxis(np.array(pairs), 2, 0),
            isolation=np.moveaxis(np.array(leaks), 2, 0),
        )

    def _of_ports(
        self, name: str, size_db: float, count: int, freq_hz: FloatArray, hours: float
    ) -> ComplexArray:
        columns = []
        for port in range(count):
            value = self._echoes(size_db, (name, port), freq_hz)
            if self.drift is not None:
                key = key_of(self.seed, "drift", name, port)
                value = value + self.drift.match(key, hours) * self._cable(port, freq_hz) ** 2
            columns.append(value)
        return np.stack(columns, axis=1)

    def _gain(self, name: str, ports: tuple[int, ...], freq_hz: FloatArray, hours: float) -> ComplexArray:
        """Of a receiver, for a wave of 1 at the test port."""
        rng = np.random.default_rng(key_of(self.seed, "gain", name, ports))
        size = _size(rng.normal(0.0, self.tracking_db))
        ripple = self._echoes(
            -20.0 * math.log10(10.0 ** (self.ripple_db / 20.0) - 1.0), (name, ports), freq_hz
        )
        drift = 1.0 + 0.0j
        if self.drift is not None:
            drift = self.drift.tracking(key_of(self.seed, "drift", name, ports), hours)
        return np.asarray(size * drift * (1.0 + ripple), dtype=np.complex128)

    def _cable(self, port: int, freq_hz: FloatArray) -> ComplexArray:
        rng = np.random.default_rng(key_of(self.seed, "cable", port))
        delay_s = self.cable_delay_s * (1.0 + 0.02 * rng.standard_normal())
        loss_db = self.cable_loss_db * np.sqrt(freq_hz / 1e9)
        return np.asarray(10.0 ** (-loss_db / 20.0) * np.exp(-2j * np.pi * delay_s * freq_hz))

    def _echoes(self, size_db: float, what: object, freq_hz: FloatArray) -> ComplexArray:
        """Three echoes from within the port and along its cable, together of about this size."""
        rng = np.random.default_rng(key_of(self.seed, "echoes", what))
        size = _size(size_db + rng.normal(0.0, self.spread_db))
        weights = np.array([0.8, 0.5, np.sqrt(1.0 - 0.8**2 - 0.5**2)])
        delays_s = np.array([0.1e-9, 0.6e-9, 2.0 * self.cable_delay_s]) * rng.uniform(0.8, 1.2, 3)
        phases = rng.uniform(0.0, 2.0 * math.pi, 3)
        waves = [
            weight * np.exp(1j * (phase - 2.0 * np.pi * delay_s * freq_hz))
            for weight, phase, delay_s in zip(weights, phases, delays_s, strict=True)
        ]
        return np.asarray(size * sum(waves), dtype=np.complex128)


def _size(loss_db: float) -> float:
    return float(10.0 ** (-loss_db / 20.0))
