"""The noise of a bench from repeated sweeps, against what was put into them."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from station.measurements.noise import measured_noise
from station.measurements.sweep import HOOKUPS, Sweep, SweepSettings

FREQ_HZ = np.linspace(150e6, 160e6, 201)
FLOOR_DBM = -115.0


def sweeps(power_dbm: float, leak_db: float | None, through: float = 0.0) -> list[Sweep]:
    rng = np.random.default_rng(3)
    noise = 10 ** ((FLOOR_DBM - power_dbm) / 20) / np.sqrt(2)
    leak = 0.0 if leak_db is None else 10 ** (-leak_db / 20)
    shape = (len(FREQ_HZ), 2, 2)
    return [
        Sweep(
            HOOKUPS[0],
            FREQ_HZ,
            through + leak + noise * (rng.normal(size=shape) + 1j * rng.normal(size=shape)),
            SweepSettings(1e3, 1, power_dbm),
            datetime(2026, 3, 2, tzinfo=UTC),
            0.1,
        )
        for _ in range(4)
    ]


@pytest.mark.parametrize("power_dbm", [10.0, 0.0, -20.0])
def test_leakage_is_a_ratio_whatever_the_source_gives_and_noise_a_power(power_dbm: float) -> None:
    found = measured_noise(sweeps(power_dbm, leak_db=85.0), sweeps(power_dbm, None, through=0.9))
    assert found.leakage_db == pytest.approx(85.0, abs=0.3)
    quiet = measured_noise(sweeps(power_dbm, leak_db=None), sweeps(power_dbm, None, through=0.9))
    assert quiet.floor_dbm == pytest.approx(FLOOR_DBM, abs=0.3)


def test_leakage_that_drowned_in_noise_was_not_measured() -> None:
    found = measured_noise(sweeps(0.0, leak_db=130.0), sweeps(0.0, None, through=0.9))
    assert found.leakage_db is None
