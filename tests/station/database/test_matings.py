"""Matings in the store: added up per station and cable, counted anew after a service, never changed."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from station.database.matings import CableCount, Service
from station.errors import StoreFault

NOW = datetime(2025, 3, 31, 12, 0, tzinfo=UTC)
STATION = "final test 1"


def test_matings_add_up_for_each_cable_of_a_station(store) -> None:
    store.keep_matings(STATION, {"cable 1": 2, "cable 2": 1}, NOW)
    store.keep_matings(STATION, {"cable 1": 3}, NOW)
    store.keep_matings("final test 2", {"cable 1": 7}, NOW)
    assert store.cable_counts(STATION) == {"cable 1": CableCount(5), "cable 2": CableCount(1)}


def test_a_service_begins_a_new_count_and_every_service_is_remembered(store) -> None:
    first, second = Service(NOW, "Signe", "gauged, 2 um too long"), Service(NOW, "M. Hale", "")
    store.keep_matings(STATION, {"cable 1": 480, "cable 2": 9}, NOW)
    store.keep_service(STATION, "cable 1", first)
    assert store.cable_counts(STATION)["cable 1"] == CableCount(0, (first,))
    store.keep_matings(STATION, {"cable 1": 3}, NOW)
    store.keep_service(STATION, "cable 1", second)
    store.keep_matings(STATION, {"cable 1": 4}, NOW)
    counts = store.cable_counts(STATION)
    assert counts == {"cable 1": CableCount(4, (first, second)), "cable 2": CableCount(9)}


def test_a_service_of_nobody_is_refused_by_the_database_itself(store) -> None:
    with pytest.raises(StoreFault):
        store.keep_service(STATION, "cable 1", Service(NOW, "", "found loose"))


def test_a_station_without_matings_has_no_counts(store) -> None:
    assert store.cable_counts(STATION) == {}
