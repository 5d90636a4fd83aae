"""Uncorrected test ports: scikit-rf's error model, drawn per bench, and taken out by scikit-rf's calibration."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from dataclasses import fields, replace
from typing import Any

import numpy as np
import pytest
import skrf
from skrf.calibration import TwelveTerm
from skrf.network import Network, connect, two_port_reflect

from fixtures_sim import standards
from fixtures_sim.drift import Drift
from fixtures_sim.fixture import Fixture
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.port_errors import DrawnPorts, Terms, TestPorts, seen_through

FREQ_HZ = np.linspace(100e6, 200e6, 5)
FREQUENCY = skrf.Frequency.from_f(FREQ_HZ, unit="hz")
ROUNDING = 1e-13
KINDS = (
    TestPorts(directivity_db=25.0, source_match_db=18.0, load_match_db=16.0, tracking_db=0.7, delay_s=2e-9),
    DrawnPorts(seed=4, directivity_db=20.0, source_match_db=18.0, load_match_db=16.0, leakage_db=60.0),
)


def network(s: np.ndarray) -> Network:
    return Network(frequency=FREQUENCY, s=s, z0=50)


def twelve_terms(terms: Terms) -> TwelveTerm:
    coefficients = {}
    for way, here, there in (("forward", 0, 1), ("reverse", 1, 0)):
        coefficients[f"{way} directivity"] = terms.directivity[:, here]
        coefficients[f"{way} source match"] = terms.source_match[:, here]
        coefficients[f"{way} load match"] = terms.load_match[:, there]
        coefficients[f"{way} reflection tracking"] = terms.reflection_tracking[:, here]
        coefficients[f"{way} transmission tracking"] = terms.transmission_tracking[:, there, here]
        coefficients[f"{way} isolation"] = terms.isolation[:, there, here]
    with warnings.catch_warnings():
        # there are no standards whose kind scikit-rf would have to guess
        warnings.filterwarnings("ignore", "n_thrus is None")
        return TwelveTerm.from_coefs(FREQUENCY, coefficients)


@pytest.mark.parametrize("ports", KINDS)
def test_two_ports_are_the_twelve_term_model_of_scikit_rf(device: Any, ports: Any) -> None:
    """Each direction as scikit-rf's calibration applies it, to rounding."""
    s = device.s(FREQ_HZ, 23.0)[:, :2, :2]
    terms = ports.terms(FREQ_HZ, 2, 0.0)
    expected = twelve_terms(terms).embed(network(s)).s
    assert np.abs(seen_through(s, terms) - expected).max() < ROUNDING


@pytest.mark.parametrize("source", [0, 1, 2])
def test_three_ports_are_what_scikit_rf_makes_of_error_boxes_joined_to_the_device(
    device: Any, source: int
) -> None:
    """The driving port's box and a receiver with its load match on each other port."""
    s = device.s(FREQ_HZ, 23.0)
    terms = KINDS[1].terms(FREQ_HZ, 3, 0.0)
    zero, one = np.zeros(len(FREQ_HZ)), np.ones(len(FREQ_HZ))
    joined = network(s)
    for port in range(3):
        if port == source:
            rows = [[terms.source_match[:, port], one]]
            rows += [[terms.reflection_tracking[:, port], terms.directivity[:, port]]]
        else:
            rows = [[terms.load_match[:, port], zero], [one, zero]]
        box = network(np.moveaxis(np.array(rows), 2, 0))
        joined = connect(joined, port, box, 0)
    expected = joined.s[:, :, source].copy()
    for port in {0, 1, 2} - {source}:
        expected[:, port] *= terms.transmission_tracking[:, port, source]
        expected[:, port] += terms.isolation[:, port, source]
    assert np.abs(seen_through(s, terms)[:, :, source] - expected).max() < ROUNDING


def rms_db(values: np.ndarray) -> float:
    return float(-10.0 * np.log10(np.mean(np.abs(values) ** 2)))


def test_every_bench_and_every_port_has_errors_of_its_own_of_the_stated_size() -> None:
    figures = DrawnPorts(seed=0)
    freq_hz = np.linspace(100e6, 2e9, 400)
    drawn = [replace(figures, seed=seed).terms(freq_hz, 2, 0.0) for seed in range(60)]
    for name, stated_db in (
        ("directivity", figures.directivity_db),
        ("source_match", figures.source_match_db),
        ("load_match", figures.load_match_db),
    ):
        sizes = np.array([[rms_db(getattr(terms, name)[:, port]) for port in (0, 1)] for terms in drawn])
        assert sizes.mean() == pytest.approx(stated_db, abs=1.0)
        assert sizes.std() == pytest.approx(figures.spread_db, abs=0.8)
        assert len(np.unique(sizes)) == sizes.size
    leaks = np.array([rms_db(terms.isolation[:, 1, 0]) for terms in drawn])
    assert leaks.min() > 120.0


def test_errors_turn_smoothly_with_frequency() -> None:
    """Halfway between points 0.5 MHz apart each term is the mean of its neighbours to better than -80 dB."""
    freq_hz = np.arange(100e6, 2e9, 0.25e6)
    terms = DrawnPorts(seed=8).terms(freq_hz, 3, 0.0)
    for each in fields(Terms):
        values = getattr(terms, each.name)
        midway = (values[:-2:2] + values[2::2]) / 2.0
        assert np.abs(midway - values[1:-1:2]).max() < 10 ** (-80 / 20), each.name


