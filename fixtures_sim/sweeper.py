"""What every sweeping instrument of the bench has: sweeps that start, wait for triggers, end, and keep their data."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from fixtures_sim.cabling import Cabling
from fixtures_sim.device import FloatArray
from fixtures_sim.faults import Faults
from fixtures_sim.noise import Care
from fixtures_sim.scpi.box import Box, Command, Session
from fixtures_sim.scpi.errors import ScpiError
from fixtures_sim.scpi.message import Token
from fixtures_sim.scpi.values import ascii_list, block

SWEEPING_BIT, TRIGGER_BIT = 3, 5
"""Of the operation status, SCPI-1999 volume 2."""

FILTER_PERIODS = 1.1
"""Time per point times bandwidth; common practice, no source."""

POINT_S, TURN_S = 30e-6, 4e-3
"""Settling at each point, and back to the start after each sweep; common practice, no source."""


def sweep_time_s(points: int, bandwidth_hz: float) -> float:
    """How long one sweep in one direction takes, which is what SENSe:SWEep:TIME? tells (SCPI-1999 volume 2)."""
    return points * (FILTER_PERIODS / bandwidth_hz + POINT_S) + TURN_S


@dataclass(frozen=True, slots=True, eq=False)
class Acquisition:
    """One sweep with its data, which are good from `ends_s` on."""

    values: dict[str, NDArray[Any]]
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


class Sweeper(Box):
    """An instrument that sweeps by its settings; what it measures is told by the one derived from it."""

    settings: Any
    """A sweep_settings.SweepState, or what is derived from it."""

    def __init__(
        self, identity: str, fresh: Any, *, real_time: bool, clock: Callable[[], float], faults: Faults
    ) -> None:
        """`fresh` are the settings after *RST."""
        super().__init__(identity)
        self.settings = self._fresh = fresh
        self._real_time = real_time
        self._clock = clock
        self._faults = faults
        self._takes = Takes()
        self._armed = False
        self._running: Acquisition | None = None
        self._done: Acquisition | None = None
        self._next_s = 0.0
        self.teach(self._start_commands())

    # for the instrument built on this one

    def measure(self) -> Acquisition:
        """Sweep by the settings; the data are good from `acquisition_s` on. Raises ScpiError."""
        raise NotImplementedError

    @property
    def sweeps(self) -> int:
        """How many sweeps follow one start."""
        return int(self.settings.averages)

    # what the box asks for

    def reset(self) -> None:
        """*RST: every setting to its default, no sweep, no data."""
        self._stop()
        self._done = None
        self.settings = self._fresh

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

    @property
    def sweep_s(self) -> float:
        """How long one sweep with the present settings takes, were it in real time."""
        return sweep_time_s(self.settings.point_count, self.settings.bandwidth_hz)

    @property
    def acquisition_s(self) -> float:
        """How long an acquisition takes on this bench: nothing, unless sweeps take their time."""
        return self.sweeps * self.sweep_s if self._real_time else 0.0

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
        self._running = self.measure()
        self.status.operation.set(SWEEPING_BIT, True)

    def _stop(self) -> None:
        self._armed, self._running = False, None
        for bit in (SWEEPING_BIT, TRIGGER_BIT):
            self.status.operation.set(bit, False)
        self.turn.notify_all()

    # its commands

    def _start_commands(self) -> Iterable[Command]:
        return (
            Command("INITiate[:IMMediate]", self._run_init),
            Command("ABORt", self._run_abort),
            Command("SENSe#:SWEep:TIME?", lambda s, t: repr(self.sweep_s).encode()),
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

    def good_data(self) -> Acquisition:
        """The data of the last whole sweep. Raises ScpiError -230 when there are none."""
        if self.settings.continuous and self._clock() >= self._next_s:
            self._done = self.measure()
            self._next_s = self._done.ends_s
        if self._done is None:
            raise ScpiError(-230)
        return self._done


def encode(values: FloatArray, encoding: str, border: str) -> bytes:
    """Response data as FORMat:DATA and FORMat:BORDer ask for."""
    if encoding == "ASC":
        return ascii_list(values)
    order = ">" if border == "NORM" else "<"
    return block(values.astype(f"{order}f{4 if encoding == 'REAL,32' else 8}").tobytes())
