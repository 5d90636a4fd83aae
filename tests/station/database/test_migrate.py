"""The steps in `versions/` and the tables in `schema` are the same thing."""

from __future__ import annotations

import contextlib
import sqlite3

import pytest
import sqlalchemy as sa

from station.database import migrate, opening
from station.database.address import database_url
from station.database.schema import HEAD, metadata
from station.database.store import Store
from station.errors import StoreFault


@pytest.fixture
def url(sqlite_url: str) -> str:
    """Of a file, which is what these tests are about."""
    return sqlite_url


def tables(file) -> dict[str, set[str]]:
    """What SQLite itself keeps of each table, column by column and constraint by constraint.

    In no order, and without the quotes it puts around the name of a table that was renamed: a step that changes a
    table makes a new one, with the new columns last.
    """
    with contextlib.closing(sqlite3.connect(file)) as raw:
        rows = raw.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL").fetchall()
    return {
        name: {line.strip(" \t,").replace(f'TABLE "{name}"', f"TABLE {name}") for line in sql.splitlines()}
        for name, sql in rows
    }


def test_the_newest_step_is_the_form_this_station_writes():
    assert migrate.steps().get_heads() == [HEAD]


def test_all_steps_make_the_very_tables_of_the_schema(url, tmp_path):
    """Alembic does not compare checks; the text that SQLite keeps of each table shows them too."""
    with Store.open(url, create=True):
        pass
    fresh = tmp_path / "fresh.sqlite"
    engine = sa.create_engine(f"sqlite:///{fresh}")
    metadata.create_all(engine)
    engine.dispose()
    made = tables(tmp_path / "records.sqlite")
    del made["alembic_version"]
    assert made == tables(fresh)


def test_a_step_that_fails_leaves_the_database_as_it_was(url, tmp_path, monkeypatch):
    def broken(connection: sa.Connection) -> None:
        connection.exec_driver_sql("CREATE TABLE half (id INTEGER)")
        connection.exec_driver_sql("nonsense")

    monkeypatch.setattr(migrate, "upgrade", broken)
    with pytest.raises(StoreFault, match="syntax error"), Store.open(url, create=True):
        pass
    assert tables(tmp_path / "records.sqlite") == {}


def test_a_database_on_disk_is_kept_as_the_works_needs_it(url, store):
    engine = opening.make_engine(database_url(url), wait_s=1, writable=True)
    with engine.connect() as connection:
        settings = [connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in
                    ("journal_mode", "foreign_keys", "synchronous")]  # fmt: skip
    engine.dispose()
    full = 2
    assert settings == ["wal", 1, full]


def test_every_constraint_has_a_name_of_its_own():
    names = [constraint.name for table in metadata.sorted_tables for constraint in table.constraints]
    assert all(names)
    assert len(names) == len(set(names))
