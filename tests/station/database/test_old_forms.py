"""A database that an older program made, brought to today's form with all that is in it."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import sqlalchemy as sa
import yaml
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from limits.verdict import Outcome
from station.database import migrate, opening
from station.database.address import database_url
from station.database.audit import Tally
from station.database.entries import RunId, RunState
from station.database.ledger import Chain
from station.database.schema import HEAD, metadata
from station.database.store import Store, now_utc
from station.errors import StoreFault

Rows = dict[str, list[dict[str, Any]]]

FIRST: dict[str, Any] = yaml.safe_load(
    (Path(__file__).parents[2] / "reference" / "database" / "form_0001.yaml").read_text("utf-8")
)
OPEN = """
from station.database import migrate
print("ready", flush=True)
sys.stdin.read(2)
with Store.open(url) as store:
    print(len(store.orders()))
"""

FREQ_HZ = 156e6 + np.arange(4) * 1e5 / 3


def s_of(n: int, parts: int) -> np.ndarray:
    """What sweep n of the reference holds, by its head."""
    return (np.arange(16).reshape(4, 2, 2) + n) * (1 - 0.5j) / parts


@contextlib.contextmanager
def changing(url: str) -> Iterator[sa.Connection]:
    """A transaction that looks at nothing but the database itself."""
    engine = opening.make_engine(database_url(url), wait_s=1, writable=True)
    try:
        with opening.for_writing(engine).begin() as connection:
            yield connection
    finally:
        engine.dispose()


def rows(url: str) -> Rows:
    """Everything in the database, by the names of tables and columns."""
    with changing(url) as connection:
        found = {}
        for name in sa.inspect(connection).get_table_names():
            table = sa.Table(name, sa.MetaData(), autoload_with=connection)
            query = sa.select(table).order_by(*table.primary_key.columns)
            found[name] = [dict(row) for row in connection.execute(query).mappings()]
        return found


@pytest.fixture
def old(url: str, monkeypatch: pytest.MonkeyPatch) -> str:
    """The URL of a database of the first form, with the reference in it."""
    with monkeypatch.context() as patch, changing(url) as connection:
        patch.setattr(migrate, "HEAD", "0001")
        migrate.upgrade(connection)
        for name, content in FIRST.items():
            table = sa.table(name, *map(sa.column, content["columns"]))
            placed = [dict(zip(content["columns"], row, strict=True)) for row in content["rows"]]
            for row in placed:
                row |= {"data": bytes.fromhex(row["data"])} if "data" in row else {}
            connection.execute(table.insert(), placed)
    return url


def test_every_old_row_comes_out_as_it_was(old):
    before = rows(old)
    with Store.open(old):
        pass
    after = rows(old)
    replaced = {"first_port", "second_port", "data"}
    for name in FIRST:
        kept = set(FIRST[name]["columns"]) - replaced
        assert [{key: row[key] for key in kept} for row in after[name]] == [
            {key: row[key] for key in kept} for row in before[name]
        ], name
    assert after["alembic_version"] == [{"version_num": HEAD}]


def test_what_old_rows_lack_is_filled_in(old):
    before = rows(old)
    with Store.open(old):
        pass
    after = rows(old)
    assert [row["kind"] for row in after["work_order"]] == ["production"] * 2
    ports = [f"{row['first_port']}-{row['second_port']}" for row in before["sweep"]]
    assert [(row["ports"], row["phase"]) for row in after["sweep"]] == [(pair, True) for pair in ports]
    assert [row["resolution"] for row in after["certificate"]] == [0, 0]
    unknown = ("temperature_end_c", "settled_since", "calibration_id")
    assert {row[name] for row in after["run"] for name in unknown} == {None}


def test_every_sweep_is_read_to_the_bit(old, make):
    with Store.open(old) as store:
        runs = [store.run(RunId(run_id)) for run_id in (1, 2, 3, 4)]
    sweeps = [
        (run.run_id, sweep)
        for run in runs
        for sweep in (*(doubted.sweep for doubted in run.doubted), *run.sweeps)
    ]
    assert [sweep.hookup.name for _, sweep in sweeps] == [
        "TX-ANT", "ANT-RX", "TX-RX", "TX-ANT", "TX-ANT", "TX-RX",
    ]  # fmt: skip
    for n, (run_id, sweep) in enumerate(sweeps):
        assert np.array_equal(sweep.freq_hz, FREQ_HZ)
        assert np.array_equal(sweep.s, s_of(n, 64 if run_id == 1 else 70))
        assert (sweep.phase, sweep.started) == (True, make.started + timedelta(seconds=n))


def test_the_history_of_a_unit_goes_on(old):
    with Store.open(old) as store:
        assert [order.number for order in store.orders()] == ["SW-2025-031", "SW-2025-032"]
        assert [line.outcome for line in store.runs("SKV-0101")] == [Outcome.PASS, Outcome.FAIL]
        assert store.runs("SKV-0201")[0].state is RunState.STATION_FAULT
        assert store.runs("SKV-0102")[0].state is RunState.RUNNING
        run = store.run(RunId(2))
        assert [(each.reading.name, each.outcome) for each in run.verdict.decisions] == [
            ("tx_loss", Outcome.PASS),
            ("rx_return_loss", Outcome.FAIL),
            ("rx_return_loss", Outcome.FAIL),
            ("notch_depth", Outcome.UNDECIDED),
        ]
        assert [doubted.doubt for doubted in run.doubted] == ["TX and RX look exchanged"]
        assert [entry.number for entry in store.certificates("SKV-0101")] == ["SKV-0101-1", "SKV-0101-2"]


def test_alembic_finds_nothing_to_change_afterwards(old):
    with Store.open(old):
        pass
    with changing(old) as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []


def test_a_step_that_fails_at_its_end_leaves_all_as_it_was(old):
    with changing(old) as connection:
        connection.exec_driver_sql("ALTER TABLE certificate ADD COLUMN resolution INTEGER")
    before = rows(old)
    with pytest.raises(StoreFault, match="resolution"), Store.open(old):
        pass
    assert rows(old) == before
    assert before["alembic_version"] == [{"version_num": "0001"}]


def test_a_damaged_sweep_is_not_made_to_look_sound(old):
    sweep = sa.table("sweep", sa.column("run_id"), sa.column("data"))
    with changing(old) as connection:
        data = bytearray(bytes.fromhex(FIRST["sweep"]["rows"][-1][10]))
        data[40] ^= 1
        connection.execute(sweep.update().where(sweep.c.run_id == 3).values(data=bytes(data)))
    with Store.open(old) as store:
        with pytest.raises(StoreFault, match="has changed since it was written"):
            store.run(RunId(3))
        assert len(store.run(RunId(1)).sweeps) == 3


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_rows_that_refer_to_nothing_are_not_taken_over(old):
    with contextlib.closing(sqlite3.connect(database_url(old).database)) as careless, careless:
        careless.execute("DELETE FROM unit WHERE id = 3")
    before = rows(old)
    told = "rows of run refer to rows of unit that are not there"
    with pytest.raises(StoreFault, match=told), Store.open(old):
        pass
    assert rows(old) == before


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_references_are_watched_again_as_soon_as_the_form_is_changed(old):
    parsed = database_url(old)
    engine = opening.make_engine(parsed, wait_s=1, writable=True)
    chain = Chain("final test 1", now_utc)
    opening.prepare(engine, "here", Path(parsed.database), create=False, writable=True, chain=chain)
    with engine.connect() as connection:
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar_one() == 1
    engine.dispose()


def test_two_programs_may_open_it_at_once(old, start):
    children = [start(OPEN, old) for _ in range(2)]
    assert [child.stdout.readline() for child in children] == ["ready\n"] * 2
    for child in children:
        child.stdin.write("go")
        child.stdin.flush()
    assert [child.communicate(timeout=60) for child in children] == [("2\n", "")] * 2


@pytest.mark.parametrize("url", ["sqlite"], indirect=True)
def test_a_file_keeps_no_room_for_the_tables_that_were_made_anew(old):
    with changing(old) as connection:
        row = connection.execute(sa.text("SELECT * FROM sweep WHERE run_id = 1")).mappings().first()
        columns = list(row)
        insert = sa.text(f"INSERT INTO sweep VALUES ({', '.join(f':{name}' for name in columns)})")
        connection.execute(insert, [{**row, "position": n} for n in range(100, 2100)])
    with Store.open(old):
        pass
    with changing(old) as connection:
        assert connection.exec_driver_sql("PRAGMA freelist_count").scalar_one() == 0


def test_old_records_are_entered_into_the_ledger_which_says_that_they_came_late(old):
    with Store.open(old, station="final test 1") as store:
        run = store.ledger.lines("SKV-0101 run 1")
        tally = Tally()
        assert list(store.ledger.audit(lambda head: "", tally)) == []
    assert [(each.entry.station, each.entry.late) for each in run] == [
        ("final test 1", "was there before the ledger")
    ]
    assert (tally.lines, tally.open_records) == (tally.records, 1)
    assert tally.records > len(FIRST["run"]["rows"])


def test_they_are_entered_once(old):
    for _ in range(2):
        with Store.open(old) as store:
            lines = store.ledger.end()[0].number
    with Store.open(old, station="final test 2") as store:
        assert store.ledger.end()[0].number == 0
    assert lines > 0
