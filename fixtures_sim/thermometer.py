"""A thermometer on the device that lies on the fixture, on a SCPI socket of its own."""

from __future__ import annotations

import numpy as np

from fixtures_sim.fixture import Fixture
from fixtures_sim.keys import key_of
from fixtures_sim.scpi.box import Box, Command, Session
from fixtures_sim.scpi.message import Token

IDENTITY = "Skerry Works,Simulated thermometer,SIM-0004,1.0"
NOISE_K = 0.04
RESOLUTION_DIGITS = 1


class Thermometer(Box):
    """Reads in degrees Celsius, which is SCPI-1999's unit where nobody asks for another."""

    def __init__(self, fixture: Fixture, seed: int) -> None:
        super().__init__(IDENTITY)
        self._fixture = fixture
        self._seed = seed
        self._readings = 0
        self.teach((Command("MEASure[:SCALar]:TEMPerature?", self._ask_temperature),))

    def _ask_temperature(self, session: Session, tokens: tuple[Token, ...]) -> bytes:
        rng = np.random.default_rng(key_of(self._seed, "thermometer", self._readings))
        self._readings += 1
        value = self._fixture.temperature_c + rng.normal(0.0, NOISE_K)
        return f"{value:.{RESOLUTION_DIGITS}f}".encode()
