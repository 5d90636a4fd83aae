"""A cabling mistake is seen, shown and put right; it never fails a unit, and a bad unit still fails."""

from __future__ import annotations

from typing import Any

import pytest

from fixtures_sim.cabling import Slip
from fixtures_sim.server import Bench
from fixtures_sim.units import build_unit, defect_from
from limits.verdict import Outcome
from station import errors
from station.database.entries import RunState
from station.desk import open_desk
from station.measurements.sweep import HOOKUPS
from station.sequencer.events import HookupDoubted
from station.settings import Works

# What goes wrong at which hook-up, what is told, and the hook-ups that are swept in vain.
ONCE: list[tuple[str, int, Slip, str, list[str]]] = [
    ("TX and RX swapped", 0, Slip("swapped", "TX", "RX"), "passes the RX channel", ["TX-ANT"]),
    ("not re-cabled", 1, Slip("not re-cabled"), "that of TX-ANT over again", ["ANT-RX"]),
    ("cables exchanged", 2, Slip("swapped", "TX", "RX"), "port 1 seems to be on RX", ["TX-RX"]),
    (
        "a cable and the load exchanged",
        2,
        Slip("swapped", "ANT", "RX"),
        "that of TX-ANT over again",
        ["TX-RX"],
    ),
    ("a cable not on", 1, Slip("left bare", "RX"), "nothing is taken in at RX", ["ANT-RX"]),
    ("no load, seen at the next hook-up", 0, Slip("no load"), "load is on", ["TX-ANT", "ANT-RX"]),
    ("no load on ANT", 2, Slip("no load"), "load is on ANT", ["TX-RX"]),
    ("a cable not tight", 1, Slip("not tight", "ANT", ohm=50.0, nh=10.0), "is tight", ["TX-ANT", "ANT-RX"]),
]


@pytest.mark.parametrize(
    ("place", "slip", "told", "in_vain"), [row[1:] for row in ONCE], ids=[r[0] for r in ONCE]
)
def test_a_mistake_made_once_is_put_right_and_the_unit_passes(
    works: Works, hands, simulated: Bench, place: int, slip: Slip, told: str, in_vain: list[str]
) -> None:
    def before(hookup: Any) -> None:
        if hookup == HOOKUPS[place] and not hands.asked_again:
            simulated.slip(slip)

    hands.before = before
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        judged = bench.test("SKV-0001")
        stored = desk.stored_run("SKV-0001", judged.key.run_number)
    assert judged.verdict.outcome is Outcome.PASS
    assert [hookup.name for hookup, _ in hands.asked_again] == in_vain
    assert all(told in reason for _, reason in hands.asked_again)
    assert [each.sweep.hookup.name for each in stored.doubted] == in_vain
    assert all(told in each.doubt for each in stored.doubted)
    assert {sweep.hookup for sweep in stored.sweeps} == set(HOOKUPS)
    assert sum(isinstance(event, HookupDoubted) for event in hands.events) == 1


@pytest.mark.parametrize(
    "slip", [Slip("swapped", "TX", "RX"), Slip("no load"), Slip("left bare", "ANT"), Slip("not re-cabled")]
)
def test_a_mistake_that_stays_is_a_station_fault_and_no_failed_unit(
    works: Works, hands, simulated: Bench, slip: Slip
) -> None:
    simulated.slip(*[slip] * 20)
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        with pytest.raises(errors.DoubtfulMeasurement, match="looked at again, and the doubt remains"):
            bench.test("SKV-0001")
        (line,) = desk.history("SKV-0001").runs
        stored = desk.stored_run("SKV-0001", 1)
        simulated.slip()
        assert bench.test("SKV-0001").verdict.outcome is Outcome.PASS
    assert (line.state, line.outcome) == (RunState.STATION_FAULT, None)
    assert len(stored.doubted) >= 2
    assert hands.asked_again


def test_a_unit_of_another_order_is_not_failed(works: Works, hands, simulated: Bench) -> None:
    simulated.place(build_unit("SK-V4", "SKV-0001", 157.0e6, 157.8e6, 1))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        with pytest.raises(errors.DoubtfulMeasurement, match="unit of another order"):
            bench.test("SKV-0001")
        assert desk.history("SKV-0001").runs[0].outcome is None


def test_an_operator_who_is_shown_a_doubt_can_stop(works: Works, hands, simulated: Bench) -> None:
    simulated.slip(Slip("swapped", "TX", "RX"))
    hands.stop_when_asked_again = True
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        with pytest.raises(KeyboardInterrupt):
            bench.test("SKV-0001")
        assert desk.history("SKV-0001").runs[0].state is RunState.STOPPED
        assert len(desk.stored_run("SKV-0001", 1).doubted) == 1


BAD_UNITS: list[dict[str, object]] = [
    {"kind": "pass off", "cavity": 1, "khz": 200},
    {"kind": "pass off", "cavity": 4, "khz": -150},
    {"kind": "notch off", "cavity": 2, "khz": 150},
    {"kind": "low Q", "cavity": 3, "percent": 10},
    {"kind": "wrong jumper", "side": "TX", "mm": 120},
    {"kind": "loose connector", "port": "ANT", "ohm": 20, "nh": 20},
]


@pytest.mark.parametrize("defect", BAD_UNITS, ids=[str(defect["kind"]) for defect in BAD_UNITS])
def test_a_bad_unit_is_judged_and_fails_without_a_doubt(
    works: Works, hands, simulated: Bench, defect: dict[str, object]
) -> None:
    simulated.place(build_unit("SK-V4", "SKV-0001", 156.6e6, 157.4e6, 1, (defect_from(defect),)))
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        assert bench.test("SKV-0001").verdict.outcome is Outcome.FAIL
    assert hands.asked_again == []
