"""The bench file of a scalar bench: what it must state, and what it makes of the analyzer."""

from __future__ import annotations

import jsonschema
import pytest
import yaml

from limits.errors import BadInput
from station.bench.file import load
from station.bench.form import bench_schema
from station.bench.opening import dialect_of
from station.measurements.noise import MeasuredNoise
from station.measurements.scalar_figures import ScalarFigures
from station.measurements.sweep import HOOKUPS, SINGLES

TEXT = """\
bench: final test 2
analyzer:
  kind: scalar
  address: TCPIP::127.0.0.1::5025::SOCKET
  dialect: power-single
  identity: Simulated spectrum analyzer
  from: 300 kHz
  to: 3 GHz
  most_points: 1601
uncertainty:
  noise_floor: -95 dBm at 1 kHz
  trace_noise: 0.01 dB
  log_linearity: 0.2 dB
  connector_repeatability: 0.02 dB
  drift: 0.05 dB
  source_match: 20 dB
  receiver_match: 20 dB
  directivity: 35 dB
  port_match: 25 dB
  bridge_loss: 13 dB
  load_match: 40 dB
calibration: {by: station, kit: works-n, valid_for: 12 h}
"""
KIT = """\
kit: works kit 2
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""


@pytest.fixture
def write(tmp_path):
    def write(text):
        (tmp_path / "kits").mkdir(exist_ok=True)
        (tmp_path / "kits" / "works-n.yaml").write_text(KIT)
        path = tmp_path / "bench.yaml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def told(path):
    with pytest.raises(BadInput) as caught:
        load(path)
    return [str(mistake).removeprefix(f"{path}:") for mistake in caught.value.mistakes]


def test_a_scalar_bench_sweeps_pairs_and_single_ports_without_phases(write):
    bench = load(write(TEXT))
    assert bench.ability.hookups == (*HOOKUPS, *SINGLES)
    assert not bench.ability.phase
    assert isinstance(bench.source.value.figures, ScalarFigures)


def test_its_schema_takes_it():
    jsonschema.validate(yaml.load(TEXT, yaml.BaseLoader), bench_schema())


def test_loads_cannot_be_taken_out_of_magnitudes(write, tmp_path):
    (tmp_path / "load.s1p").write_text("# MHz S MA R 50\n1 0.02 0\n3000 0.04 -90\n")
    bench = load(write(TEXT + "loads: {TX: load.s1p, ANT: load.s1p, RX: load.s1p}\n"))
    assert bench.loads is None
    assert len(bench.load_files) == 3


def test_a_scalar_bench_without_figures_is_refused(write):
    head, _, rest = TEXT.partition("uncertainty")
    (mistake,) = told(write(head + rest[rest.index("calibration") :]))
    assert mistake.startswith("3:9: a scalar bench must state its figures under 'uncertainty'")


def test_a_scalar_bench_that_takes_no_references_is_refused(write):
    (mistake,) = told(write(TEXT.partition("calibration")[0]))
    assert mistake.startswith("3:9: a scalar bench needs reference sweeps")
    analyzers = TEXT.replace("by: station, kit: works-n", "by: analyzer, made: 2026-01-01")
    assert any("a scalar bench needs reference sweeps" in each for each in told(write(analyzers)))


def test_figures_of_the_other_kind_are_refused_on_either(write):
    own = ("log_linearity: 0.2 dB", "source_match: 20 dB", "receiver_match: 20 dB", "bridge_loss: 13 dB")
    without = TEXT
    for line in own:
        without = without.replace(f"  {line}\n", "")
    assert any("a scalar bench must state" in each for each in told(write(without)))
    assert any("this one is none" in each for each in told(write(TEXT.replace("scalar", "vector", 1))))


def test_a_missing_or_misspelt_figure_is_told_at_its_place(write):
    (missing,) = told(write(TEXT.replace("  drift: 0.05 dB\n", "")))
    assert "'drift' is missing" in missing
    assert any(
        "did you mean 'bridge_loss'" in each
        for each in told(write(TEXT.replace("bridge_loss", "bridgeloss")))
    )


def test_a_dialect_of_s_parameters_is_refused(write):
    with pytest.raises(BadInput, match="cannot use; it needs one with 'paths: none'"):
        dialect_of(load(write(TEXT.replace("power-single", "linear-single"))), None)


def test_a_directivity_better_than_the_load_it_was_found_with_is_refused_at_its_place(write):
    """No reflection is read better than the load is known; the kit's is trusted to 46 dB."""
    (said,) = told(write(TEXT.replace("directivity: 35 dB", "directivity: 47 dB")))
    assert said.startswith("18:")
    assert "47 dB is better than the load of kit works-n itself, which is trusted to 46 dB" in said
    load(write(TEXT.replace("directivity: 35 dB", "directivity: 47 dB\n  load_standard: 46 dB")))


def test_a_floor_that_was_measured_worse_than_stated_counts_and_a_better_one_does_not(write):
    stated = load(write(TEXT)).source.value.figures
    worse = stated.as_measured((MeasuredNoise(1e4, -80.0, 0.02),))
    assert (worse.noise_floor.power_dbm, worse.noise_floor.bandwidth_hz) == (-80.0, 1e4)
    assert stated.as_measured((MeasuredNoise(1e4, -86.0, 0.02),)) is stated
