"""Everything a bench adds, in one place."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from fixtures_sim.imperfections import Imperfections, load_reflections
from fixtures_sim.loads import Load

FREQ_HZ = np.linspace(100e6, 200e6, 5)


def test_a_load_has_the_return_loss_it_is_named_by() -> None:
    bench = Imperfections(loads={"RX": Load(return_loss_db=12.0, delay_s=1e-9)})
    reflections = load_reflections(bench, FREQ_HZ)
    assert list(reflections) == ["RX"]
    assert np.abs(reflections["RX"]) == pytest.approx(10 ** (-12 / 20))


def test_a_full_bench_has_everything_and_is_the_same_for_a_seed() -> None:
    full = Imperfections.full(4)
    assert full == Imperfections.full(4)
    assert full != Imperfections.full(5)
    assert all((full.noise, full.ports, full.connectors))
    assert set(full.loads) == {"TX", "ANT", "RX"}
    assert all(34.0 < load.return_loss_db < 46.0 for load in full.loads.values())


def test_a_full_bench_reads_the_device_through_all_its_errors(
    make_bench: Callable[..., Any], device: Any, visa: Callable[[str], Any]
) -> None:
    """Away from the truth by more than noise, and by no more than raw ports make of it."""
    with make_bench(seed=3, device=device, imperfections=Imperfections.full(3)) as bench:
        bench.hook_up("TX", "ANT")
        analyzer = visa(bench.socket_address)
        analyzer.write("*RST;:SENS:FREQ:STAR 100MHZ;STOP 200MHZ;:SENS:SWE:POIN 5;:CALC:FORM MLIN")
        text = analyzer.query("SENS:FUNC 'XFR:POW:S21';:INIT;:CALC:DATA?")
    off = np.abs([float(value) for value in text.split(",")] - np.abs(device.s(FREQ_HZ, 23.0)[:, 1, 0]))
    assert 0.01 < off.max() < 0.3


@pytest.mark.parametrize("hours", [-1.0, float("nan"), float("inf")])
def test_time_passes_forwards_and_ends(make_bench: Callable[..., Any], hours: float) -> None:
    with make_bench() as bench, pytest.raises(ValueError, match="hours that pass are a finite number"):
        bench.pass_time(hours)
