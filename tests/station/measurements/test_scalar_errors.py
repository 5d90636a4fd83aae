"""U on a scalar bench: its lines against published figures, and known truth within it."""

from __future__ import annotations

import csv
import importlib.util
import math
import sys
from collections import Counter
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest

from fixtures_sim.cabling import Cabling
from fixtures_sim.scalar import ScalarErrors
from fixtures_sim.units import build_unit
from limits.reading import Claim, Reading
from station.measurements.budget import with_uncertainty
from station.measurements.error_source import Excerpt
from station.measurements.evaluation import evaluate
from station.measurements.figures import NoiseFloor
from station.measurements.scalar_figures import ScalarFigures
from station.measurements.sweep import HOOKUPS, PORTS, Sweep, SweepSettings
from station.measurements.uncertainty import DB_PER_NEPER

TX_ANT, ANT_RX, TX_RX = HOOKUPS
SETTINGS = SweepSettings(1e3, 1, 0.0)
FIGURES = ScalarFigures(
    noise_floor=NoiseFloor.parse("-95 dBm at 1 kHz"),
    trace_noise=0.01,
    log_linearity=0.2,
    connector_repeatability=0.005,
    drift=0.01,
    source_match=20.0,
    receiver_match=20.0,
    directivity=35.0,
    port_match=25.0,
    bridge_loss=12.5,
    load_match=40.0,
)
TABLE = Path(__file__).parents[2] / "reference" / "uncertainty" / "mismatch.csv"


def excerpt(to, source, size):
    """One point of TX-ANT: S11, S22 and transmission of these magnitudes."""
    s = np.array([[[size["TX"], size["path"]], [size["path"], size["ANT"]]]], dtype=complex)
    freq_hz = np.array([156.6e6])
    sweep = Sweep(TX_ANT, freq_hz, s, SETTINGS, datetime(2025, 3, 31, tzinfo=UTC), 0.1, phase=False)
    return Excerpt({TX_ANT: sweep}, TX_ANT, to, source, freq_hz)


def line(figures, name, part):
    """The half-width in dB, or the standard deviation, of one line."""
    (source,) = (each for each in figures.sources(part) if each.name == name)
    return float(source.level_db()[0])


def rho(vswr):
    return (vswr - 1) / (vswr + 1)


def published():
    rows = (each for each in TABLE.read_text().splitlines() if not each.startswith("#"))
    return [(float(row["vswr_source"]), float(row["vswr_load"]), float(row["std_u_db_ushape"]))
            for row in csv.DictReader(rows)]  # fmt: skip


@pytest.mark.parametrize(("source", "load", "std_db"), published())
def test_mismatch_of_source_and_unit_is_that_of_the_published_table(source, load, std_db):
    """Half-width over the root of two, as the table has it; its last digits are those of a small ratio."""
    figures = FIGURES.model_copy(update={"source_match": -20 * math.log10(rho(source))})
    part = excerpt("ANT", "TX", {"TX": rho(load), "ANT": 0.1, "path": 0.8})
    assert line(figures, "source match", part) / math.sqrt(2) == pytest.approx(std_db, rel=0.005)


def test_a_bridge_of_35_db_reads_20_db_up_to_1_7_db_off():
    """20 log10(1 - 10^(-15/20)) = -1.70 dB, the further of the two limits."""
    part = excerpt("TX", "TX", {"TX": 0.1, "ANT": 0.1, "path": 0.8})
    assert line(FIGURES, "directivity", part) == pytest.approx(1.70, abs=0.01)


@pytest.mark.parametrize("model", ["SK-V4", "SK-U4"])
def test_how_far_a_small_reflection_moves_is_told_from_its_magnitudes(model):
    """Of 60 units at their channels, read through a bridge with leak and noise: rms within 25 % of the truth.

    Where a unit hardly moves (UHF, 0.003) the noise of the bridge may show as much again, and no more.
    """
    rng, told, true = np.random.default_rng(5), [], []
    base = {"SK-V4": (156.6e6, 157.4e6), "SK-U4": (450e6, 455.5e6)}[model]
    for number in range(60):
        unit = build_unit(model, f"T{number}", *base, 1)
        freq_hz = base[0] + np.linspace(-12.5e3, 12.5e3, 11)
        s = unit.s(freq_hz, 23.0)[:, 0, 0]
        leak = 10 ** (-35 / 20) * np.exp(2j * np.pi * rng.random())
        seen = np.abs(s + leak) * (1 + 0.01 / DB_PER_NEPER * rng.standard_normal(11))
        two = np.full((11, 2, 2), 0.8, dtype=complex)
        two[:, 0, 0] = seen
        sweep = Sweep(TX_ANT, freq_hz, two, SETTINGS, datetime(2025, 3, 31, tzinfo=UTC), 0.1, phase=False)
        part = Excerpt({TX_ANT: sweep}, TX_ANT, "ANT", "TX", freq_hz)
        (source,) = (each for each in FIGURES.sources(part) if each.name == "source match")
        told.append(10 * abs(source.effect[-1] - source.effect[0]))
        true.append(abs(s[-1] - s[0]))
    told_rms, true_rms = (float(np.sqrt(np.mean(np.square(each)))) for each in (told, true))
    assert 0.75 * true_rms < told_rms < 1.25 * true_rms + 0.004


