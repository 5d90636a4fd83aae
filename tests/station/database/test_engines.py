"""What must hold on every kind of database when programs and servers die, and how a server's troubles are told."""

from __future__ import annotations

import signal

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext

from station.database import opening
from station.database.address import database_url
from station.database.entries import RunState
from station.database.schema import metadata
from station.database.store import Store
from station.errors import StoreFault

DIE = """
from station.database import address, opening
with Store.open(url) as store:
    run = store.begin(make.head())
    store.keep_sweep(run.run_id, make.sweep(seed=1))
    store.keep_sweep(run.run_id, make.sweep(seed=2))
    engine = opening.make_engine(address.database_url(url), wait_s=1, writable=True)
    with opening.for_writing(engine).begin() as half:
        half.exec_driver_sql("UPDATE run SET operator = 'nobody'")
        print("ready", flush=True)
        sys.stdin.read(1)
"""

TEST_UNITS = """
with Store.open(url, create=True) as store:
    sys.stdin.read(1)
    for n in range(10):
        run = store.begin(make.head())
        store.keep_sweep(run.run_id, make.sweep(seed=n))
        store.finish(run.run_id, (), make.passed(), make.STARTED)
"""


def test_a_program_that_is_killed_loses_no_sweep_and_the_unit_can_be_tested_again(url, make, start):
    with Store.open(url, create=True) as store:
        store.add_orders([make.order()])
    child = start(DIE, url)
    assert child.stdout.readline() == "ready\n"
    child.send_signal(signal.SIGKILL)
    child.wait(60)
    with Store.open(url, wait_s=1) as store:
        (line,) = store.runs("SKV-0101")
        assert (line.state, line.operator, len(store.run(line.run_id).sweeps)) == (
            RunState.RUNNING,
            "M. Hale",
            2,
        )
        assert store.begin(make.head()).run_number == 2
        assert [run.run_number for run in store.close_abandoned("final test 1", make.finished)] == [1, 2]


def test_two_programs_make_and_write_one_database_at_once(url, make, start):
    with Store.open(url, create=True) as store:
        store.add_orders([make.order()])
    children = [start(TEST_UNITS, url) for _ in range(2)]
    for child in children:
        child.stdin.write("go")
        child.stdin.flush()
    assert [child.wait(60) for child in children] == [0, 0]
    with Store.open(url) as store:
        assert [line.run_number for line in store.runs("SKV-0101")] == list(range(1, 21))


def test_alembic_finds_nothing_to_change_after_all_steps(url):
    with Store.open(url, create=True):
        pass
    engine = opening.make_engine(database_url(url), wait_s=1, writable=True)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, metadata) == []
    engine.dispose()


def test_a_server_that_is_away_is_said_and_found_again(server, postgresql_url, make):
    with Store.open(postgresql_url, create=True) as store:
        store.add_orders([make.order()])
        server.stop()
        try:
            with pytest.raises(StoreFault, match="the server cannot be reached; check that it runs"):
                store.orders()
        finally:
            server.start()
        assert store.orders() == (make.order(),)


def test_a_server_that_goes_in_mid_transaction_keeps_what_was_committed(server, postgresql_url, make):
    with Store.open(postgresql_url, create=True) as store:
        store.add_orders([make.order()])
        key = store.begin(make.head())
        store.keep_sweep(key.run_id, make.sweep())
        server.stop()
        server.start()
        assert len(store.run(key.run_id).sweeps) == 1
        assert store.keep_sweep(key.run_id, make.sweep(seed=2)) == 1


@pytest.mark.parametrize(
    ("statement", "said"),
    [
        (None, "there is no database of this name on the server; let its keeper create it"),
        ("ALTER DATABASE {} WITH ALLOW_CONNECTIONS false", "it takes no connections"),
    ],
)
def test_what_a_server_refuses_is_said_with_the_way_out(server, postgresql_url, statement, said):
    name = database_url(postgresql_url).database
    if statement:
        server.do(statement.format(name))
        url = postgresql_url
    else:
        url = postgresql_url.replace(name, "works_nowhere")
    with pytest.raises(StoreFault, match=said), Store.open(url, create=True):
        pass


def test_an_unknown_user_is_refused_without_repeating_the_password(server):
    url = server.url("postgres").replace("//", "//nobody:s3cret@", 1).replace(f"@{server.user}@", "@")
    with pytest.raises(StoreFault, match="does not let this user in") as caught, Store.open(url):
        pass
    assert "s3cret" not in str(caught.value)


def test_a_database_that_may_only_be_read_says_so(server, postgresql_url, make):
    with Store.open(postgresql_url, create=True):
        pass
    server.do(
        f"ALTER DATABASE {database_url(postgresql_url).database} SET default_transaction_read_only = on"
    )
    with Store.open(postgresql_url) as store, pytest.raises(StoreFault, match="it may not be written"):
        store.add_orders([make.order()])


def test_both_kinds_hold_the_same_tables(sqlite_url, postgresql_url):
    found = []
    for url in (sqlite_url, postgresql_url):
        with Store.open(url, create=True):
            pass
        engine = opening.make_engine(database_url(url), wait_s=1, writable=True)
        looked = sa.inspect(engine)
        found.append(
            {
                name: [column["name"] for column in looked.get_columns(name)]
                for name in looked.get_table_names()
            }
        )
        engine.dispose()
    assert found[0] == found[1]
