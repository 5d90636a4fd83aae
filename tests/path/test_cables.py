"""Connector wear, from the bench file to readiness: counted as it is made, refused when worn, reset by a person."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest

from station.desk import open_desk
from station.errors import StationFault
from station.sequencer.events import HookupAsked, Warned
from station.settings import Works

SERIAL = "SKV-0001"


@pytest.fixture
def name_cables(works: Works) -> Callable[[int], None]:
    """Names the cables of both ports in the bench file, to be serviced after so many matings."""

    def write(most: int) -> None:
        text = works.bench.read_text(encoding="utf-8").partition("cables:")[0]
        lines = "".join(
            f"  cable {port}: {{port: {port}, service_after: {most} matings}}\n" for port in (1, 2)
        )
        works.bench.write_text(f"{text}cables:\n{lines}", encoding="utf-8")

    return write


def counts(works: Works) -> dict[str, int]:
    with open_desk(works.folder) as desk:
        return {each.name: each.count.matings for each in desk.cables()}


def run(works: Works, hands) -> None:
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        bench.test(SERIAL)


def test_a_run_counts_the_ends_that_moved(works: Works, hands, name_cables) -> None:
    name_cables(500)
    run(works, hands)
    assert counts(works) == {"cable 1": 3, "cable 2": 2}
    run(works, hands)
    assert counts(works) == {"cable 1": 6, "cable 2": 4}


def test_a_run_that_breaks_off_keeps_the_matings_it_made(works: Works, hands, name_cables) -> None:
    name_cables(500)
    hands.stop_at = "TX-RX"
    with pytest.raises(KeyboardInterrupt):
        run(works, hands)
    assert counts(works) == {"cable 1": 2, "cable 2": 2}


def test_a_worn_cable_keeps_units_from_the_bench_until_it_is_serviced(
    works: Works, hands, name_cables
) -> None:
    name_cables(3)
    run(works, hands)
    hands.events.clear()
    with pytest.raises(StationFault) as refused:
        run(works, hands)
    assert str(refused.value) == (
        "not ready to test: cable 1 was mated 3 times, and is to be serviced after 3; "
        'gauge or replace its connector, then run `station service "cable 1" --by NAME`'
    )
    assert not any(isinstance(event, HookupAsked) for event in hands.events)
    with open_desk(works.folder) as desk:
        desk.service("cable 1", "Signe", "replaced")
    run(works, hands)
    assert counts(works) == {"cable 1": 3, "cable 2": 4}


def test_a_cable_that_will_soon_be_worn_is_told_and_the_unit_tested(works: Works, hands, name_cables) -> None:
    name_cables(3)
    with open_desk(works.folder) as desk:
        desk.store.keep_matings("final test 1", {"cable 1": 89, "cable 2": 90}, desk.clock())
    name_cables(100)
    run(works, hands)
    assert [event.what for event in hands.events if isinstance(event, Warned)] == [
        "cable 2 was mated 90 times, and is to be serviced after 100; have its replacement at hand"
    ]


def test_ready_tells_worn_and_nearly_worn_cables(works: Works, station, name_cables) -> None:
    name_cables(100)
    with open_desk(works.folder) as desk:
        desk.store.keep_matings("final test 1", {"cable 1": 95, "cable 2": 120}, desk.clock())
    ran = station("ready", "--works", works.folder)
    assert ran.code == 5
    assert "cable 2 was mated 120 times, and is to be serviced after 100" in ran.out
    assert (
        'way out: gauge or replace its connector, then run `station service "cable 2" --by NAME`' in ran.out
    )
    assert "Soon: cable 1 was mated 95 times" in ran.out
    told = json.loads(station("ready", "--works", works.folder, "--json").out)
    assert [len(told["reasons"]), len(told["warnings"])] == [1, 1]


def test_the_service_of_a_cable_is_recorded_with_person_and_reason(
    works: Works, station, name_cables
) -> None:
    name_cables(100)
    with open_desk(works.folder) as desk:
        desk.store.keep_matings("final test 1", {"cable 1": 95}, desk.clock())
    at = ("--works", works.folder)
    done = station("service", "cable 1", "--by", "Signe", "--why", "pin gauged, within 20 um", *at)
    assert done.code == 0, done.err
    assert "cable 1: serviced by Signe; its matings count from 0 again." in done.out
    listed = station("service", *at)
    assert all(word in listed.out for word in ("cable 1", "cable 2", "Signe", "100"))
    (first, _) = json.loads(station("service", "--json", *at).out)
    assert (first["matings"], first["services"][0]["why"]) == (0, "pin gauged, within 20 um")


def test_each_mistake_about_a_service_is_told(works: Works, station, name_cables) -> None:
    at = ("--works", works.folder)
    nothing = station("service", *at)
    assert (nothing.code, "names no cables, so nothing is counted" in nothing.err) == (2, True)
    name_cables(100)
    unknown = station("service", "cabel 1", "--by", "Signe", *at)
    assert (unknown.code, "names no cable 'cabel 1'; did you mean 'cable 1'?" in unknown.err) == (2, True)
    nobody = station("service", "cable 1", *at)
    assert (nobody.code, "say who serviced it: --by NAME" in nobody.err) == (2, True)
    which = station("service", "--by", "Signe", *at)
    assert (which.code, "say which cable was serviced" in which.err) == (2, True)
