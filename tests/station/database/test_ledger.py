"""The ledger: every record of weight has a line, and nothing can be changed, taken out or put in unseen."""

from __future__ import annotations

import hashlib
import json
import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest
import sqlalchemy as sa

from reports.chain import Head
from station.database import opening, schema
from station.database.address import database_url
from station.database.audit import Finding, Tally, Wrong, audit
from station.database.gather import gather, link_columns, named
from station.database.ledger import Chain, entries
from station.database.store import Store
from station.database.trees import TREES, UNCOVERED, Tree
from station.errors import StoreFault

STATION = "works"
SERVE = """
from station.database.matings import Service
with Store.open(url) as store:
    print("ready", flush=True)
    sys.stdin.read(2)
    for n in range(20):
        store.keep_service("final test 1", f"cable {n}", Service(make.STARTED, "Signe", "cleaned"))
"""


def seal(text: str) -> bytes:
    """Stands for a signature: nobody else is there to forge it."""
    return hashlib.sha256(text.encode()).digest()


def check(head: Head) -> str:
    genuine = head.signature == seal(head.text) and head.fingerprint == "ee" * 32
    return "" if genuine else "the signature is not over this place"


def sign(store: Store) -> Head:
    mark, _ = store.ledger.end()
    head = Head(mark, datetime.fromisoformat("2025-03-03T10:00:00+00:00"), b"", "ee" * 32)
    head = replace(head, signature=seal(head.text))
    store.ledger.keep_head(head)
    return head


@pytest.fixture
def filled(store: Store, make) -> Store:
    """A small works with all kinds of records, signed for."""
    make.fill(store)
    sign(store)
    return store


@contextmanager
def by_hand(url: str) -> Iterator[sa.Connection]:
    """A connection of somebody who may do anything, checks and references switched off; all is undone at its end."""
    engine = opening.make_engine(database_url(url), wait_s=1, writable=True)
    with engine.connect() as connection:
        raw = connection.connection.cursor()
        if engine.dialect.name == "sqlite":
            raw.execute("PRAGMA foreign_keys = OFF")
            raw.execute("PRAGMA ignore_check_constraints = ON")
        with connection.begin() as transaction:
            if engine.dialect.name != "sqlite":
                connection.exec_driver_sql("SET LOCAL session_replication_role = replica")
                for table in schema.metadata.tables.values():
                    for constraint in table.constraints:
                        if isinstance(constraint, sa.CheckConstraint):
                            connection.exec_driver_sql(
                                f'ALTER TABLE "{table.name}" DROP CONSTRAINT "{constraint.name}"'
                            )
            yield connection
            transaction.rollback()
    engine.dispose()


def found(connection: sa.Connection) -> list[Finding]:
    return list(audit(connection, check, Tally()))


def looked_through(url: str) -> list[Finding]:
    with by_hand(url) as connection:
        return found(connection)


def altered(value: object) -> object:
    """The smallest change of a value."""
    changes = {
        bool: lambda: not value,
        int: lambda: value + 1,
        float: lambda: math.nextafter(value, math.inf),
        str: lambda: f"{value[:-1]}{'x' if value[-1:] != 'x' else 'y'}",
        bytes: lambda: value[:-1] + bytes([value[-1] ^ 1]),
        datetime: lambda: value + timedelta(microseconds=1),
        date: lambda: value + timedelta(days=1),
        list: lambda: [*value, 1],
    }
    return changes[type(value)]()


def made_up(kind: sa.types.TypeEngine) -> object:
    """A value where there was none."""
    if isinstance(kind, schema.UtcTime):
        return datetime.fromisoformat("2025-03-03T10:00:00+00:00")
    return {str: "x" * 8, int: 1, float: 0.5}[kind.python_type]


def names_of(connection: sa.Connection, tree: Tree, row: sa.Row, table: sa.Table) -> tuple[str, str]:
    """Kind and key of the record that a row belongs to."""
    columns = tree.root.primary_key.columns if table is tree.root else link_columns(tree.root, table)
    key = tuple(row._mapping[column.name] for column in columns)
    return tree.kind, named(tree, gather(connection, tree, [key])[key])


def changes(table: sa.Table, row: sa.Row) -> Iterator[dict[str, object]]:
    """Every change of a single field of a row."""
    for column in table.columns:
        value = row._mapping[column.name]
        yield {column.name: made_up(column.type) if value is None else altered(value)}
        if value is not None and column.nullable:
            yield {column.name: None}


def of_row(table: sa.Table, row: sa.Row) -> sa.ColumnElement[bool]:
    return sa.and_(*(column == row._mapping[column.name] for column in table.primary_key.columns))


def tried(connection: sa.Connection, statement: sa.Executable) -> list[Finding] | None:
    """What is found after a statement, which is undone; None where the database itself refuses it."""
    step = connection.begin_nested()
    try:
        connection.execute(statement)
    except (sa.exc.IntegrityError, sa.exc.DataError):
        step.rollback()
        return None
    findings = found(connection)
    step.rollback()
    return findings


