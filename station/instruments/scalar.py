"""The driver of a spectrum analyzer with tracking generator: how much of the generator's wave comes back to it.

A pair of ports is swept straight through, generator on the first and receiver on the second: one direction, since a
unit without ferrites passes as much the other way (S12 is S21 in every reciprocal network), and no reflection. A
single port is swept through the return-loss bridge. What it gives is raw, the receiver's power over the generator's;
`station.measurements.normalisation` makes losses and return losses of it.
"""

from __future__ import annotations

import numpy as np

from limits.reading import FloatArray
from station.instruments.sweeping import SweepingInstrument
from station.measurements.sweep import ComplexArray, Hookup, SweepSettings


class ScalarAnalyzer(SweepingInstrument):
    """An analyzer (see `Analyzer`) of magnitudes."""

    def fill(self, hookup: Hookup, settings: SweepSettings, timeout_s: float, into: ComplexArray) -> None:
        """One sweep; of a pair both transmissions are the one that was measured, and the reflections are missing."""
        self.acquire("", timeout_s)
        size = self._fetch(len(into), settings.power_dbm)
        if len(hookup.ports) == 1:
            into[:, 0, 0] = size
        else:
            into[:, 1, 0] = into[:, 0, 1] = size

    def _fetch(self, points: int, power_dbm: float) -> FloatArray:
        question = self._dialect.fetch("")
        received_dbm = self._link.ask_numbers(question, self._dialect.numbers, points)
        return np.asarray(10.0 ** ((received_dbm - power_dbm) / 20.0), dtype=np.float64)
