"""The error terms of an analyzer's test ports, from sweeps of known standards, and sweeps corrected by them.

A source at port j sends a wave through the error box of its port; at every port i the receiver sees

    m_ij = leak_ij + tracking_ij b_ij          what leaves the device (b), and what leaks past it
    a_ij = [i = j] + match_ij b_ij             what goes back into it (a)

On the diagonal stand directivity, source match and reflection tracking of a port; beside it isolation, load match and
transmission tracking between two. With two ports these are the twelve terms of Rehnmark (IEEE Trans. MTT, 1974, from
memory); with any number the device's own S solves b = S a, so S = b a^-1, one division for all sources at once.

The terms are computed by scikit-rf, port pair by port pair.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations

import numpy as np

from limits.errors import BadInput, Mistake
from limits.reading import FloatArray
from limits.units import hertz_text
from station.measurements.kit import Kit, Reflect
from station.measurements.sweep import ComplexArray, Sweep

LARGEST_TURN_DEG = 45.0
"""By how much a term may turn from one point to the next: far below the half turn at which its sense is lost. What is
left beside the evenly turning line is then some degrees, and straight between neighbours to some parts in 10,000."""

ROUNDING_HZ = 1.0
"""How far beyond the ends a sweep may lie: rounding of frequencies, never an intent."""


@dataclass(frozen=True, slots=True, eq=False)
class ErrorTerms:
    """What stands between an analyzer's readings and the ends of its cables."""

    freq_hz: FloatArray
    """Shape (n,), strictly rising; stretches with gaps between them."""

    leak: ComplexArray
    """Shape (n, k, k), [:, receiver, source]: directivity on the diagonal, isolation beside it."""

    match: ComplexArray
    """Source match on the diagonal, load match of the receiving port beside it."""

    tracking: ComplexArray
    """Reflection tracking on the diagonal, transmission tracking beside it."""

    largest_step_hz: float
    """Points that lie further apart belong to different stretches: nothing is known between them."""

    def __post_init__(self) -> None:
        shape = self.leak.shape
        if len(shape) != 3 or shape[0] != len(self.freq_hz) or shape[1] != shape[2]:
            raise ValueError(f"error terms of shape {shape} for {len(self.freq_hz)} frequencies")
        if self.match.shape != shape or self.tracking.shape != shape:
            raise ValueError("error terms of different shapes")

    @property
    def ports(self) -> int:
        """How many test ports."""
        return int(self.leak.shape[1])

    def directivity(self, port: int) -> ComplexArray:
        """Of a test port, counted from 1; shape (n,)."""
        return self.leak[:, port - 1, port - 1]

    def source_match(self, port: int) -> ComplexArray:
        """Of a test port, counted from 1; shape (n,)."""
        return self.match[:, port - 1, port - 1]

    def reflection_tracking(self, port: int) -> ComplexArray:
        """Of a test port, counted from 1; shape (n,)."""
        return self.tracking[:, port - 1, port - 1]

    def load_match(self, port: int, source: int) -> ComplexArray:
        """Of a test port while another is the source, both counted from 1; shape (n,)."""
        return self.match[:, port - 1, source - 1]

    def transmission_tracking(self, to: int, source: int) -> ComplexArray:
        """From one test port to another, both counted from 1; shape (n,)."""
        return self.tracking[:, to - 1, source - 1]

    def outside(self, freq_hz: FloatArray) -> str:
        """Why these frequencies cannot be corrected; empty where they can be."""
        low, high = float(self.freq_hz[0]), float(self.freq_hz[-1])
        wanted = f"wanted are {hertz_text(float(freq_hz[0]))} to {hertz_text(float(freq_hz[-1]))}"
        if freq_hz[0] < low - ROUNDING_HZ or freq_hz[-1] > high + ROUNDING_HZ:
            return f"the test ports were calibrated from {hertz_text(low)} to {hertz_text(high)}, {wanted}"
        above = np.clip(np.searchsorted(self.freq_hz, freq_hz), 1, len(self.freq_hz) - 1)
        below_hz, above_hz = self.freq_hz[above - 1], self.freq_hz[above]
        on_point = np.minimum(freq_hz - below_hz, above_hz - freq_hz) <= ROUNDING_HZ
        gap = (above_hz - below_hz > self.largest_step_hz * (1 + 1e-6)) & ~on_point
        if not gap.any():
            return ""
        first = int(np.argmax(gap))
        ends = f"{hertz_text(float(below_hz[first]))} and {hertz_text(float(above_hz[first]))}"
        return f"the test ports were not calibrated between {ends}, {wanted}"

    @property
    def turn_deg(self) -> float:
        """By how much the term that turns fastest does so across the largest step."""
        slopes = [_slope(self.freq_hz, self.tracking[:, i, j], self.largest_step_hz) for i, j in self._places]
        return float(np.degrees(max(map(abs, slopes)) * self.largest_step_hz))

    @property
    def too_coarse(self) -> str:
        """Why the terms cannot be trusted between their points; empty where they can be."""
        if self.turn_deg <= LARGEST_TURN_DEG:
            return ""
        return (
            f"the cables turn the phase by {self.turn_deg:.0f} degrees from one point of the calibration to the "
            f"next, more than {LARGEST_TURN_DEG:g}"
        )

    def at(self, freq_hz: FloatArray) -> ErrorTerms:
        """The terms at other frequencies.

        Each term is turned back by its own delay, taken straight between neighbours in the complex plane, and turned
        forward again: so a long cable costs neither size nor phase. Raises ValueError where `outside` says why.
        """
        if why := (self.outside(freq_hz) or self.too_coarse):
            raise ValueError(why)
        planes = (np.empty((len(freq_hz), self.ports, self.ports), dtype=np.complex128) for _ in range(3))
        leak, match, tracking = planes
        for known, wanted in ((self.leak, leak), (self.match, match), (self.tracking, tracking)):
            for i, j in self._places:
                wanted[:, i, j] = self._between(known[:, i, j], freq_hz)
        return replace(self, freq_hz=freq_hz, leak=leak, match=match, tracking=tracking)

    @property
    def _places(self) -> list[tuple[int, int]]:
        return [(i, j) for i in range(self.ports) for j in range(self.ports)]

    def _between(self, term: ComplexArray, freq_hz: FloatArray) -> ComplexArray:
        slope, origin_hz = _slope(self.freq_hz, term, self.largest_step_hz), self.freq_hz[0]
        straight = term * np.exp(-1j * slope * (self.freq_hz - origin_hz))
        real, imaginary = (np.interp(freq_hz, self.freq_hz, part) for part in (straight.real, straight.imag))
        return np.asarray(
            (real + 1j * imaginary) * np.exp(1j * slope * (freq_hz - origin_hz)), dtype=np.complex128
        )


