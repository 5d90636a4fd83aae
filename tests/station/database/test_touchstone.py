"""Touchstone text: scikit-rf reads the specification's examples as published, and ours as the numbers we wrote."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
import skrf
import yaml

from station.database.touchstone import touchstone_of, touchstone_text
from station.measurements.sweep import HOOKUPS, Hookup, Sweep, SweepSettings

REFERENCE = Path(__file__).parents[2] / "reference" / "touchstone"
EXPECTED = yaml.safe_load((REFERENCE / "expected.yaml").read_text())["files"]
HZ = {"freq_hz": 1.0, "freq_mhz": 1e6, "freq_ghz": 1e9}


def network(text: str, folder: Path) -> skrf.Network:
    file = folder / "sweep.s2p"
    file.write_text(text, encoding="ascii")
    return skrf.Network(str(file))


def as_sweep(freq_hz: np.ndarray, s: np.ndarray, hookup: Hookup = HOOKUPS[0]) -> Sweep:
    return Sweep(hookup, freq_hz, s, SweepSettings(1e3, 1, -10.0), datetime(2025, 3, 3, tzinfo=UTC), 0.1)


def published(said: dict[str, list[float]]) -> dict[tuple[int, int], np.ndarray]:
    """Complex values by (to, from) port from 0, where the reference gives them in one form or another."""
    found = {}
    for to in (1, 2):
        for source in (1, 2):
            name = f"S{to}{source}"
            if name in said:
                found[to - 1, source - 1] = np.array(said[name])
            elif f"{name}_re" in said and f"{name}_im" in said:
                found[to - 1, source - 1] = np.array(said[f"{name}_re"]) + 1j * np.array(said[f"{name}_im"])
    return found


@pytest.mark.parametrize("name", sorted(EXPECTED))
def test_our_judge_reads_the_examples_as_they_were_published(name):
    """Before scikit-rf may judge our text it is held against the specification's own examples."""
    said, read = EXPECTED[name], skrf.Network(str(REFERENCE / name))
    assert read.nports == said["ports"]
    for unit, factor in HZ.items():
        if unit in said:
            assert read.f == pytest.approx(np.array(said[unit]) * factor, rel=1e-15)
    for (to, source), values in published(said).items():
        assert read.s[:, to, source] == pytest.approx(values, abs=1e-12)
    if "Z11_ohm_mag" in said:
        assert np.abs(read.z[:, 0, 0]) == pytest.approx(np.array(said["Z11_ohm_mag"]), rel=1e-9)
    for key, values in said.items():
        if match := re.fullmatch(r"S(\d)(\d)(_mag)?_at_([0-9.]+)", key):
            at = int(np.argmin(np.abs(read.f / read.frequency.multiplier - float(match[4]))))
            found = read.s[at, int(match[1]) - 1, int(match[2]) - 1]
            assert (abs(found) if match[3] else [found.real, found.imag]) == pytest.approx(values, abs=1e-12)
        if key[:1] == "S" and key.endswith(("_mag", "_db")):
            measured = read.s_mag if key.endswith("_mag") else read.s_db
            assert measured[:, int(key[1]) - 1, int(key[2]) - 1] == pytest.approx(np.array(values), abs=1e-9)


@pytest.mark.parametrize("name", ["spec_ex_3.ts", "spec_ex_13.s2p", "spec_ex_18.s2p", "own_2port_dB.s2p"])
def test_the_numbers_of_an_example_written_by_us_are_read_the_same(name, tmp_path):
    example = skrf.Network(str(REFERENCE / name))
    again = network(touchstone_text(as_sweep(example.f, example.s)), tmp_path)
    assert np.array_equal(example.f, again.f)
    assert np.array_equal(example.s, again.s)


def test_the_order_of_a_two_port_line_is_s11_s21_s12_s22():
    """Example 3 of the specification marks each value by its name: 111, 121, 112, 122."""
    s = np.array([[[111, 112], [121, 122]]], np.complex128)
    line = touchstone_text(as_sweep(np.array([1e9]), s)).splitlines()[-1]
    (example,) = [
        text for text in (REFERENCE / "spec_ex_3.ts").read_text().splitlines() if text.startswith("1 ")
    ]
    assert [float(word) for word in line.split()[1::2]] == [float(word) for word in example.split()[1::2]]


@pytest.mark.parametrize("hookup", HOOKUPS, ids=str)
def test_a_sweep_is_read_back_to_the_last_bit(hookup, make, tmp_path):
    sweep = make.sweep(hookup, points=101)
    read = network(touchstone_text(sweep), tmp_path)
    assert np.array_equal(sweep.freq_hz, read.f)
    assert np.array_equal(sweep.s, read.s)
    assert np.all(read.z0 == 50)


@pytest.mark.parametrize(
    ("hookup", "said"),
    [
        (HOOKUPS[0], "! port 1 = TX, port 2 = ANT, load on RX"),
        (HOOKUPS[1], "! port 1 = ANT, port 2 = RX, load on TX"),
        (HOOKUPS[2], "! port 1 = TX, port 2 = RX, load on ANT"),
    ],
)
def test_hook_up_and_port_order_are_stated(hookup, said, make):
    assert said in touchstone_text(make.sweep(hookup)).splitlines()


def test_a_stored_sweep_states_its_unit_and_its_instruments(store, make):
    key = store.begin(make.head())
    for hookup in HOOKUPS:
        store.keep_sweep(key.run_id, make.sweep(hookup))
    run = store.run(key.run_id)
    text = touchstone_of(run, run.sweeps[1])
    assert text.startswith("! serial SKV-0101, run 1, model SK-V4\n")
    assert "! hook-up ANT-RX, load on TX\n" in text
    assert "! analyzer: Any,Two-port analyzer,0,1.0\n" in text


def test_a_comment_stays_one_line_of_ascii(make):
    text = touchstone_text(make.sweep(), ["operator Bjørn\n# GHz S MA R 75"])
    assert text.splitlines()[0] == "! operator Bj?rn # GHz S MA R 75"
    assert sum(line.startswith("#") for line in text.splitlines()) == 1
