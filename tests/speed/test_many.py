"""Many certificates in one go: what a second core brings. Run by hand: it takes minutes.

The store holds copies of one measured run; each certificate is drawn, signed and filed, with a durable commit each.
"""

from __future__ import annotations

import os
import shutil
import time
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from test_unit import bench_process, hands_of, place, station_at

from station.database.store import Store
from station.issuing_many import issue_many
from station.orders import Serial, WorkOrder

COUNT = 500
NOW = datetime(2026, 12, 1, 9, 30, tzinfo=UTC)


def fill(store: Store, serial: str) -> tuple[Serial, ...]:
    """So many units whose runs are copies of this one's."""
    run = store.latest_judged(serial)
    assert run is not None and run.verdict is not None and run.finished is not None
    serials = tuple(Serial(f"SKV-{1000 + place}") for place in range(COUNT))
    store.add_orders(
        [WorkOrder("SKO-500", "Far Skerries", "SK-V4", 156.6e6, 157.4e6, serials, date(2027, 1, 8))]
    )
    for each in serials:
        begun = store.begin(replace(run.head, serial=each))
        for sweep in run.sweeps:
            store.keep_sweep(begun.run_id, sweep)
        store.finish(begun.run_id, run.readings, run.verdict, run.finished)
    return serials


@pytest.mark.skipif((os.cpu_count() or 1) < 2, reason="takes two processors")
def test_500_certificates_by_two_processes_take_at_most_1_over_1_7_of_the_time(tmp_path: Path) -> None:
    with (
        bench_process() as ports,
        hands_of(ports) as hands,
        station_at(ports.socket, "list-all", hands, tmp_path) as station,
    ):
        place(hands)
        station.test()
        works, key = station.desk.works, station.key
        serials = fill(station.desk.store, "SKV-0001")
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, set(range(os.cpu_count() or 1)))
    taken = {}
    for processes in (1, 2):
        folder = tmp_path / f"by {processes}"
        shutil.copytree(works.folder, folder)
        own = replace(works, folder=folder, database=f"sqlite:///{folder}/records.sqlite")
        with Store.open(own.database) as store:
            begun = time.perf_counter()
            assert sum(each.is_new for each in issue_many(own, store, serials, NOW, key, processes)) == COUNT
            taken[processes] = time.perf_counter() - begun
    ratio = taken[1] / taken[2]
    print(f"\n{COUNT} certificates: {taken[1]:.1f} s by one, {taken[2]:.1f} s by two; {ratio:.2f} times")  # noqa: T201
    assert ratio >= 1.7