COVERED = [(tree, table) for tree in TREES for table in (tree.root, *tree.children)]


def test_every_table_is_in_the_catalog():
    assert {table.name for _, table in COVERED} | set(UNCOVERED) == set(schema.metadata.tables)


def test_each_kind_refers_only_to_those_before_it():
    seen: set[str] = set()
    for tree in TREES:
        for table in (tree.root, *tree.children):
            seen.add(table.name)
            assert {key.column.table.name for key in table.foreign_keys} <= seen, table.name


def test_a_works_is_whole_as_it_was_entered(filled, url):
    assert looked_through(url) == []


def test_everything_that_was_kept_has_a_line_in_the_order_of_keeping(filled, url):
    with by_hand(url) as connection:
        lines = [(each.entry.kind, each.entry.key) for each in entries(connection, STATION)]
    assert [kind for kind, _ in lines if kind != "document"] == [
        "order", "calibration", "run", "certificate", "run", "resolution", "run", "order", "run",
        "reset of a standard", "cable", "cable", "cable", "person", "disposition", "approval", "act",
    ]  # fmt: skip
    assert {
        ("order", "SW-2025-031"), ("run", "SKV-0101 run 1"), ("certificate", "SKV-0101-1"),
        ("resolution", "SKV-0102 run 1 resolution 1"), ("run", "SKV-0101 run 2"),
    } < set(lines)  # fmt: skip


@pytest.mark.parametrize(("tree", "table"), COVERED, ids=[table.name for _, table in COVERED])
def test_a_change_of_any_field_is_found_and_named(filled, url, tree, table):
    with by_hand(url) as connection:
        rows = connection.execute(sa.select(table)).all()
        assert rows, f"the works of this test has no {table.name}"
        for row in rows if connection.dialect.name == "sqlite" else rows[:1]:
            name = names_of(connection, tree, row, table)
            for values in changes(table, row):
                findings = tried(connection, table.update().where(of_row(table, row)).values(values))
                if findings is None:
                    continue
                told = {(each.kind, each.key) for each in findings}
                if "id" in values:
                    # The record itself is as it was; what referred to its number is not.
                    assert told, (table.name, values)
                else:
                    assert name in told, (table.name, values, told)


@pytest.mark.parametrize(("tree", "table"), COVERED, ids=[table.name for _, table in COVERED])
def test_a_row_that_is_taken_out_is_found_and_named(filled, url, tree, table):
    with by_hand(url) as connection:
        for row in connection.execute(sa.select(table)).all():
            name = names_of(connection, tree, row, table)
            findings = tried(connection, table.delete().where(of_row(table, row)))
            wrong = Wrong.REMOVED if table is tree.root else Wrong.ALTERED
            assert (wrong, *name) in {(each.wrong, each.kind, each.key) for each in findings}


@pytest.mark.parametrize(
    "table", [table for _, table in COVERED if "position" in table.c and table.name != "unit"],
    ids=lambda table: table.name,
)  # fmt: skip
def test_a_row_that_is_put_in_is_found_and_named(filled, url, table):
    (tree,) = (tree for tree, each in COVERED if each is table)
    with by_hand(url) as connection:
        row = connection.execute(sa.select(table)).first()
        name = names_of(connection, tree, row, table)
        findings = tried(connection, table.insert().values({**row._mapping, "position": 99}))
        assert [(each.wrong, each.kind, each.key) for each in findings] == [(Wrong.ALTERED, *name)]


def test_rows_of_no_record_are_told(filled, url):
    with by_hand(url) as connection:
        row = connection.execute(sa.select(schema.instrument)).first()
        findings = tried(connection, schema.instrument.insert().values({**row._mapping, "run_id": 99}))
        assert [each.sentence for each in findings] == [
            "Instrument: 1 rows of instrument belong to no run that is there."
        ]


def test_a_record_that_nobody_entered_is_told(filled, url):
    with by_hand(url) as connection:
        row = connection.execute(sa.select(schema.standard_reset)).first()
        again = {**row._mapping, "id": 99, "person": "nobody"}
        findings = tried(connection, schema.standard_reset.insert().values(again))
        assert [(each.wrong, each.kind) for each in findings] == [(Wrong.INSERTED, "reset of a standard")]


def test_an_open_run_has_no_line_yet_and_is_nobodys_fault(filled, url, make):
    filled.begin(make.head())
    assert looked_through(url) == []


# --- the lines themselves --------------------------------------------------------------------------------------


def lines(connection: sa.Connection) -> list[sa.Row]:
    table = schema.ledger_entry
    return list(connection.execute(sa.select(table).order_by(table.c.number)))


