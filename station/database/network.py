"""The unit's three-port as Touchstone 1.1 text, put together from the three pairs of ports that were measured.

Each path comes from the pair it joins. Each reflection was measured twice; it is taken where the certificate takes
it: TX from TX-ANT, RX from ANT-RX, ANT from the pair whose channel is nearer.

Rules followed (Touchstone File Format Specification 1.1, as read in its examples): one option line
`# Hz S RI R 50`; of three ports each frequency takes three lines, one for each row of the matrix.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import reduce

import numpy as np

from limits.reading import FloatArray
from station.database.entries import StoredRun
from station.database.touchstone import REFERENCE_OHM, comment
from station.measurements.sweep import HOOKUPS, PORTS, ComplexArray, Hookup, Sweep

TX_ANT, ANT_RX, _ = HOOKUPS
FIGURES = 7
"""Significant digits: 0.000001 dB, far below any trace noise."""

_LINE = " ".join([f"%.{FIGURES}g"] * 6)
_POINT = f"%s {_LINE}\n{_LINE}\n{_LINE}\n"


def network_of(run: StoredRun, sweeps: Mapping[Hookup, Sweep]) -> str:
    """The text of an .s3p file over the frequencies that all pairs share.

    Empty where a pair was not measured, or without phases.
    """
    if any(hookup not in sweeps or not sweeps[hookup].phase for hookup in HOOKUPS):
        return ""
    freq_hz = reduce(np.intersect1d, [sweeps[hookup].freq_hz for hookup in HOOKUPS])
    s = _matrices(sweeps, freq_hz, (run.order.tx_hz + run.order.rx_hz) / 2, run.order.tx_hz < run.order.rx_hz)
    known = np.isfinite(s).all(axis=(1, 2))
    parts = np.stack((s.real, s.imag), axis=-1).reshape(len(s), -1)
    head = [*(f"! {comment(note)}\n" for note in _notes(run)), f"# Hz S RI R {REFERENCE_OHM}\n"]
    rows = zip(freq_hz[known].tolist(), parts[known].tolist(), strict=True)
    return "".join([*head, *(_POINT % (repr(at_hz), *row) for at_hz, row in rows)])


def _notes(run: StoredRun) -> tuple[str, ...]:
    head = run.head
    return (
        f"serial {head.serial}, run {run.run_number}, model {run.order.model}",
        f"recipe {head.recipe.name} revision {head.recipe.revision}",
        "port 1 = TX, port 2 = ANT, port 3 = RX",
        "frequency, then real and imaginary part of S11 S12 S13, S21 S22 S23, S31 S32 S33",
        "over the frequencies at which all pairs of ports were measured",
    )


def _matrices(
    sweeps: Mapping[Hookup, Sweep], freq_hz: FloatArray, middle_hz: float, tx_below: bool
) -> ComplexArray:
    s = np.empty((len(freq_hz), len(PORTS), len(PORTS)), dtype=np.complex128)
    rows = {hookup: np.searchsorted(sweeps[hookup].freq_hz, freq_hz) for hookup in HOOKUPS}

    def put(hookup: Hookup, to: int, source: int, where: slice | FloatArray = slice(None)) -> None:
        found = sweeps[hookup].parameter(PORTS[to], PORTS[source])[rows[hookup]]
        s[where, to, source] = found[where]

    for hookup in HOOKUPS:
        first, second = (PORTS.index(port) for port in hookup.ports)
        put(hookup, first, second)
        put(hookup, second, first)
    tx, ant, rx = range(len(PORTS))
    put(TX_ANT, tx, tx)
    put(ANT_RX, rx, rx)
    put(TX_ANT, ant, ant)
    put(ANT_RX, ant, ant, (freq_hz > middle_hz) == tx_below)
    return s
