"""A cabling mistake changes what the cables see as scikit-rf says it does."""

from __future__ import annotations

import numpy as np
import pytest
import skrf

from fixtures_sim.cabling import SLIPS, Cabling, Slip, between_cables
from fixtures_sim.device import PORT_NAMES
from fixtures_sim.units import build_unit

FREQ_HZ = np.linspace(156e6, 158e6, 41)
UNIT = build_unit("SK-V4", "SKV-1", 156.6e6, 157.4e6, 1)
FREQUENCY = skrf.Frequency.from_f(FREQ_HZ, unit="hz")
MEDIA = skrf.media.DefinedGammaZ0(FREQUENCY, z0=50)
LOAD = 0.05 + 0.02j
LOADS = dict.fromkeys(PORT_NAMES, LOAD)
ROUNDING = 1e-9


def slipped(slip: Slip, before: Cabling | None = None, first: str = "TX", second: str = "ANT") -> np.ndarray:
    cabling = slip.done_to(before or Cabling(UNIT), Cabling(UNIT, (first, second)))
    return between_cables(cabling, LOADS, FREQ_HZ, 23.0)


def right(first: str, second: str) -> np.ndarray:
    return between_cables(Cabling(UNIT, (first, second)), LOADS, FREQ_HZ, 23.0)


def ended(reflection: complex, idle: str) -> skrf.Network:
    """The unit with a reflection on one port, by scikit-rf."""
    whole = skrf.Network(frequency=FREQUENCY, s=UNIT.s(FREQ_HZ, 23.0), z0=50)
    one_port = skrf.Network(frequency=FREQUENCY, s=np.full((len(FREQ_HZ), 1, 1), reflection), z0=50)
    return skrf.network.connect(whole, PORT_NAMES.index(idle), one_port, 0)


def test_every_slip_changes_what_is_seen() -> None:
    before = Cabling(UNIT, ("ANT", "RX"))
    for kind in SLIPS:
        slip = Slip(kind.name, port="TX", other="RX", ohm=10.0, nh=5.0)
        assert not np.allclose(slipped(slip, before), right("TX", "ANT"), atol=1e-3), kind.name


def test_no_load_leaves_an_open() -> None:
    assert slipped(Slip("no load")) == pytest.approx(ended(1.0, "RX").s, abs=ROUNDING)


def test_swapped_ports_are_another_hook_up() -> None:
    assert slipped(Slip("swapped", "TX", "RX")) == pytest.approx(right("RX", "ANT"), abs=ROUNDING)
    assert slipped(Slip("swapped", "TX", "ANT")) == pytest.approx(right("ANT", "TX"), abs=ROUNDING)


def test_what_nobody_re_cabled_is_seen_again() -> None:
    before = Cabling(UNIT, ("ANT", "RX"))
    assert slipped(Slip("not re-cabled"), before) == pytest.approx(right("ANT", "RX"), abs=ROUNDING)


def test_a_cable_that_is_not_on_sees_its_own_end_and_nothing_through() -> None:
    s = slipped(Slip("left bare", "ANT"))
    assert s[:, 1, 1] == pytest.approx(np.ones(len(FREQ_HZ)))
    assert abs(s[:, 0, 1]).max() == abs(s[:, 1, 0]).max() == 0
    open_ant = skrf.network.connect(ended(LOAD, "RX"), 1, MEDIA.open(), 0)
    assert s[:, 0, 0] == pytest.approx(open_ant.s[:, 0, 0], abs=ROUNDING)


def test_a_cable_that_is_not_tight_is_an_impedance_in_series() -> None:
    series = MEDIA.resistor(20.0) ** MEDIA.inductor(8e-9)
    expected = ended(LOAD, "RX") ** series
    assert slipped(Slip("not tight", "ANT", ohm=20.0, nh=8.0)) == pytest.approx(expected.s, abs=ROUNDING)


@pytest.mark.parametrize(("first", "second"), [("TX", "ANT"), ("ANT", "RX"), ("TX", "RX"), ("RX", "ANT")])
def test_a_load_on_the_third_port_is_what_scikit_rf_makes_of_it(first: str, second: str) -> None:
    idle = next(port for port in PORT_NAMES if port not in (first, second))
    left = [port for port in PORT_NAMES if port != idle]
    pick = [left.index(first), left.index(second)]
    assert right(first, second) == pytest.approx(ended(LOAD, idle).s[:, pick][:, :, pick], abs=ROUNDING)


def test_one_cable_sees_the_port_with_loads_on_both_others_and_the_rest_hang_open() -> None:
    seen = between_cables(Cabling(UNIT, ("ANT",)), LOADS, FREQ_HZ, 23.0)
    one_port = skrf.Network(frequency=FREQUENCY, s=np.full((len(FREQ_HZ), 1, 1), LOAD), z0=50)
    alone = skrf.network.connect(ended(LOAD, "TX"), 1, one_port, 0)
    assert seen[:, :1, :1] == pytest.approx(alone.s, abs=ROUNDING)
    assert np.array_equal(seen[:, 1], np.tile([0.0, 1.0], (len(FREQ_HZ), 1)))


def test_three_cables_see_the_whole_unit_in_the_order_of_the_ports() -> None:
    seen = between_cables(Cabling(UNIT, ("RX", "TX", "ANT")), LOADS, FREQ_HZ, 23.0, count=3)
    order = [2, 0, 1]
    assert np.array_equal(seen, UNIT.s(FREQ_HZ, 23.0)[:, order][:, :, order])
