"""The scalar bench's instrument: power without phase, its own mismatch, a bridge, and noise that adds power."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
import pytest

from fixtures_sim.noise import mean_power
from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.server import Bench, running_bench

PERFECT = ScalarErrors(
    floor_dbm=-300.0,
    trace_db=1e-9,
    source_match_db=300.0,
    receiver_match_db=300.0,
    flatness_db=0.0,
    linearity_db=0.0,
    bridge_directivity_db=300.0,
    bridge_match_db=300.0,
)
SETTINGS = "SENS:FREQ:STAR 150MHZ;STOP 170MHZ;:SENS:SWE:POIN 201;:SENS:BAND 1KHZ;:SOUR:POW 0"
FREQ_HZ = np.linspace(150e6, 170e6, 201)


@contextmanager
def scalar_bench(errors: ScalarErrors, device: Any, raw: Callable[[int], Any]) -> Iterator[tuple[Bench, Any]]:
    with running_bench(seed=3, device=device, scalar=errors) as bench:
        client = raw(bench.socket_port)
        client.send(SETTINGS)
        yield bench, client


def swept(client: Any, setting: str = "") -> np.ndarray:
    assert client.ask(f"{setting};:INIT;*OPC?" if setting else "INIT;*OPC?") == "1"
    return np.array([float(each) for each in client.ask("CALC:DATA?").split(",")])


def db(size: Any) -> Any:
    return 20.0 * np.log10(np.abs(size))


def test_without_any_error_it_reads_the_power_through_the_unit(device: Any, raw: Any) -> None:
    with scalar_bench(PERFECT, device, raw) as (bench, client):
        bench.hook_up("TX", "ANT")
        assert swept(client) == pytest.approx(db(device.s(FREQ_HZ, 23.0)[:, 1, 0]), abs=1e-6)
        assert swept(client, "SOUR:POW -10") == pytest.approx(db(0.81) - 10.0, abs=1e-6)


def test_with_one_port_hooked_up_the_bridge_reads_its_reflection(device: Any, raw: Any) -> None:
    with scalar_bench(PERFECT, device, raw) as (bench, client):
        bench.hook_up("RX")
        assert swept(client) == pytest.approx(db(0.07) - PERFECT.bridge_loss_db, abs=1e-6)


def test_source_and_receiver_match_move_a_transmission_within_the_published_limits(
    device: Any, raw: Any
) -> None:
    """20 log10(1 +- |Gs Gl|) at both ends, and what goes round between them."""
    with scalar_bench(ScalarErrors(trace_db=1e-9, flatness_db=0.0, linearity_db=0.0), device, raw) as (
        bench,
        client,
    ):
        bench.hook_up("TX", "ANT")
        s = device.s(FREQ_HZ, 23.0)
        off_db = swept(client) - db(s[:, 1, 0])
        most = 1.0 / ((1 - 0.1 * 0.05) * (1 - 0.1 * 0.06) - 0.01 * 0.81 * 0.8)
        assert np.abs(off_db).max() <= db(most) + 0.001
        assert np.abs(off_db).max() > 0.02


def test_a_pad_on_either_side_improves_the_match_and_costs_its_loss(device: Any, raw: Any) -> None:
    flat = ScalarErrors(trace_db=1e-9, flatness_db=0.0, linearity_db=0.0)
    padded = ScalarErrors(trace_db=1e-9, flatness_db=0.0, linearity_db=0.0, pad_db=10.0)
    assert np.all(np.abs(padded.source(FREQ_HZ)) < 0.04)
    assert np.abs(flat.source(FREQ_HZ)) == pytest.approx(0.1)
    with scalar_bench(padded, device, raw) as (bench, client):
        bench.hook_up("TX", "ANT")
        assert swept(client) == pytest.approx(db(0.81) - 20.0, abs=0.2)


def test_directivity_bounds_what_the_bridge_reads_of_a_load(device: Any, raw: Any) -> None:
    """A bridge of 35 dB directivity reads 20 dB return loss +1.4 / -1.7 dB off: 20 log10(1 -+ 10^(-15/20))."""
    errors = ScalarErrors(trace_db=1e-9, flatness_db=0.0, linearity_db=0.0, bridge_match_db=300.0)
    with scalar_bench(errors, device, raw) as (bench, client):
        bench.hook_up("RX")
        return_loss_db = -swept(client) - errors.bridge_loss_db
        leak = 10 ** (-(35.0 + db(0.07)) / 20.0)
        assert np.all(return_loss_db >= -db(0.07) - db(1 + leak) - 0.02)
        assert np.all(return_loss_db <= -db(0.07) - db(1 - leak) + 0.02)


def test_generator_off_shows_the_floor(device: Any, raw: Any) -> None:
    """100 power averages of 201 points scatter by 1 / sqrt(20100) of the floor's power: 0.03 dB."""
    errors = ScalarErrors(linearity_db=0.0)
    with scalar_bench(errors, device, raw) as (bench, client):
        bench.hook_up("TX", "RX")
        power = 10 ** (swept(client, "OUTP OFF;:SENS:AVER:COUN 100;:SENS:AVER ON") / 10)
        assert 10 * math.log10(power.mean()) == pytest.approx(-95.0, abs=0.15)
        wide = 10 ** (swept(client, "SENS:BAND 10KHZ") / 10)
        assert 10 * math.log10(wide.mean()) == pytest.approx(-85.0, abs=0.15)


