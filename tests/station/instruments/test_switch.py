"""A two-port analyzer behind a switch: every pair of a unit that is hooked up once, and each fault of the box."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime

import numpy as np
import pytest

from fixtures_sim.faults import Fault
from fixtures_sim.imperfections import Imperfections
from fixtures_sim.server import Bench, running_bench
from station.errors import InstrumentFault, Refused, Silent, WrongInstrument
from station.instruments.analyzer import Ability, Segment, SweepOrder
from station.instruments.dialect import find_dialect
from station.instruments.link import open_link
from station.instruments.switch import Switch, SwitchedAnalyzer
from station.instruments.switch_dialect import find_switch_dialect
from station.instruments.vector import VectorAnalyzer
from station.measurements.sweep import HOOKUPS, WHOLE, Hookup, SweepSettings

PORTS = {"TX": "1", "ANT": "2", "RX": "3"}
SETTINGS = SweepSettings(bandwidth_hz=10e3, averages=1, power_dbm=0.0)
ROUNDING = 1e-12


def order(hookup: Hookup) -> SweepOrder:
    return SweepOrder(hookup, (Segment(150e6, 160e6, 5),), SETTINGS)


@pytest.fixture
def switched(marked) -> Iterator[Bench]:
    """A bench without noise, the marked device hooked up to all three ports of the switch."""
    with running_bench(device=marked, switched=True, imperfections=Imperfections(noise=None)) as bench:
        bench.hook_up("TX", "ANT", "RX")
        yield bench


@contextmanager
def box_of(bench: Bench, identity: str = "Simulated RF switch") -> Iterator[Switch]:
    with open_link(bench.address_of("switch"), role="switch", patience_s=0.4) as link:
        yield Switch(link, find_switch_dialect("route-channels", None), PORTS, identity=identity)


@pytest.fixture
def box(switched: Bench) -> Iterator[Switch]:
    with box_of(switched) as switch:
        yield switch


@pytest.fixture
def analyzer(switched: Bench, box: Switch) -> Iterator[SwitchedAnalyzer]:
    dialect = find_dialect("linear-single", None)
    with open_link(switched.socket_address, patience_s=0.4) as link:
        now = lambda: datetime(2025, 3, 31, tzinfo=UTC)  # noqa: E731
        two_ports = VectorAnalyzer(link, dialect, Ability(300e3, 3e9, 101), identity="vector", now=now)
        yield SwitchedAnalyzer(two_ports, box)


def test_every_pair_is_swept_in_one_hook_up(analyzer: SwitchedAnalyzer, marked) -> None:
    whole = marked.s(order(HOOKUPS[0]).freq_hz)
    for pair in HOOKUPS:
        used = [WHOLE.ports.index(port) for port in pair.ports]
        sweep = analyzer.sweep(order(pair))
        assert sweep.hookup == pair
        np.testing.assert_allclose(sweep.s, whole[:, used][:, :, used], atol=ROUNDING)


def test_it_tells_that_the_unit_is_cabled_once(analyzer: SwitchedAnalyzer) -> None:
    assert analyzer.ability.cabled == WHOLE
    assert analyzer.ability.hookups == HOOKUPS


def test_both_instruments_say_who_they_are(analyzer: SwitchedAnalyzer) -> None:
    told = analyzer.identify()
    assert "Simulated vector analyzer" in told
    assert "Simulated RF switch" in told


def test_another_box_is_refused(switched: Bench) -> None:
    with box_of(switched, "Coffee machine") as switch, pytest.raises(WrongInstrument, match="Coffee machine"):
        switch.lead_to(HOOKUPS[0])


def test_a_route_that_is_closed_stays_closed(switched: Bench, box: Switch) -> None:
    box.lead_to(HOOKUPS[0])
    closed = switched.switch.closed
    box.lead_to(HOOKUPS[0])
    assert switched.switch.closed is closed


def test_a_box_that_lost_its_paths_is_led_again(switched: Bench, box: Switch) -> None:
    box.lead_to(HOOKUPS[2])
    switched.switch.closed = {}
    box.lead_to(HOOKUPS[2])
    assert switched.switch.closed == {1: 1, 2: 3}


@pytest.mark.parametrize(
    ("fault", "kind"),
    [
        (Fault("silent", when="CLOS"), Silent),
        (Fault("garbage", when="CLOS"), InstrumentFault),
        (Fault("hangs up", when="CLOS", seconds=0.0), InstrumentFault),
    ],
)
def test_what_goes_wrong_with_the_box_is_a_fault_that_names_it(
    switched: Bench, box: Switch, fault: Fault, kind: type[InstrumentFault]
) -> None:
    switched.helpers["switch"].faults.add(fault)
    with pytest.raises(kind, match="switch at TCPIP"):
        box.lead_to(HOOKUPS[0])
    box.lead_to(HOOKUPS[1])
    assert switched.switch.closed == {1: 2, 2: 3}


def test_a_route_that_was_not_taken_is_a_fault(switched: Bench) -> None:
    """A language whose question tells of another route."""
    dialect = find_switch_dialect("route-channels", None)
    check = dialect.form.check.model_copy(update={"ask": "ROUT:CLOS? (@2!{first},1!{second})"})
    wrong = type(dialect)(dialect.form.model_copy(update={"check": check}))
    with open_link(switched.address_of("switch"), role="switch") as link:
        switch = Switch(link, wrong, PORTS, identity="")
        with pytest.raises(Refused, match="the route to TX-ANT was not taken"):
            switch.lead_to(HOOKUPS[0])
