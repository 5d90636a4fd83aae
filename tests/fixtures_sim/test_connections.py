"""Connections as they are made: never quite the same, of the stated spread, and only where something was moved."""

from __future__ import annotations

import numpy as np
import pytest
import skrf

from fixtures_sim.cabling import Slip
from fixtures_sim.connections import Connectors, Joint, joint
from fixtures_sim.fixture import Fixture

FREQ_HZ = np.array([100e6, 160e6, 1e9, 1.6e9])
FREQUENCY = skrf.Frequency.from_f(FREQ_HZ, unit="hz")
THROUGH = np.tile(np.array([[0.0, 1.0], [1.0, 0.0]], dtype=np.complex128), (len(FREQ_HZ), 1, 1))
FIGURES = Connectors()
MANY = 2000


def test_a_connection_is_its_parts_as_scikit_rf_joins_them() -> None:
    made = Joint(
        series_ohm=2.0,
        series_henry=0.6e-9,
        shunt_siemens=1e-3,
        shunt_farad=0.2e-12,
        flex_db=0.2,
        flex_s=3e-12,
    )
    media = skrf.media.DefinedGammaZ0(FREQUENCY, z0=50)
    half = media.resistor(1.0) ** media.inductor(0.3e-9)
    across = media.shunt(media.resistor(1e3) ** media.short()) ** media.shunt_capacitor(0.2e-12)
    bent = np.zeros((len(FREQ_HZ), 2, 2), complex)
    bent[:, 0, 1] = bent[:, 1, 0] = 10 ** (-0.2 / 20) * np.exp(-2j * np.pi * FREQ_HZ * 3e-12)
    cable = skrf.Network(frequency=FREQUENCY, s=bent, z0=50)
    device = skrf.Network(frequency=FREQUENCY, s=THROUGH * 0.7 + 0.1, z0=50)
    expected = device**half**across**half**cable
    assert made.on(device.s, 1, FREQ_HZ) == pytest.approx(expected.s, abs=1e-12)


def drawn(count: int = MANY, cable: bool = True) -> np.ndarray:
    """S of a through with one connection, by connection and frequency."""
    made = (joint(FIGURES, 1, "cable 1 on TX", times, cable=cable) for times in range(count))
    return np.array([each.on(THROUGH, 1, FREQ_HZ) for each in made])


def test_connections_repeat_as_the_figures_say() -> None:
    """Standard deviations of 2000 connections: loss 0.015 dB, and as much in the same measure in reflection."""
    s = drawn(cable=False)
    loss_db = -20 * np.log10(np.abs(s[:, :, 1, 0]))
    assert loss_db[:, 0].std() == pytest.approx(FIGURES.loss_db, rel=0.1)
    share = FIGURES.loss_db / (20 / np.log(10))
    assert s[:, 0, 1, 1].real.std() == pytest.approx(share, rel=0.1)
    assert abs(s[:, 0, 1, 1].real.mean()) < 5 * share / np.sqrt(MANY)
    assert s[:, 2, 1, 1].imag.std() == pytest.approx(share, rel=0.1)


def test_bent_cables_repeat_as_the_figures_say() -> None:
    s, straight = drawn(), drawn(cable=False)
    change = s[:, :, 1, 0] / straight[:, :, 1, 0]
    assert (20 * np.log10(np.abs(change[:, 0]))).std() == pytest.approx(FIGURES.flex_db, rel=0.1)
    assert np.angle(change[:, 3]).std() == pytest.approx(2 * np.pi * 1.6e9 * FIGURES.flex_s, rel=0.1)


def test_no_contact_gives_power() -> None:
    sizes = np.linalg.svd(drawn(200, cable=False), compute_uv=False)
    assert sizes.max() <= 1.0 + 1e-12


class Lying:
    label = "lying"

    def s(self, freq_hz: np.ndarray, temperature_c: float) -> np.ndarray:
        return np.zeros((len(freq_hz), 3, 3), complex)


@pytest.fixture
def fixture() -> Fixture:
    made = Fixture(23.0, connectors=FIGURES, seed=3)
    made.place(Lying())
    return made


def test_what_is_not_moved_stays_connected_as_it_was(fixture: Fixture) -> None:
    fixture.hook_up("TX", "ANT")
    first = fixture.cabling.joints
    fixture.hook_up("TX", "RX")
    second = fixture.cabling.joints
    assert second["TX"] == first["TX"]
    assert second["ANT"] != first["ANT"]
    assert second["RX"] != first["RX"]


def test_the_same_hook_up_again_is_made_anew(fixture: Fixture) -> None:
    fixture.hook_up("TX", "ANT")
    first = fixture.cabling.joints
    fixture.hook_up("TX", "ANT")
    assert all(fixture.cabling.joints[port] != first[port] for port in ("TX", "ANT", "RX"))


def test_who_forgets_to_re_cable_changes_nothing(fixture: Fixture) -> None:
    fixture.hook_up("TX", "ANT")
    first = fixture.cabling.joints
    fixture.slip(Slip("not re-cabled"))
    fixture.hook_up("ANT", "RX")
    assert fixture.cabling.joints == first


def test_a_standard_is_connected_anew_each_time(fixture: Fixture) -> None:
    made = []
    for _ in range(2):
        fixture.connect("open", 1)
        made.append(fixture.cabling.joints["1"])
    assert made[0] != made[1]
    fixture.connect("through", 1, 2)
    assert set(fixture.cabling.joints) == {"1", "2"}


def test_a_connection_does_not_depend_on_what_came_between() -> None:
    straight, detour = Fixture(23.0, connectors=FIGURES, seed=3), Fixture(23.0, connectors=FIGURES, seed=3)
    for each in (straight, detour):
        each.place(Lying())
    detour.connect("open", 1)
    detour.connect("short", 2)
    for each in (straight, detour):
        each.hook_up("TX", "ANT")
    assert straight.cabling.joints == detour.cabling.joints


def test_a_bench_without_connector_figures_connects_all_alike() -> None:
    plain = Fixture(23.0)
    plain.place(Lying())
    plain.hook_up("TX", "ANT")
    assert plain.cabling.joints == {}