@pytest.mark.parametrize("averages", [1, 2, 16])
@pytest.mark.parametrize("above_db", [0.0, 10.0])
def test_noise_adds_its_power_and_scatters_by_its_law(averages: int, above_db: float) -> None:
    """Bias 10 log10(1 + 10^(-X/10)); variance of a power in noise (2 P N + N^2) / n, the non-central chi-square's."""
    freq_hz = np.linspace(100e6, 200e6, 20_001)
    wave = np.full(freq_hz.size, 10 ** (above_db / 20), dtype=np.complex128)
    power = mean_power(wave, 1.0, 1e-9, averages, 5, freq_hz, np.zeros(freq_hz.size, np.uint64))
    level = 10 ** (above_db / 10)
    variance = (2 * level + 1) / averages
    five_sigma = 5 * math.sqrt(variance / freq_hz.size)
    assert power.mean() == pytest.approx(level + 1, abs=five_sigma)
    assert power.var() == pytest.approx(variance, rel=0.1)


def test_a_through_is_level_but_for_the_flatness(device: Any, raw: Any) -> None:
    errors = ScalarErrors()
    with scalar_bench(errors, device, raw) as (bench, client):
        bench.connect("through", 1, 2)
        assert swept(client) == pytest.approx(errors.flatness(FREQ_HZ), abs=0.25)


def test_open_and_short_reflect_all_and_differ_by_the_bridge_alone(device: Any, raw: Any) -> None:
    errors = ScalarErrors(flatness_db=0.0, linearity_db=0.0, trace_db=1e-9)
    with scalar_bench(errors, device, raw) as (bench, client):
        bench.connect("open", 1)
        opened = swept(client) + errors.bridge_loss_db
        bench.connect("short", 1)
        shorted = swept(client) + errors.bridge_loss_db
        worst = db(1 + 10 ** (-35 / 20) + 10 ** (-25 / 20))
        assert np.abs(opened).max() < worst + 0.03
        assert np.abs(opened - shorted).max() > 0.3
        assert np.abs(opened + shorted).max() / 2 < 0.03


def test_it_says_who_it_is_and_refuses_what_it_does_not_know(device: Any, raw: Any) -> None:
    with scalar_bench(PERFECT, device, raw) as (_, client):
        assert "Simulated spectrum analyzer" in client.ask("*IDN?")
        client.send("SENS:FUNC 'XFR:POW:S21'")
        assert client.ask("SYST:ERR?").startswith("-113")
        assert client.ask("SENS:AVER:TYPE?;:UNIT:POW?") == "RMS;DBM"
