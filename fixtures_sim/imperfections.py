"""Everything a bench adds to the device on it, in one place: each part a frozen set of figures, or left out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from fixtures_sim.connections import Connectors
from fixtures_sim.device import PORT_NAMES, ComplexArray, FloatArray
from fixtures_sim.drift import Drift
from fixtures_sim.keys import key_of
from fixtures_sim.loads import Load
from fixtures_sim.noise import Noise
from fixtures_sim.port_errors import DrawnPorts, PortErrors
from fixtures_sim.switch import SwitchErrors

USUAL_NOISE = Noise()


@dataclass(frozen=True, slots=True)
class Imperfections:
    """Everything the bench adds."""

    noise: Noise | None = USUAL_NOISE
    ports: PortErrors | None = None
    """The analyzer without calibration; None is an analyzer that corrects itself perfectly."""

    loads: Mapping[str, Load] = field(default_factory=dict)
    """What each port carries while it idles; a port that is not named carries a perfect load."""

    connectors: Connectors | None = None
    """None connects everything alike every time, and no cable minds being bent."""

    switch: SwitchErrors | None = None
    """Of the switch box, on a bench that has one; None is a box that is not felt at all."""

    @classmethod
    def full(cls, seed: int) -> Imperfections:
        """Everything a real bench adds, drawn from the seed where it differs from bench to bench."""
        return cls(
            ports=DrawnPorts(seed, drift=Drift()),
            loads={port: _drawn_load(seed, port) for port in PORT_NAMES},
            connectors=Connectors(),
            switch=SwitchErrors(seed),
        )


LOAD_RETURN_LOSS_DB, LOAD_SPREAD_DB = 40.0, 2.0
"""Of the loads on idle ports in `Imperfections.full`."""


def _drawn_load(seed: int, port: str) -> Load:
    rng = np.random.default_rng(key_of(seed, "load", port))
    return Load(
        return_loss_db=rng.normal(LOAD_RETURN_LOSS_DB, LOAD_SPREAD_DB),
        phase_rad=rng.uniform(-np.pi, np.pi),
        delay_s=rng.uniform(0.1e-9, 0.3e-9),
    )


def load_reflections(imperfections: Imperfections, freq_hz: FloatArray) -> dict[str, ComplexArray]:
    """Reflection of the load that each port carries while it idles, where it is not perfect."""
    return {port: load.reflection(freq_hz) for port, load in imperfections.loads.items()}
