"""Error terms and correction, against scikit-rf's own example and other methods, and from known truth."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import skrf
from skrf.calibration import SOLT, UnknownThru
from skrf.network import two_port_reflect

from limits.errors import BadInput
from limits.yamlfile import parse
from station.measurements.calibration import ErrorTerms, Standards, correct_s, corrected, error_terms
from station.measurements.kit import Kit, KitForm, make_kit
from station.measurements.sweep import Hookup, Sweep

IDEAL = "kit: ideal\nopen: {}\nshort: {}\nload: {return_loss: 90 dB}\nthrough: {}\n"
REAL = """\
kit: real
open: {delay: 23.5 ps, capacitance: [68 fF]}
short: {delay: 25 ps, inductance: [8 pH]}
load: {resistance: 50.4 ohm, return_loss: 46 dB}
through: {delay: 41 ps, loss: 0.010 dB}
"""
FREQ_HZ = np.linspace(150e6, 170e6, 21)
REFERENCE = Path(__file__).parents[2] / "reference" / "calibration"
KINDS = ("open", "short", "load")


def kit_of(text: str) -> Kit:
    return make_kit(parse(text, KitForm, "kit.yaml"), lambda name: ("", name))


def random_terms(ports: int, seed: int, freq_hz: np.ndarray = FREQ_HZ) -> ErrorTerms:
    rng = np.random.default_rng(seed)

    def some(size: float) -> np.ndarray:
        shape = (len(freq_hz), ports, ports)
        return size * (rng.normal(size=shape) + 1j * rng.normal(size=shape))

    step_hz = float(np.diff(freq_hz).max())
    return ErrorTerms(freq_hz, some(0.05), some(0.05), 1 + some(0.1), step_hz)


def read_through(s: np.ndarray, terms: ErrorTerms) -> np.ndarray:
    """What the analyzer reads of a device: one source at a time, every other port ended in its load match."""
    raw = np.empty_like(s)
    eye = np.eye(terms.ports)
    for source in range(terms.ports):
        ended = terms.match[:, :, source][:, None, :] * eye
        out = np.linalg.solve(eye - s @ ended, s[:, :, source, None])[:, :, 0]
        raw[:, :, source] = terms.leak[:, :, source] + terms.tracking[:, :, source] * out
    return raw


def read_standards(kit: Kit, terms: ErrorTerms) -> Standards:
    freq_hz, ports = terms.freq_hz, terms.ports
    reflections, throughs, isolations = {}, {}, {}
    for port in range(ports):
        for kind in KINDS:
            s = np.zeros((len(freq_hz), ports, ports), dtype=complex)
            s[:, port, port] = kit.reflection(kind, freq_hz)
            reflections[kind, port + 1] = read_through(s, terms)[:, port, port]
    for one in range(ports):
        for other in range(one + 1, ports):
            used = np.ix_([one, other], [one, other])
            s = np.zeros((len(freq_hz), ports, ports), dtype=complex)
            isolations[one + 1, other + 1] = np.array([each[used] for each in read_through(s, terms)])
            s[:, [[one], [other]], [one, other]] = kit.through(freq_hz)
            throughs[one + 1, other + 1] = np.array([each[used] for each in read_through(s, terms)])
    return Standards(freq_hz, reflections, throughs, isolations)


def some_device(ports: int, seed: int = 7) -> np.ndarray:
    rng = np.random.default_rng(seed)
    shape = (len(FREQ_HZ), ports, ports)
    return 0.5 * (rng.normal(size=shape) + 1j * rng.normal(size=shape))


@pytest.mark.parametrize("ports", [2, 3])
@pytest.mark.parametrize("seed", range(5))
def test_whatever_stands_between_analyzer_and_device_is_found_and_taken_out(ports: int, seed: int) -> None:
    terms, kit, device = random_terms(ports, seed), kit_of(REAL), some_device(ports)

    found = error_terms(read_standards(kit, terms), kit, terms.largest_step_hz)

    for name in ("leak", "match", "tracking"):
        np.testing.assert_allclose(getattr(found, name), getattr(terms, name), rtol=0, atol=1e-10)
    np.testing.assert_allclose(correct_s(read_through(device, terms), found), device, rtol=0, atol=1e-10)


def documented_example() -> tuple[skrf.Network, SOLT, Standards]:
    """scikit-rf's example of a calibration by short, open, load and through (its documentation, "SOLT").

    A ring slot, in the data that come with scikit-rf, lies between two unequal noisy lines; built here in the same
    steps as there.
    """
    device = skrf.data.ring_slot
    media = skrf.media.DefinedGammaZ0(frequency=device.frequency, gamma=0.5 + 1j)
    line1 = media.line(d=20, unit="cm") ** media.impedance_mismatch(1, 2)
    line2 = media.line(d=30, unit="cm") ** media.impedance_mismatch(1, 3)
    line1.add_noise_polar(0.01, 0.1)
    line2.add_noise_polar(0.01, 0.1)
    ends = {"short": media.short(), "open": media.open(), "load": media.match()}
    read = {kind: two_port_reflect(line1**end, line2.flipped() ** end) for kind, end in ends.items()}
    through = line1**line2
    calibration = SOLT(
        ideals=[two_port_reflect(end, end) for end in ends.values()] + [media.thru()],
        measured=[*read.values(), through],
        n_thrus=1,
    )
    calibration.run()
    reflections = {}
    for kind, network in read.items():
        reflections[kind, 1], reflections[kind, 2] = network.s[:, 0, 0], network.s[:, 1, 1]
    return line1**device**line2, calibration, Standards(device.f, reflections, {(1, 2): through.s})


def test_the_documented_example_of_scikit_rf_comes_out_as_there() -> None:
    measured, calibration, standards = documented_example()

    terms = error_terms(standards, kit_of(IDEAL), 1e9)

    ours = {
        "forward directivity": terms.directivity(1),
        "reverse source match": terms.source_match(2),
        "forward reflection tracking": terms.reflection_tracking(1),
        "forward load match": terms.load_match(2, source=1),
        "reverse transmission tracking": terms.transmission_tracking(1, source=2),
    }
    for name, term in ours.items():
        np.testing.assert_allclose(term, calibration.coefs[name], rtol=1e-10, atol=1e-12, err_msg=name)
    result = correct_s(measured.s, terms)
    np.testing.assert_allclose(result, calibration.apply_cal(measured).s, rtol=0, atol=1e-10)
    # As there: "equal within 1e-4 absolute tolerance".
    np.testing.assert_allclose(result, skrf.data.ring_slot.s, rtol=0, atol=1e-4)


def test_raw_readings_of_a_real_analyzer_are_corrected_as_scikit_rf_does() -> None:
    """Its example of an analyzer with one source port: the device is turned round, the ports are one and the same."""
    with (REFERENCE / "one_path.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    freq_hz = np.array([float(row["freq_hz"]) for row in rows if row["what"] == "short"])

    def read(what: str) -> tuple[np.ndarray, np.ndarray]:
        mine = [{key: float(row[key]) for key in row if key != "what"} for row in rows if row["what"] == what]
        return (
            np.array([complex(row["s11_re"], row["s11_im"]) for row in mine]),
            np.array([complex(row["s21_re"], row["s21_im"]) for row in mine]),
        )

    def two_port(there: tuple[np.ndarray, np.ndarray], back: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        return np.array([[there[0], back[1]], [there[1], back[0]]]).transpose(2, 0, 1)

    frequency = skrf.Frequency.from_f(freq_hz, unit="hz")

    def one_way(what: str) -> skrf.Network:
        nothing = np.zeros_like(freq_hz)
        return skrf.Network(frequency=frequency, s=two_port(read(what), (nothing, nothing)), z0=50)

    line = skrf.media.DefinedGammaZ0(frequency=frequency, z0=50)
    theirs = skrf.calibration.TwoPortOnePath(
        ideals=[line.short(nports=2), line.open(nports=2), line.match(nports=2), line.thru()],
        measured=[one_way(what) for what in ("short", "open", "load", "through")],
        n_thrus=1,
        source_port=1,
    )
    theirs.run()
    reflections = {(kind, port): read(kind)[0] for kind in KINDS for port in (1, 2)}
    through = two_port(read("through"), read("through"))

    terms = error_terms(Standards(freq_hz, reflections, {(1, 2): through}), kit_of(IDEAL), 2e6)
    device = correct_s(two_port(read("device there"), read("device back")), terms)

    expected = theirs.apply_cal((one_way("device there"), one_way("device back"))).s
    np.testing.assert_allclose(device, expected, rtol=0, atol=1e-10)
    # A splitter of four ways sends a quarter through, 6 dB, and loses some: so the right way round is known too.
    loss_db = -20 * np.log10(np.abs(device[:, 1, 0]))
    assert ((loss_db > 2) & (loss_db < 9)).all()
    np.testing.assert_allclose(device[:, 1, 0], device[:, 0, 1], rtol=0.05)


def test_a_calibration_by_an_unknown_through_finds_the_same() -> None:
    """Another method: eight terms, its through not known but reciprocal (Ferrero and Pisani, 1992)."""
    kit = kit_of(REAL)
    rng = np.random.default_rng(3)
    frequency = skrf.Frequency.from_f(FREQ_HZ, unit="hz")

    def box() -> skrf.Network:
        s = 0.05 * (rng.normal(size=(len(FREQ_HZ), 2, 2)) + 1j * rng.normal(size=(len(FREQ_HZ), 2, 2)))
        s[:, 1, 0] = s[:, 0, 1] = 0.8 * np.exp(-2j * np.pi * FREQ_HZ * 3e-9)
        return skrf.Network(frequency=frequency, s=s, z0=50)

    def network(s: np.ndarray) -> skrf.Network:
        return skrf.Network(frequency=frequency, s=s, z0=50)

    left, right = box(), box()
    ends = {kind: network(kit.reflection(kind, FREQ_HZ)[:, None, None]) for kind in KINDS}
    read = {kind: two_port_reflect(left**end, right.flipped() ** end) for kind, end in ends.items()}
    through, device = network(kit.through(FREQ_HZ)), network(some_device(2))
    other = UnknownThru(
        ideals=[two_port_reflect(end, end) for end in ends.values()] + [through],
        measured=[*read.values(), left**through**right],
        switch_terms=(network(np.zeros((len(FREQ_HZ), 1, 1))), network(np.zeros((len(FREQ_HZ), 1, 1)))),
    )
    other.run()
    reflections = {}
    for kind in KINDS:
        reflections[kind, 1], reflections[kind, 2] = read[kind].s[:, 0, 0], read[kind].s[:, 1, 1]
    standards = Standards(FREQ_HZ, reflections, {(1, 2): (left**through**right).s})

    ours = correct_s((left**device**right).s, error_terms(standards, kit, 1e6))

    np.testing.assert_allclose(ours, other.apply_cal(left**device**right).s, rtol=0, atol=1e-9)


def turning_terms(delay_s: float, freq_hz: np.ndarray, step_hz: float) -> ErrorTerms:
    """Ports behind cables: the terms turn, each by another multiple of the delay, and ripple a little."""
    turn = np.exp(-2j * np.pi * freq_hz * delay_s)[:, None, None]
    ones = np.ones((1, 2, 2))
    ripple = 1 + 0.02 * np.cos(2 * np.pi * freq_hz / 150e6)[:, None, None]
    return ErrorTerms(
        freq_hz, 0.03 * turn * ripple * ones, 0.05 * turn**2 * ones, 0.9 * turn**2 * ripple * ones, step_hz
    )


def test_terms_between_their_points_keep_size_and_phase_behind_long_cables() -> None:
    coarse = turning_terms(10e-9, np.arange(150e6, 171e6, 2e6), 2e6)
    fine_hz = np.linspace(150.3e6, 169.7e6, 301)
    true = turning_terms(10e-9, fine_hz, 2e6)

    found = coarse.at(fine_hz)

    assert coarse.turn_deg == pytest.approx(14.4, abs=0.1)
    # A straight line misses a ripple by an eighth of its curvature times the step squared; the turning costs nothing.
    missed = 0.02 * (2 * np.pi * 2e6 / 150e6) ** 2 / 8
    np.testing.assert_allclose(found.tracking, true.tracking, rtol=0, atol=0.9 * missed)
    np.testing.assert_allclose(found.leak, true.leak, rtol=0, atol=0.03 * missed)
    np.testing.assert_allclose(found.match, true.match, rtol=0, atol=1e-12)


def test_a_grid_too_coarse_for_the_cables_is_refused() -> None:
    coarse = turning_terms(40e-9, np.arange(150e6, 171e6, 2e6), 2e6)

    assert "turn the phase by 58 degrees" in coarse.too_coarse
    with pytest.raises(ValueError, match="turn the phase"):
        coarse.at(np.array([155e6]))


@pytest.fixture
def sweep_over(
    sweep_of: Callable[[Hookup, np.ndarray, np.ndarray], Sweep],
) -> Callable[[float, float], Sweep]:
    def make(low_hz: float, high_hz: float) -> Sweep:
        return sweep_of(Hookup("TX", "ANT"), np.array([low_hz, high_hz]), np.zeros((2, 2, 2), dtype=complex))

    return make


@pytest.mark.parametrize(
    ("low_hz", "high_hz", "expected"),
    [
        (
            149e6,
            160e6,
            "calibrated from 150 MHz to 460 MHz, wanted are 149 MHz to 160 MHz; calibrate further",
        ),
        (440e6, 461e6, "calibrated from 150 MHz to 460 MHz, wanted are 440 MHz to 461 MHz"),
        (160e6, 300e6, "not calibrated between 170 MHz and 440 MHz, wanted are 160 MHz to 300 MHz"),
    ],
)
def test_a_sweep_that_was_not_calibrated_for_is_refused(
    sweep_over: Callable[[float, float], Sweep], low_hz: float, high_hz: float, expected: str
) -> None:
    freq_hz = np.concatenate([np.arange(150e6, 171e6, 1e6), np.arange(440e6, 461e6, 1e6)])
    terms = turning_terms(1e-9, freq_hz, 1e6)

    with pytest.raises(BadInput, match=expected):
        corrected(sweep_over(low_hz, high_hz), terms)
    assert corrected(sweep_over(150e6, 460e6), terms).hookup == Hookup("TX", "ANT")


def test_where_nothing_comes_back_each_parameter_stands_alone() -> None:
    """As on a bench that measures magnitudes, one at a time."""
    terms = random_terms(2, 1)
    terms = ErrorTerms(terms.freq_hz, 0 * terms.leak, 0 * terms.match, terms.tracking, 1e6)
    device = some_device(2)
    device[:, 0, 0] = np.nan

    found = correct_s(device * terms.tracking, terms)

    np.testing.assert_allclose(found[:, 1, 0], device[:, 1, 0], rtol=1e-12)
    assert np.isnan(found[:, 0, 0]).all()