def _slope(freq_hz: FloatArray, term: ComplexArray, largest_step_hz: float) -> float:
    """Radians per Hz by which a term turns, by least squares over the steps inside the stretches."""
    step_hz = np.diff(freq_hz)
    turned = np.conj(term[:-1]) * term[1:]
    weight = np.abs(turned) * (step_hz <= largest_step_hz * (1 + 1e-6))
    total = float(np.sum(weight * step_hz**2))
    return float(np.sum(weight * step_hz * np.angle(turned))) / total if total > 0 else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Standards:
    """What the analyzer read of the standards, without any correction. Test ports are counted from 1."""

    freq_hz: FloatArray
    reflections: Mapping[tuple[Reflect, int], ComplexArray]
    """Of each of open, short and load at each port, shape (n,)."""

    throughs: Mapping[tuple[int, int], ComplexArray]
    """Between each two ports, the lower one first; shape (n, 2, 2)."""

    isolations: Mapping[tuple[int, int], ComplexArray] = field(default_factory=dict)
    """The same with loads on both; where it is missing, nothing leaks past the device."""

    @property
    def ports(self) -> int:
        """How many test ports were measured."""
        return max(port for _, port in self.reflections)


def error_terms(measured: Standards, kit: Kit, largest_step_hz: float) -> ErrorTerms:
    """The error terms that turn what was read of the standards into what the kit says they are.

    Raises BadInput where the kit knows a standard only at other frequencies.
    """
    shape = (len(measured.freq_hz), measured.ports, measured.ports)
    leak, match, tracking = (np.zeros(shape, dtype=np.complex128) for _ in range(3))
    for first, second in combinations(range(measured.ports), 2):
        found = _twelve_terms(measured, kit, first + 1, second + 1)
        for way, here, there in (("forward", first, second), ("reverse", second, first)):
            leak[:, here, here] = found[f"{way} directivity"]
            leak[:, there, here] = found[f"{way} isolation"]
            match[:, here, here] = found[f"{way} source match"]
            match[:, there, here] = found[f"{way} load match"]
            tracking[:, here, here] = found[f"{way} reflection tracking"]
            tracking[:, there, here] = found[f"{way} transmission tracking"]
    return ErrorTerms(measured.freq_hz, leak, match, tracking, largest_step_hz)


