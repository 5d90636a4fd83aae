"""What the units of a model read in their latest judged runs."""

from __future__ import annotations

from types import SimpleNamespace

from limits.verdict import Verdict
from station.database.entries import RunState
from station.database.store import Store


def judged(store: Store, make: SimpleNamespace, serial: str, value: float) -> None:
    run_id = store.begin(make.head(serial)).run_id
    decision = make.decision(make.reading(value=value, note="with the decision's note"))
    store.finish(run_id, [make.reading(value=value)], Verdict((decision,)), make.finished)


def test_each_unit_counts_once_by_its_latest_verdict(store: Store, make: SimpleNamespace) -> None:
    judged(store, make, "SKV-0101", 1.1)
    judged(store, make, "SKV-0102", 1.2)
    judged(store, make, "SKV-0101", 1.3)
    store.break_off(
        store.begin(make.head("SKV-0102")).run_id, RunState.STATION_FAULT, "silent", make.finished
    )
    found = store.latest_readings("SK-V4")
    assert {each.serial: each.reading.value for each in found} == {"SKV-0102": 1.2, "SKV-0101": 1.3}
    assert [each.reading.note for each in found] == ["", ""]
    assert found[0].channels.tx_hz == 156.8e6
    assert store.latest_readings("SK-U4") == ()


def test_a_check_standard_is_no_unit(store: Store, make: SimpleNamespace) -> None:
    store.enter_standard(make.order("CHECK", ("CS-1",)))
    judged(store, make, "CS-1", 1.0)
    assert store.latest_readings("SK-V4") == ()