def calibrated(talk: Any, kit: standards.Kit) -> TwelveTerm:
    """By scikit-rf, from standards connected one after the other and believed to be those of `kit`."""

    def read(name: str) -> np.ndarray:
        talk(f"SENS:FUNC 'XFR:POW:{name}';:INIT")
        return talk.complex("CALC:DATA?")

    def one_port(s: np.ndarray) -> Network:
        return Network(frequency=frequency, s=s[:, None, None], z0=50)

    talk("CALC:FORM COMP;:SENS:FREQ:STAR 100MHZ;STOP 200MHZ;:SENS:SWE:POIN 5")
    frequency = skrf.Frequency.from_f(FREQ_HZ, unit="hz")
    makers = {"open": standards.open_end, "short": standards.short_end, "load": standards.load}
    measured, ideals = [], []
    for standard, make in makers.items():
        seen = []
        for port in (1, 2):
            talk.fixture.connect(standard, port)
            seen.append(one_port(read(f"S{port}{port}")))
        measured.append(two_port_reflect(*seen))
        ideal = make(kit, frequency)
        ideals.append(two_port_reflect(ideal, ideal))
    talk.fixture.connect("through", 1, 2)
    through = np.array([[read("S11"), read("S12")], [read("S21"), read("S22")]])
    measured.append(Network(frequency=frequency, s=np.moveaxis(through, 2, 0), z0=50))
    ideals.append(standards.through(kit, frequency))
    found = TwelveTerm(measured=measured, ideals=ideals, n_thrus=1)
    found.run()
    return found


@pytest.fixture
def uncorrected(make_talk: Callable[..., Any], device: Any) -> Any:
    """A quiet analyzer with errors of its own, and a kit as it was made."""
    talk = make_talk(imperfections=Imperfections(noise=None, ports=DrawnPorts(seed=6)))
    kit = standards.true_kit(np.random.default_rng(9))
    talk.fixture = talk.analyzer._fixture = Fixture(23.0, kit=kit)
    talk.fixture.place(device)
    return talk, kit


def worst(talk: Any, calibration: TwelveTerm, device: Any) -> float:
    talk.fixture.hook_up("TX", "ANT")
    raw = np.empty((5, 2, 2), complex)
    for to in (1, 2):
        for source in (1, 2):
            talk(f"SENS:FUNC 'XFR:POW:S{to}{source}';:INIT")
            raw[:, to - 1, source - 1] = talk.complex("CALC:DATA?")
    return float(np.abs(calibration.apply_cal(network(raw)).s - device.s(FREQ_HZ, 23.0)[:, :2, :2]).max())


def test_a_calibration_with_what_the_standards_truly_are_takes_the_errors_out(
    uncorrected: Any, device: Any
) -> None:
    """Short, open, load and through over the fixture, computed by scikit-rf; what is left is the leakage."""
    talk, kit = uncorrected
    assert worst(talk, calibrated(talk, kit), device) < 1e-6


def test_a_calibration_with_the_definition_leaves_what_the_standards_are_off(
    uncorrected: Any, device: Any
) -> None:
    """About the load's 46 dB, and far less than the errors were."""
    talk, _ = uncorrected
    left = worst(talk, calibrated(talk, standards.DEFINITION), device)
    assert 1e-3 < left < 10 ** (-40 / 20)


def test_drift_begins_at_nothing_and_stays_within_its_figures(device: Any) -> None:
    drift = Drift(tracking_db=0.05, tracking_deg=0.3, match_db=50.0)
    still, moving = DrawnPorts(seed=2), DrawnPorts(seed=2, drift=drift)
    fresh = still.terms(FREQ_HZ, 2, 0.0)
    at_first = moving.terms(FREQ_HZ, 2, 0.0)
    moved = [moving.terms(FREQ_HZ, 2, float(hours)) for hours in range(1, 200)]
    for name in ("directivity", "source_match", "load_match"):
        assert np.array_equal(getattr(at_first, name), getattr(fresh, name))
        away = [np.abs(getattr(terms, name) - getattr(fresh, name)).max() for terms in moved]
        assert 0.2 * 10 ** (-50 / 20) < max(away) <= 10 ** (-50 / 20)
    ratio = np.array(
        [(terms.transmission_tracking / fresh.transmission_tracking)[0, 1, 0] for terms in moved]
    )
    size_db = 20 * np.log10(np.abs(ratio))
    assert 0.2 * 0.05 < np.abs(size_db).max() <= 0.05
    assert 0.2 * 0.3 < np.abs(np.degrees(np.angle(ratio))).max() <= 0.3


def test_the_analyzer_drifts_while_time_passes_and_not_otherwise(make_talk: Callable[..., Any]) -> None:
    ports = DrawnPorts(seed=2, drift=Drift())
    talk = make_talk(imperfections=Imperfections(noise=None, ports=ports))
    talk("CALC:FORM COMP;:SENS:FREQ:STAR 100MHZ;STOP 200MHZ;:SENS:SWE:POIN 5;:SENS:FUNC 'XFR:POW:S21'")
    talk("INIT")
    first = talk.complex("CALC:DATA?")
    talk("INIT")
    assert np.array_equal(talk.complex("CALC:DATA?"), first)
    talk.fixture.pass_time(4.0)
    talk("INIT")
    assert 1e-5 < np.abs(talk.complex("CALC:DATA?") / first - 1.0).max() < 6e-3


def test_sweeps_take_their_time_on_the_clock_of_the_bench(make_talk: Callable[..., Any]) -> None:
    """201 points at 1 Hz bandwidth: 201 x 1.1 s and a little."""
    talk = make_talk()
    talk("SENS:FREQ:STAR 100MHZ;STOP 200MHZ;:SENS:BAND 1;:INIT")
    assert talk.fixture.hours == pytest.approx(201 * 1.1 / 3600, rel=1e-3)
