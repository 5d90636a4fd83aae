"""The thermometer on the device."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fixtures_sim.faults import Fault
from fixtures_sim.server import Bench


@pytest.fixture
def thermometer(bench: Bench, raw: Callable[[int], Any]) -> Any:
    return raw(bench.helpers["thermometer"].port)


def test_it_says_who_it_is_and_has_an_error_queue(thermometer: Any) -> None:
    assert "Simulated thermometer" in thermometer.ask("*IDN?")
    thermometer.send("MEAS:VOLT?")
    assert thermometer.ask("SYST:ERR?").startswith("-113")
    assert thermometer.ask("*OPC?") == "1"


def test_it_reads_the_device_to_a_tenth_of_a_degree(bench: Bench, thermometer: Any) -> None:
    """Two hundred readings: their mean within 0.02, all within 0.2 of the truth, none finer than 0.1."""
    bench.warm(31.27)
    texts = [thermometer.ask("MEASure:SCALar:TEMPerature?") for _ in range(200)]
    assert all(len(text.partition(".")[2]) == 1 for text in texts)
    values = np.array([float(text) for text in texts])
    assert values.mean() == pytest.approx(31.27, abs=0.02)
    assert np.abs(values - 31.27).max() < 0.2
    assert len(set(texts)) > 1


def test_it_can_be_made_to_fail_by_itself(bench: Bench, thermometer: Any, raw: Callable[[int], Any]) -> None:
    bench.helpers["thermometer"].faults.add(Fault("wrong identity"))
    assert "Simulated vector analyzer" in raw(bench.socket_port).ask("*IDN?")
    assert thermometer.ask("*IDN?").startswith("Nobody")
