"""The unit's three-port S from sweeps of two ports each, with the loads on the idle ports taken out.

With G_p the reflection of the load that port p carries whenever it idles, and T = S (1 - G S)^-1 what the unit does
when all three ports carry their loads, the sweep M of two ports, whose third one carries its load, gives the part of
T that belongs to them: T = M (1 - G M)^-1 with G of the two. From the whole of T, S = (1 + T G)^-1 T. This is the
renormalisation of Tippet and Speciale, IEEE MTT 1982 (from memory). Each reflection is measured in two hook-ups:
T_pp comes twice, which tells whether the sweeps and the loads agree with each other.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from limits.reading import FloatArray
from limits.units import hertz_text
from station.measurements.load import Loads
from station.measurements.sweep import HOOKUPS, PORTS, ComplexArray, Hookup, Port, Sweep

ALLOWED_DISAGREEMENT = 0.03
"""Between the two measurements of a reflection. A calibrated port reads a reflection to about 0.01 (-40 dB), twice;
a connector repeats to 0.003, a load is known to about 0.006 (-45 dB), and a unit that warms by a kelvin between two
hook-ups moves by 0.01 on the slopes of its pass band: 0.02 when added as squares, and half as much again so that no
sound unit is doubted (common practice, no source). A load of 20 dB return loss taken for another is off by 0.1."""


@dataclass(frozen=True, slots=True, eq=False)
class ThreePort:
    """What was recovered."""

    s: ComplexArray
    """Shape (n, 3, 3), ports in the order TX, ANT, RX."""

    disconsistency: FloatArray
    """Shape (n, 3): how far the two measurements of each port's reflection lie apart, as |difference|."""


@dataclass(frozen=True, slots=True)
class Consistency:
    """The largest disconsistency between two measurements of one reflection."""

    largest: float
    port: Port
    at_hz: float

    @property
    def hookups(self) -> tuple[Hookup, Hookup]:
        """The two in which the port was measured."""
        first, second = (hookup for hookup in HOOKUPS if self.port != hookup.idle)
        return first, second

    @property
    def doubt(self) -> str:
        """What to tell the operator; empty where nothing is to be doubted."""
        if self.largest <= ALLOWED_DISAGREEMENT:
            return ""
        first, second = self.hookups
        return (
            f"port {self.port} reflects differently in hook-ups {first} and {second}: apart by {self.largest:.3f} at "
            f"{hertz_text(self.at_hz)}, where {ALLOWED_DISAGREEMENT:g} is allowed. Check that cables and loads are "
            "tight and that each load is on the port that bench.yaml names it for."
        )


@dataclass(frozen=True, slots=True)
class Corrected:
    """Sweeps to be read."""

    sweeps: Mapping[Hookup, Sweep]
    """As if every idle port had carried a perfect load, where `consistency` is there; else as they were."""

    consistency: Consistency | None


def recover(measured: Mapping[Hookup, ComplexArray], loads: Mapping[Port, ComplexArray]) -> ThreePort:
    """The three-port behind three sweeps, each of shape (n, 2, 2), and loads of reflections of shape (n,).

    Exact but for rounding. Raises KeyError when a hook-up or a load is missing, ValueError when the lengths
    differ, numpy.linalg.LinAlgError when unit and load reflect everything between them.
    """
    reflection = np.stack([loads[port] for port in PORTS], axis=1)
    loaded = np.zeros((len(reflection), 3, 3), dtype=np.complex128)
    twice: list[list[ComplexArray]] = [[], [], []]
    for hookup in HOOKUPS:
        used = [PORTS.index(hookup.first), PORTS.index(hookup.second)]
        part = _loaded(measured[hookup], reflection[:, used])
        loaded[:, used[0], used[1]], loaded[:, used[1], used[0]] = part[:, 0, 1], part[:, 1, 0]
        for row, port in enumerate(used):
            twice[port].append(part[:, row, row])
    for port, (first, second) in enumerate(twice):
        loaded[:, port, port] = (first + second) / 2
    apart = np.stack([np.abs(first - second) for first, second in twice], axis=1)
    s = np.linalg.solve(np.eye(3) + loaded * reflection[:, None, :], loaded)
    return ThreePort(np.asarray(s, dtype=np.complex128), apart)


def _loaded(m: ComplexArray, reflection: ComplexArray) -> ComplexArray:
    """M (1 - G M)^-1, written as (1 - M G)^-1 M, which is the same."""
    return np.asarray(np.linalg.solve(np.eye(2) - m * reflection[:, None, :], m), dtype=np.complex128)


def correct(sweeps: Iterable[Sweep], loads: Loads | None) -> Corrected:
    """The sweeps with the loads taken out, where all three hook-ups were swept with phases and all loads are
    known.

    Each reflection then is that of the whole unit, the same in both hook-ups. Otherwise the sweeps are returned as
    they are. Raises ValueError when they are not on one grid or reach beyond what is known of a load.
    """
    by_hookup = {sweep.hookup: sweep for sweep in sweeps}
    phases = all(sweep.phase for sweep in by_hookup.values())
    if loads is None or set(by_hookup) != set(HOOKUPS) or not phases:
        return Corrected(by_hookup, None)
    freq_hz = by_hookup[HOOKUPS[0]].freq_hz
    if not all(np.array_equal(sweep.freq_hz, freq_hz) for sweep in by_hookup.values()):
        raise ValueError("the hook-ups were swept at different frequencies, so the loads cannot be taken out")
    found = recover(
        {hookup: sweep.s for hookup, sweep in by_hookup.items()},
        {port: loads[port].at(freq_hz) for port in PORTS},
    )
    return Corrected(
        {
            hookup: replace(sweep, s=_between(found.s, hookup), loads_out=True)
            for hookup, sweep in by_hookup.items()
        },
        _worst(found, freq_hz),
    )


def _between(s: ComplexArray, hookup: Hookup) -> ComplexArray:
    used = [PORTS.index(hookup.first), PORTS.index(hookup.second)]
    return s[:, used][:, :, used]


def _worst(found: ThreePort, freq_hz: FloatArray) -> Consistency:
    point, port = np.unravel_index(int(np.argmax(found.disconsistency)), found.disconsistency.shape)
    return Consistency(float(found.disconsistency[point, port]), PORTS[int(port)], float(freq_hz[point]))