def corrected(sweep: Sweep, terms: ErrorTerms) -> Sweep:
    """The sweep at the ends of the cables.

    Raises BadInput where the terms do not reach, and ValueError for a sweep of another number of ports.
    """
    if sweep.s.shape[1] != terms.ports:
        raise ValueError(f"{sweep.hookup.name} has {sweep.s.shape[1]} ports, the error terms {terms.ports}")
    if why := terms.outside(sweep.freq_hz):
        raise BadInput((Mistake(f"{why}; calibrate further"),))
    return replace(sweep, s=correct_s(sweep.s, terms.at(sweep.freq_hz)))


def correct_s(raw: ComplexArray, terms: ErrorTerms) -> ComplexArray:
    """S at the ends of the cables, shape (n, k, k), from readings at the very frequencies of the terms."""
    out = (raw - terms.leak) / terms.tracking
    if not terms.match.any():
        # Nothing comes back, so each parameter stands alone; also where others were not measured.
        return np.asarray(out, dtype=np.complex128)
    into = np.eye(terms.ports) + terms.match * out
    # S = b a^-1, written as the transpose of a division from the left.
    solved = np.linalg.solve(into.transpose(0, 2, 1), out.transpose(0, 2, 1)).transpose(0, 2, 1)
    return np.asarray(solved, dtype=np.complex128)


def _twelve_terms(measured: Standards, kit: Kit, first: int, second: int) -> Mapping[str, ComplexArray]:
    """By scikit-rf's names, each of shape (n,)."""
    # Slow to import, and needed only by who calibrates.
    from skrf.calibration import TwelveTerm
    from skrf.frequency import Frequency
    from skrf.network import Network

    frequency = Frequency.from_f(measured.freq_hz, unit="hz")

    def network(s: ComplexArray) -> Network:
        return Network(frequency=frequency, s=s, z0=50)

    def apart(one: ComplexArray, other: ComplexArray) -> Network:
        s = np.zeros((len(one), 2, 2), dtype=np.complex128)
        s[:, 0, 0], s[:, 1, 1] = one, other
        return network(s)

    kinds: tuple[Reflect, ...] = ("short", "open", "load")
    read = [apart(measured.reflections[kind, first], measured.reflections[kind, second]) for kind in kinds]
    known = [apart(*[kit.reflection(kind, measured.freq_hz)] * 2) for kind in kinds]
    isolation = measured.isolations.get((first, second))
    with warnings.catch_warnings():
        # A through with no reflection divides by it in a conversion that is not used here.
        warnings.simplefilter("ignore", RuntimeWarning)
        calibration = TwelveTerm(
            measured=[*read, network(measured.throughs[first, second])],
            ideals=[*known, network(kit.through(measured.freq_hz))],
            n_thrus=1,
            isolation=None if isolation is None else network(isolation),
        )
        coefficients: Mapping[str, ComplexArray] = calibration.coefs
    return coefficients
