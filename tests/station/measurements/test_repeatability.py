"""The component between connections is found, whatever the noise of the sweeps."""

from __future__ import annotations

import numpy as np
import pytest

from station.measurements.repeatability import repeatability

POINTS = 40


def drawn(deviation_db: float, noise_db: float, connections: int, loss_db: float = 3.0) -> np.ndarray:
    rng = np.random.default_rng(7)
    own = (
        rng.normal(0.0, deviation_db, (connections, 1, 1)) if deviation_db else np.zeros((connections, 1, 1))
    )
    return loss_db + own + rng.normal(0.0, noise_db, (connections, 2, POINTS))


@pytest.mark.parametrize("noise_db", [0.001, 0.03])
def test_the_deviation_between_connections_is_told_apart_from_noise(noise_db: float) -> None:
    found = repeatability(drawn(0.02, noise_db, connections=200))
    assert found.deviation_db == pytest.approx(0.02, rel=0.15)
    assert found.noise_db == pytest.approx(noise_db, rel=0.1)


def test_connectors_that_repeat_perfectly_show_nothing_but_noise() -> None:
    found = repeatability(drawn(0.0, 0.01, connections=50))
    assert found.deviation_db < 0.001


def test_ten_connections_know_their_deviation_to_24_percent() -> None:
    """JCGM 100:2008, table E.1, prints 24 % for ten observations."""
    assert round(repeatability(drawn(0.02, 0.001, connections=10)).known_to, 2) == 0.24


def test_a_device_that_passes_nothing_says_nothing_of_connectors() -> None:
    assert repeatability(drawn(0.02, 0.001, connections=5, loss_db=30.0)) is None