def test_a_change_of_any_field_of_a_line_is_found_and_named(filled, url):
    table = schema.ledger_entry
    with by_hand(url) as connection:
        rows = lines(connection)
        for row in rows if connection.dialect.name == "sqlite" else rows[3:5]:
            for values in changes(table, row):
                findings = tried(connection, table.update().where(of_row(table, row)).values(values))
                if findings is None:
                    continue
                (name,) = values
                told = {each.number for each in findings} | {None}
                # A line that is renumbered or given to another station is missing in its own place.
                assert row.number in told, (values, findings)
                if name in ("kind", "key", "made", "late", "content", "link"):
                    assert (Wrong.ALTERED, row.number) in {(each.wrong, each.number) for each in findings}


def test_a_line_that_is_taken_out_is_found_and_named(filled, url):
    table = schema.ledger_entry
    with by_hand(url) as connection:
        for row in lines(connection):
            findings = tried(connection, table.delete().where(table.c.number == row.number))
            assert Wrong.REMOVED in {each.wrong for each in findings}
            assert {(row.kind, row.key)} <= {(each.kind, each.key) for each in findings}


@pytest.mark.parametrize("what", ["whole", "all but the link"])
def test_exchanged_lines_are_told_as_such(filled, url, what):
    table = schema.ledger_entry
    skipped = {"number"} if what == "whole" else {"number", "link"}
    with by_hand(url) as connection:
        before = lines(connection)
        for one, other in ((0, 1), (2, 7), (3, len(before) - 1)):
            step = connection.begin_nested()
            for here, there in ((one, other), (other, one)):
                values = {key: value for key, value in before[there]._mapping.items() if key not in skipped}
                connection.execute(table.update().where(table.c.number == before[here].number).values(values))
            findings = found(connection)
            step.rollback()
            assert {(each.wrong, each.number) for each in findings} >= {
                (Wrong.REORDERED, before[one].number), (Wrong.REORDERED, before[other].number),
            }  # fmt: skip


def test_the_end_of_a_chain_that_is_cut_off_is_told_where_it_was_signed(filled, url):
    table = schema.ledger_entry
    with by_hand(url) as connection:
        last = lines(connection)[-1].number
        findings = tried(connection, table.delete().where(table.c.number > last - 3))
    said = [each.detail for each in findings if each.wrong is Wrong.REMOVED]
    assert said == [f"the chain once came to line {last}; its end from line {last - 2} on was removed"]


def test_a_chain_that_was_written_anew_is_not_the_signed_one(filled, url, make):
    """By somebody who knows how it is made, and changes a record and every line after it."""
    with by_hand(url) as connection:
        connection.execute(schema.reading.update().values(note="better"))
        kept = lines(connection)
        records = [(row.kind, tuple(json.loads(row.row))) for row in kept]
        connection.execute(schema.ledger_entry.delete())
        Chain(STATION, lambda: make.started).enter(connection, records)
        assert [(each.wrong, each.detail) for each in found(connection)] == [
            (Wrong.NOT_SIGNED_SO, "the chain up to this line is not the one that was signed")
        ]


def test_a_change_of_any_field_of_a_signed_place_is_found(filled, url):
    table = schema.ledger_head
    with by_hand(url) as connection:
        row = connection.execute(sa.select(table)).one()
        for values in changes(table, row):
            assert tried(connection, table.update().where(of_row(table, row)).values(values)), values


def test_only_a_place_of_the_chain_can_be_signed(filled):
    mark, _ = filled.ledger.end()
    with pytest.raises(StoreFault, match="no line"):
        filled.ledger.keep_head(
            Head(replace(mark, link="00" * 32), datetime.fromisoformat("2025-03-03T10:00Z"), b"", "")
        )


# --- several writers, several engines ---------------------------------------------------------------------------


def test_each_station_has_a_chain_of_its_own(filled, url, make):
    with Store.open(url, station="final test 2") as other:
        other.add_orders([make.order("SW-2", ("SKV-0201",))])
        assert other.ledger.end()[0].number == 1
    assert looked_through(url) == []


def test_programs_that_write_at_once_make_one_chain(url, start, make):
    with Store.open(url, create=True) as store:
        store.add_orders([make.order()])
        children = [start(SERVE, url) for _ in range(3)]
        for child in children:
            assert child.stdout.readline() == "ready\n"
        for child in children:
            child.stdin.write("go")
            child.stdin.flush()
        assert [child.communicate(timeout=60) for child in children] == [("", "")] * 3
        assert store.ledger.end()[0].number == 1 + 3 * 20
    assert looked_through(url) == []


def test_what_a_transaction_did_not_keep_has_no_line(filled, make):
    before, _ = filled.ledger.end()
    sheet = make.started
    with pytest.raises(StoreFault):
        filled.finish(1, (), make.passed(), sheet)
    assert filled.ledger.end()[0] == before


def test_both_engines_say_the_same_of_the_same_works(sqlite_url, postgresql_url, make):
    digests = []
    for url in (sqlite_url, postgresql_url):
        with Store.open(url, create=True, clock=lambda: make.started) as store:
            store.add_orders([make.order()])
            make.fill(store)
            digests.append(store.ledger.end()[0])
    assert digests[0] == digests[1]