def test_averages_make_the_floor_steadier_and_not_lower():
    one, many = (FIGURES.floor(SweepSettings(1e3, averages, 0.0)) for averages in (1, 16))
    assert (one.noise, one.averaged, many.averaged) == (many.noise, 1, 16)
    assert -20 * math.log10(one.noise) == pytest.approx(95.0)


def test_levels_near_the_reference_suffer_less_from_the_scale():
    near = excerpt("ANT", "TX", {"TX": 0.1, "ANT": 0.1, "path": 10 ** (-1.5 / 20)})
    far = excerpt("ANT", "TX", {"TX": 0.1, "ANT": 0.1, "path": 1e-3})
    assert line(FIGURES, "log linearity", near) == pytest.approx(0.03)
    assert line(FIGURES, "log linearity", far) == pytest.approx(0.2)


@pytest.fixture(scope="module")
def study():
    """Simulated units on simulated scalar benches, from the study of plausibility."""
    path = Path(__file__).parents[2] / "studies" / "scalar_plausibility.py"
    spec = importlib.util.spec_from_file_location("scalar_study_of_u", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["scalar_study_of_u"] = module
    spec.loader.exec_module(module)
    return module


def readings(study, rng, family):
    """Each reading of one unit with U, and the truth."""
    channels = study.vector.draw_channels(family, rng)
    unit, _ = study.vector.draw_unit(family, channels, rng)
    errors = ScalarErrors(delay_s=float(rng.uniform(0.3e-9, 6e-9)))
    load = complex(0.01 * np.exp(2j * np.pi * rng.random()))
    bench = study.Bench(errors, load, 0.0, int(rng.integers(1 << 40)))
    plan = study.plan_of(family, channels)
    freq_hz, settings = plan.orders[0].freq_hz, plan.orders[0].settings
    raw = [
        bench.raw(Cabling(unit, order.hookup.ports), order.hookup, freq_hz, settings, place)
        for place, order in enumerate(plan.orders)
    ]
    # References are swept with care, as a calibration does; their noise is no line of its own.
    careful = replace(settings, averages=16)
    read = evaluate(raw, bench.data(freq_hz, careful)).sweeps
    s, truth = unit.s(freq_hz, 23.0), {}
    for pair in HOOKUPS:
        used = [PORTS.index(port) for port in pair.ports]
        truth[pair] = Sweep(pair, freq_hz, s[:, used][:, :, used], settings, study.vector.STARTED, 0.1)
    for item in plan.characteristics:
        found, true = item.read(read, FIGURES), item.read(truth)
        found = with_uncertainty(item, found, read, FIGURES)
        if isinstance(found, Reading) and found.value is not None and true.value is not None:
            yield item, found, true.value


def test_the_truth_lies_within_u_and_beyond_every_bound(study):
    """Of 24 units on as many benches, good and bad ones: at least 9 in 10 of losses, isolations and return losses."""
    rng = np.random.default_rng(11)
    tried, within = Counter(), Counter()
    families = study.vector.families()
    for count in range(24):
        for item, found, true in readings(study, rng, families[count % 2]):
            kind = item.measure.name.removeprefix("worst ")
            if found.claim is Claim.AT_LEAST and item.unit == "dB":
                kind = "bound"
                inside = true >= found.value - found.u
            else:
                inside = abs(found.value - true) <= found.u
            tried[kind] += 1
            within[kind] += inside
    for kind in ("loss", "isolation", "return loss", "ripple", "match bandwidth", "bound"):
        assert within[kind] >= 0.9 * tried[kind], f"{kind}: {within[kind]} of {tried[kind]}"
        assert tried[kind] >= 20, kind
