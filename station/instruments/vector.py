"""The driver of a vector network analyzer: every S-parameter between the ports of a hook-up, two or more."""

from __future__ import annotations

import numpy as np

from station.instruments.sweeping import SweepingInstrument
from station.measurements.sweep import ComplexArray, Hookup, SweepSettings


class VectorAnalyzer(SweepingInstrument):
    """An analyzer (see `Analyzer`) of complex S-parameters."""

    def fill(self, hookup: Hookup, settings: SweepSettings, timeout_s: float, into: ComplexArray) -> None:
        """One S-parameter after the other, or all in one sweep where the dialect says so."""
        places = range(1, len(hookup.ports) + 1)
        paths = tuple(((to, source), self._dialect.path(to, source)) for source in places for to in places)
        sweeps = (paths,) if self._dialect.form.paths == "all" else tuple((each,) for each in paths)
        for together in sweeps:
            self.acquire(together[0][1], timeout_s)
            for (to, source), path in together:
                into[:, to - 1, source - 1] = self._fetch(path, len(into))

    def _fetch(self, path: str, points: int) -> ComplexArray:
        question = self._dialect.fetch(path)
        return self._link.ask_numbers(question, self._dialect.numbers, 2 * points).view(np.complex128)
