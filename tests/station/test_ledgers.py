"""The ledger of a works at a desk, with its real key: signed, looked through, a record proved; and old records."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from station import keyring
from station.cli.main import app
from station.database.matings import Service
from station.desk import make_works, open_desk
from station.errors import UserMistake
from station.ledgers import look_through, prove, sign_end, sign_now_and_then

BENCH = "bench: final test 7\nanalyzer:\n  kind: vector\n"
ORDERS = """\
order,customer,model,tx,rx,serials,due
SKO-1,Northern Skerries Coastal Rescue,SK-V4,156.600 MHz,157.400 MHz,SKV-0001..SKV-0004,2026-12-18
"""
NOW = datetime(2026, 11, 25, 8, 30, tzinfo=UTC)


@pytest.fixture
def works(tmp_path: Path):
    made = make_works(tmp_path / "works", "Skerry Works", ("Holmsund",), BENCH)
    keyring.make_key(made, lambda: "salt", NOW - timedelta(days=1), 2)
    (tmp_path / "orders.csv").write_text(ORDERS)
    with open_desk(made.folder) as desk:
        desk.import_orders(tmp_path / "orders.csv")
    return made


def key_of(works):
    return keyring.open_key(works, "salt", NOW)


def run(*arguments: object):
    return CliRunner().invoke(app, ["ledger", *map(str, arguments)])


def alter(works) -> None:
    with closing(sqlite3.connect(works.folder / "records.sqlite")) as raw, raw:
        raw.execute("UPDATE work_order SET customer = 'nobody'")


def test_the_chain_is_that_of_the_station_in_the_bench_file(works):
    with open_desk(works.folder) as desk:
        assert sign_end(desk.store, key_of(works), NOW).mark.station == "final test 7"


def test_what_is_signed_already_is_not_signed_again(works):
    with open_desk(works.folder) as desk:
        assert sign_end(desk.store, key_of(works), NOW) is not None
        assert sign_end(desk.store, key_of(works), NOW) is None


def test_between_certificates_it_is_signed_once_a_minute(works):
    with open_desk(works.folder) as desk:
        for after, places in ((0, 1), (59, 1), (60, 2)):
            service = Service(NOW, "Signe", f"cleaned {after}")
            desk.store.keep_service("final test 7", "cable 1", service)
            sign_now_and_then(desk.store, key_of(works), NOW + timedelta(seconds=after))
            look = look_through(desk.store, (keyring.own_certificate(works),))
            assert list(look.findings) == []
            assert look.tally.signed == places


def test_a_look_through_says_whole_or_names_what_is_wrong(works):
    said = run("--works", works.folder)
    assert (said.exit_code, said.stdout) == (0, "Whole: 1 line and 1 record looked at, 0 signatures.\n")
    alter(works)
    said = run("--works", works.folder)
    assert said.exit_code == 3
    assert "Order SKO-1 (line 1 of final test 7): the record was altered since it was entered." in said.stdout


def test_a_record_is_proved_and_checked_far_from_the_works(works, tmp_path):
    with open_desk(works.folder) as desk:
        with pytest.raises(UserMistake, match="sign the ledger"):
            prove(desk.store, "SKO-1")
        sign_end(desk.store, key_of(works), NOW)
    file = tmp_path / "proof.json"
    assert run("--prove", "SKO-1", "--to", file, "--works", works.folder).exit_code == 0
    public = keyring.own_certificate(works)
    said = run("--check", file, "--trust", public, "--works", tmp_path)
    assert (said.exit_code, "Valid: order SKO-1" in said.stdout) == (0, True)
    file.write_text(file.read_text().replace("Northern", "Southern"))
    assert run("--check", file, "--trust", public, "--works", tmp_path).exit_code == 3


def test_a_record_that_was_altered_is_not_proved(works, tmp_path):
    alter(works)
    said = run("--prove", "SKO-1", "--to", tmp_path / "proof.json", "--works", works.folder)
    assert said.exit_code == 5
    assert not (tmp_path / "proof.json").exists()


def test_a_key_that_nobody_has_is_told_with_those_near_it(works):
    with open_desk(works.folder) as desk, pytest.raises(UserMistake, match="there are 'SKO-1'"):
        prove(desk.store, "SKO")


def test_a_strangers_signature_is_told(works, tmp_path):
    other = make_works(tmp_path / "other", "Other", ("Holmsund",), BENCH)
    keyring.make_key(other, lambda: "salt", NOW - timedelta(days=1), 2)
    with open_desk(works.folder) as desk:
        sign_end(desk.store, key_of(other), NOW)
    said = run("--works", works.folder)
    assert said.exit_code == 3
    assert "signed by somebody this works does not know (Other final test" in said.stdout
