"""Matings are counted where an end really moves, and wherever nobody knows that it did not."""

from __future__ import annotations

from collections import Counter

import pytest

from limits.yamlfile import Form, parse
from station.bench.cables import CableForm
from station.measurements.sweep import Hookup
from station.sequencer.wear import Wear, counted

TEXT = """\
cables:
  cable 1: {port: 1, service_after: 500 matings}
  saver 2: {port: 2, service_after: 250 matings}
  bridge: {port: bridge, service_after: 500 matings}
"""


class Around(Form):
    cables: dict[str, CableForm]


class Person:
    """An operator who does what is asked, and stops when told."""

    name, answers = "Signe", True
    stops = False

    def hook_up(self, serial: str, hookup: Hookup) -> None:
        if self.stops:
            raise KeyboardInterrupt

    def look_again(self, serial: str, hookup: Hookup, reason: str) -> None:
        return

    def connect(self, standard: str, ports: tuple[int, ...]) -> None:
        return

    def connect_again(self, standard: str, ports: tuple[int, ...], reason: str) -> None:
        return


@pytest.fixture
def made() -> Counter[str]:
    return Counter()


@pytest.fixture
def person() -> Person:
    return Person()


@pytest.fixture
def operator(made: Counter[str], person: Person):
    return counted(person, Wear(parse(TEXT, Around, "bench.yaml").value.cables, made.update))


def hook_up(operator, *hookups: str, serial: str = "SKV-0101") -> None:
    for name in hookups:
        operator.hook_up(serial, Hookup(*name.split("-")))


def test_an_end_that_stays_where_it_is_is_not_mated_again(operator, made) -> None:
    hook_up(operator, "TX-ANT", "ANT-RX", "TX-RX")
    assert made == {"cable 1": 3, "saver 2": 2}


def test_the_next_unit_takes_every_end(operator, made) -> None:
    hook_up(operator, "TX-RX")
    hook_up(operator, "TX-RX", serial="SKV-0102")
    assert made == {"cable 1": 2, "saver 2": 2}


def test_a_port_by_itself_hangs_on_the_bridge_and_the_cables_come_off(operator, made) -> None:
    hook_up(operator, "TX-ANT", "TX", "TX-ANT")
    assert made == {"cable 1": 2, "saver 2": 2, "bridge": 1}


def test_a_second_look_loosens_and_tightens_every_end(operator, made) -> None:
    hook_up(operator, "TX-ANT")
    operator.look_again("SKV-0101", Hookup("TX", "ANT"), "a cable is not tight")
    assert made == {"cable 1": 2, "saver 2": 2}


def test_after_an_operator_stopped_nobody_knows_how_the_ends_lie(operator, person, made) -> None:
    hook_up(operator, "TX-ANT")
    person.stops = True
    with pytest.raises(KeyboardInterrupt):
        hook_up(operator, "ANT-RX")
    assert made == {"cable 1": 1, "saver 2": 1}
    person.stops = False
    hook_up(operator, "TX-ANT")
    assert made == {"cable 1": 2, "saver 2": 2}


def test_a_calibration_wears_the_ends_as_a_unit_does(operator, made) -> None:
    for standard in ("open", "short", "load"):
        operator.connect(standard, (1,))
        operator.connect(standard, (2,))
    operator.connect("through", (1, 2))
    operator.connect_again("through", (1, 2), "it is not tight")
    assert made == {"cable 1": 5, "saver 2": 5}


def test_where_there_is_a_bridge_single_standards_wear_it_and_no_cable(person, made) -> None:
    operator = counted(person, Wear(parse(TEXT, Around, "bench.yaml").value.cables, made.update, bridge=True))
    for standard in ("open", "short", "load"):
        operator.connect(standard, (1,))
    operator.connect_again("load", (1,), "it is not tight")
    operator.connect("through", (1, 2))
    assert made == {"bridge": 4, "cable 1": 1, "saver 2": 1}


def test_everything_else_is_asked_of_the_operator_itself(operator) -> None:
    assert (operator.name, operator.answers) == ("Signe", True)


def test_without_cables_in_the_bench_file_nothing_is_counted(person) -> None:
    assert counted(person, Wear({}, lambda made: pytest.fail(f"{made}"))) is person
