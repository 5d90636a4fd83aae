"""What the database counts over runs, on every kind of database."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from limits.verdict import Outcome, Verdict
from reports.resolution import Resolution, Ruling
from station.database.entries import RunState


@pytest.fixture
def production(store, make):
    """SKV-0101 fails and passes the day after; SKV-0102 passes; a fault of a quarter of an hour, and a stop."""
    a_day = timedelta(days=1)
    for serial, after, verdict in (
        ("SKV-0101", 0 * a_day, make.failed()),
        ("SKV-0101", a_day, make.passed()),
        ("SKV-0102", a_day, make.passed()),
    ):
        head = replace(make.head(serial), started=make.started + after)
        store.finish(store.begin(head).run_id, (), verdict, make.finished + after)
    fault = store.begin(make.head("SKV-0102")).run_id
    store.break_off(fault, RunState.STATION_FAULT, "analyzer: silent", make.started + timedelta(minutes=15))
    stopped = store.begin(make.head("SKV-0102")).run_id
    store.break_off(stopped, RunState.STOPPED, "by the operator", make.finished)
    return store


def numbers(row: dict) -> tuple:
    return tuple(row[name] for name in ("runs", "judged", "first", "first_passed", "latest", "latest_passed"))


def test_runs_are_counted_by_day_and_a_unit_once_in_first_and_once_in_latest(production):
    rows = {row["day"]: row for row in production.run_counts()}
    assert numbers(rows["2025-03-03"]) == (3, 1, 1, 0, 0, 0)
    assert numbers(rows["2025-03-04"]) == (2, 2, 1, 1, 2, 2)
    assert (rows["2025-03-03"]["faults"], rows["2025-03-03"]["stopped"]) == (1, 1)
    assert rows["2025-03-03"]["hours_lost"] == pytest.approx(0.25, abs=1 / 3600)
    assert rows["2025-03-04"]["hours_lost"] == 0.0
    assert {key: rows["2025-03-04"][key] for key in ("model", "order", "station", "operator", "recipe")} == {
        "model": "SK-V4", "order": "SW-2025-031", "station": "final test 1", "operator": "M. Hale",
        "recipe": "SK-V4 3",
    }  # fmt: skip


def test_what_a_person_decided_is_counted_apart_by_the_last_decision(store, make):
    store.add_orders([make.order("SW-2", ("SKV-0103",))])
    undecided = Verdict((make.decision(make.reading(), Outcome.UNDECIDED),))
    for serial, rulings in (
        ("SKV-0101", (Ruling.REJECT, Ruling.RELEASE)),
        ("SKV-0102", (Ruling.REJECT,)),
        ("SKV-0103", ()),
    ):
        run_id = store.begin(make.head(serial)).run_id
        store.finish(run_id, (), undecided, make.finished)
        for number, ruling in enumerate(rulings, 1):
            made = make.finished, "as agreed", number - 1 or None
            store.keep_resolution(
                run_id, Resolution(number, ruling, "Astrid Holm", *made, "{}", b"\x30", "ab" * 32)
            )
    rows = store.run_counts()
    counted = {
        name: sum(row[name] for row in rows) for name in rows[0] if name.startswith(("first", "latest"))
    }
    assert counted == {
        "first": 3,
        "first_passed": 0,
        "latest": 3,
        "latest_passed": 0,
        "latest_undecided": 1,
        "latest_released": 1,
        "latest_rejected": 1,
    }


def test_only_the_days_that_are_asked_for_count(production):
    (row,) = production.run_counts(since=date(2025, 3, 4))
    assert row["day"] == "2025-03-04"
    assert production.run_counts(until=date(2025, 3, 2)) == []


def test_failures_are_those_of_first_runs(production):
    assert production.first_failures() == [
        {
            "unit": 1,
            "order": "SW-2025-031",
            "model": "SK-V4",
            "name": "rx_return_loss",
            "title": "rx_return_loss in words",
        }
    ]


def test_one_characteristic_is_told_in_order_of_time_with_who_measured_it_and_where(store, make):
    read_in(store, make, "SKV-0102", 1.5, timedelta(days=1))
    read_in(store, make, "SKV-0101", 1.0, timedelta(0))
    first, second = store.readings("SK-V4", "tx_loss")
    assert (first["serial"], first["value"], second["serial"], second["value"]) == (
        "SKV-0101", 1.0, "SKV-0102", 1.5,
    )  # fmt: skip
    assert first["started"] == make.started
    assert {key: first[key] for key in ("order", "station", "operator", "recipe", "claim", "unit")} == {
        "order": "SW-2025-031", "station": "final test 1", "operator": "M. Hale", "recipe": "SK-V4 3",
        "claim": "at least", "unit": "dB",
    }  # fmt: skip
    assert first["calibration"] is None
    assert store.readings("SK-U4", "tx_loss") == []
    assert store.readings("SK-V4", "rx_loss") == []


def test_a_unit_is_read_in_its_first_judged_run_and_retested_ones_only_when_asked_for(store, make):
    for day, (serial, value) in enumerate((("SKV-0101", 1.0), ("SKV-0101", 2.0), ("SKV-0102", 3.0))):
        read_in(store, make, serial, value, timedelta(days=day))
    assert [row["value"] for row in store.readings("SK-V4", "tx_loss")] == [1.0, 3.0]
    assert [row["value"] for row in store.readings("SK-V4", "tx_loss", retests=True)] == [1.0, 2.0, 3.0]
    assert [row["value"] for row in store.readings("SK-V4", "tx_loss", 2, retests=True)] == [2.0, 3.0]


def test_a_mask_with_two_levels_is_one_reading_and_a_fault_none(store, make):
    head = make.head("SKV-0101")
    twice = (make.reading("tx_loss", value=1.0), make.reading("tx_loss", value=9.0))
    store.finish(store.begin(head).run_id, twice, make.passed(), make.finished)
    fault = store.begin(make.head("SKV-0102")).run_id
    store.break_off(fault, RunState.STATION_FAULT, "analyzer: silent", make.finished)
    assert [row["value"] for row in store.readings("SK-V4", "tx_loss")] == [1.0]
    assert store.characteristics("SK-V4") == ["tx_loss"]


def read_in(store, make, serial, value, after):
    head = replace(make.head(serial), started=make.started + after)
    readings = (make.reading("tx_loss", value=value),)
    store.finish(store.begin(head).run_id, readings, make.passed(), make.finished + after)


def test_nothing_is_counted_of_an_empty_works(store):
    assert store.readings("SK-V4", "tx_loss") == []
    assert store.characteristics("SK-V4") == []
    assert store.run_counts() == []
    assert store.first_failures() == []
