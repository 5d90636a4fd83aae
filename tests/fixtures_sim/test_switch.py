"""The switch box: the ROUTe subsystem of SCPI-1999, and what its paths and terminations do as scikit-rf says."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import pytest
import skrf
from skrf.network import connect

from fixtures_sim.imperfections import Imperfections
from fixtures_sim.scpi.box import Session
from fixtures_sim.server import Bench
from fixtures_sim.switch import Switch, SwitchErrors

FREQ_HZ = np.array([100e6, 160e6, 1.6e9])
FREQUENCY = skrf.Frequency.from_f(FREQ_HZ, unit="hz")
ROUNDING = 1e-12


class Talk:
    def __init__(self, switch: Switch) -> None:
        self.switch, self.session = switch, Session()

    def __call__(self, message: str) -> str:
        return self.switch.converse(message.encode(), self.session).decode().rstrip("\n")


@pytest.fixture
def talk() -> Talk:
    return Talk(Switch(None))


def test_channels_close_and_are_told(talk: Talk) -> None:
    talk("ROUT:CLOS (@1!1,2!3)")
    assert talk("ROUT:CLOS? (@1!1,2!3,1!2)") == "1,1,0"
    assert talk("ROUTe:OPEN? (@1!1,1!2)") == "0,1"
    assert talk("ROUT:CLOS:STAT?") == "(@1!1,2!3)"
    talk("ROUT:OPEN (@1!1)")
    assert talk("ROUT:CLOS:STAT?") == "(@2!3)"
    talk("ROUT:OPEN:ALL")
    assert talk("ROUT:CLOS:STAT?") == "(@)"
    assert talk("SYST:ERR?").startswith("0")


def test_a_port_leads_to_one_unit_port_at_a_time(talk: Talk) -> None:
    talk("ROUT:CLOS (@1!1,2!3);:ROUT:CLOS (@1!2)")
    assert talk("ROUT:CLOS:STAT?") == "(@1!2,2!3)"


def test_two_ports_cannot_lead_to_one(talk: Talk) -> None:
    talk("ROUT:CLOS (@1!1);:ROUT:CLOS (@2!1)")
    assert talk("SYST:ERR?").startswith("-221")
    assert talk("ROUT:CLOS:STAT?") == "(@1!1)"


def test_reset_opens_all(talk: Talk) -> None:
    talk("ROUT:CLOS (@1!1)")
    talk("*RST")
    assert talk("ROUT:CLOS? (@1!1);*OPC?") == "0;1"


@pytest.mark.parametrize(
    ("message", "code"),
    [
        ("ROUT:CLOS (@3!1)", "-222"),
        ("ROUT:CLOS (@1!4)", "-222"),
        ("ROUT:CLOS (@12)", "-171"),
        ("ROUT:CLOS (1!1)", "-171"),
        ("ROUT:CLOS 1", "-104"),
        ("ROUT:CLOS", "-109"),
        ("ROUT:SCAN (@1!1)", "-113"),
    ],
)
def test_what_it_cannot_do_is_an_error_and_changes_nothing(talk: Talk, message: str, code: str) -> None:
    talk("ROUT:CLOS (@1!1)")
    talk(message)
    assert talk("SYST:ERR?").startswith(code)
    assert talk("ROUT:CLOS:STAT?") == "(@1!1)"


ERRORS = SwitchErrors(seed=5, termination_db=20.0, stray_farad=0.5e-12, impedance_ohm=4.0)
ALL_DIFFERENT = 0.03 * np.arange(1, 10).reshape(3, 3) * np.exp(-1j * np.arange(9).reshape(3, 3))


@pytest.mark.parametrize("closed", [{1: 1, 2: 2}, {1: 2, 2: 3}, {1: 3, 2: 1}])
def test_paths_and_terminations_are_joined_as_by_scikit_rf(closed: dict[int, int]) -> None:
    s = np.tile(ALL_DIFFERENT, (len(FREQ_HZ), 1, 1))
    joined = skrf.Network(frequency=FREQUENCY, s=s, z0=50)
    for port, unit_port in closed.items():
        reflection, through = ERRORS.path((port, unit_port), FREQ_HZ)
        path = np.moveaxis(np.array([[reflection, through], [through, reflection]]), 2, 0)
        joined = connect(joined, unit_port - 1, skrf.Network(frequency=FREQUENCY, s=path, z0=50), 0)
    (idle,) = {1, 2, 3} - {*closed.values()}
    load = ERRORS.termination(idle, FREQ_HZ)[:, None, None]
    joined = connect(joined, idle - 1, skrf.Network(frequency=FREQUENCY, s=load, z0=50), 0)
    left = [port for port in (1, 2, 3) if port != idle]
    order = [left.index(closed[1]), left.index(closed[2])]
    seen = Switch(ERRORS).between(s, closed, FREQ_HZ)
    assert np.abs(seen - joined.s[:, order][:, :, order]).max() < ROUNDING


def test_a_box_that_is_not_felt_shows_the_pair_alone() -> None:
    s = np.tile(ALL_DIFFERENT, (len(FREQ_HZ), 1, 1))
    assert np.array_equal(Switch(None).between(s, {1: 3, 2: 1}, FREQ_HZ), s[:, [2, 0]][:, :, [2, 0]])


def test_a_port_without_a_path_is_open() -> None:
    s = np.tile(ALL_DIFFERENT, (len(FREQ_HZ), 1, 1))
    seen = Switch(None).between(s, {2: 1}, FREQ_HZ)
    assert np.array_equal(seen[:, 0], np.tile([1.0, 0.0], (3, 1)))
    assert np.array_equal(seen[:, 1, 1], s[:, 0, 0])


def test_each_path_loses_about_what_is_stated_and_no_two_are_alike() -> None:
    usual = SwitchErrors(seed=1)
    gigahertz = np.array([1e9])
    paths = [usual.path((port, unit), gigahertz) for port in (1, 2) for unit in (1, 2, 3)]
    loss_db = np.array([-20 * np.log10(abs(through[0])) for _, through in paths])
    match_db = np.array([-20 * np.log10(abs(reflection[0])) for reflection, _ in paths])
    assert loss_db == pytest.approx(usual.loss_db, abs=0.2)
    assert len(set(loss_db)) == 6
    assert match_db.min() > 20.0
    loads_db = [-20 * np.log10(abs(usual.termination(unit, gigahertz)[0])) for unit in (1, 2, 3)]
    assert loads_db == pytest.approx([34.0] * 3, abs=6.0)


@pytest.fixture
def switched(make_bench: Callable[..., Any], device: Any) -> Iterator[Bench]:
    with make_bench(device=device, switched=True, imperfections=Imperfections(noise=None)) as bench:
        bench.hook_up("TX", "ANT", "RX")
        yield bench


@pytest.mark.parametrize(
    ("channels", "pair"), [("1!1,2!2", (0, 1)), ("1!2,2!3", (1, 2)), ("1!3,2!1", (2, 0))]
)
def test_the_analyzer_sees_the_pair_that_the_switch_joins(
    switched: Bench, visa: Callable[[str], Any], device: Any, channels: str, pair: tuple[int, int]
) -> None:
    """One hook-up of the unit, and every pair of its ports by the switch."""
    box, analyzer = visa(switched.address_of("switch")), visa(switched.socket_address)
    assert box.query(f"ROUT:CLOS (@{channels});*OPC?") == "1"
    analyzer.write("*RST;:SENS:FREQ:STAR 100MHZ;STOP 160MHZ;:SENS:SWE:POIN 2;:CALC:FORM COMP")
    truth = device.s(FREQ_HZ[:2], 23.0)
    for name in ("S11", "S21", "S12", "S22"):
        text = analyzer.query(f"SENS:FUNC 'XFR:POW:{name}';:INIT;:CALC:DATA?")
        read = np.array([float(value) for value in text.split(",")]).view(complex)
        to, source = pair[int(name[1]) - 1], pair[int(name[2]) - 1]
        assert read == pytest.approx(truth[:, to, source], abs=ROUNDING)
