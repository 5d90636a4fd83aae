"""Every input can be bad: one clear message with place and way out, the right exit code, nothing lost."""

from __future__ import annotations

import json
import socket
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from station.keyring import make_key
from station.settings import Works

MISTAKE, FAIL, STATION_FAULT = 2, 3, 5
OPERATOR = ("--operator", "Signe")


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


BAD_RECIPES = {
    "unknown key": ("revision: A", "revison: A", "SK-V4.yaml:2:1: unknown key 'revison'; did you mean 'revision'?"),
    "unknown measure": ("measure: loss,", "measure: los,", "unknown measure 'los'; did you mean 'loss'?"),
    "decimal comma": ("at: tx}", "at: 157,05 MHz}", "a decimal comma splits a number here, so write a point"),
    "millihertz": ("bandwidth: 1 kHz", "bandwidth: 1 mHz", "'mHz' in '1 mHz' means millihertz; did you mean 'MHz'?"),
    "boolean trap": ("averages: 1,", "averages: no,", "expected a whole number like 4, in digits, got 'no'"),
    "exponent trap": ("averages: 1,", "averages: 1e6,", "expected a whole number like 4, in digits, got '1e6'"),
    "octal trap": ("averages: 1,", "averages: 010,", "'010'"),
    "duplicate key": ("rx_loss:  ", "tx_loss:  ", "'tx_loss' is written twice"),
    "limit without measurement": ("  tx_ripple: ", "  tx_riple: ", "tx_ripple"),
    "outside the analyzer": ("over: low - 2.5 MHz", "over: low - 156.5 MHz", "beyond the 0.3 to 3000 MHz"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "said"), BAD_RECIPES.values(), ids=BAD_RECIPES)
def test_a_bad_recipe_is_refused_by_check_and_by_test_before_the_bench_is_touched(
    works: Works, station, old: str, new: str, said: str
) -> None:
    edit(works.recipes / "SK-V4.yaml", old, new)
    checked = station("check", "--works", works.folder)
    assert checked.code == MISTAKE
    assert said in checked.out
    tested = station("test", "SKV-0001", "--works", works.folder, *OPERATOR)
    assert tested.code == MISTAKE
    assert said in tested.err
    assert "Cable" not in tested.out
    assert json.loads(station("show", "SKV-0001", "--works", works.folder, "--json").out)["runs"] == []


def test_all_mistakes_of_a_file_are_told_at_once_with_their_places(works: Works, station) -> None:
    path = works.recipes / "SK-V4.yaml"
    edit(path, "averages: 1,", "averages: no,")
    edit(path, "measure: loss,", "measure: los,")
    edit(path, "over: tx ± 12.5 kHz", "over: tx ± 12,5 kHz")
    told = station("check", path, "--works", works.folder).out.splitlines()
    assert [line.removeprefix(f"{path}:").split(":")[0] for line in told[:3]] == ["6", "11", "12"]


def test_a_serial_nobody_ordered_is_told_with_the_nearest_one(works: Works, station) -> None:
    told = station("test", "SKV-0010", "--works", works.folder, *OPERATOR)
    assert told.code == MISTAKE
    assert "SKV-0010" in told.err
    assert "did you mean SKV-000" in told.err


def test_a_serial_of_another_model_is_refused(works: Works, station) -> None:
    recipe = works.recipes / "SK-U4.yaml"
    told = station("test", "SKV-0001", "--works", works.folder, "--recipe", recipe, *OPERATOR)
    assert told.code == MISTAKE
    assert "SKV-0001 is a SK-V4 (order SKO-1)" in told.err


def test_an_order_for_a_model_without_a_recipe_is_refused_whole(works: Works, station) -> None:
    orders = works.folder / "more.csv"
    orders.write_text(
        "order,customer,model,tx,rx,serials,due\n"
        "SKO-8,Somebody,SK-V4,156.6 MHz,157.4 MHz,SKV-0800,2026-12-18\n"
        "SKO-9,Somebody,SK-V9,156.6 MHz,157.4 MHz,SKV-0900,2026-12-18\n"
    )
    told = station("import", orders, "--works", works.folder)
    assert told.code == MISTAKE
    assert "no recipe for model SK-V9" in told.err
    assert "SKO-8" not in station("orders", "--works", works.folder).out


def test_an_absent_instrument_is_a_station_fault(works: Works, station) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        address = f"TCPIP::127.0.0.1::{taken.getsockname()[1]}::SOCKET"
        line = next(line for line in works.bench.read_text().splitlines() if "address:" in line)
        edit(works.bench, line, f"  address: {address}")
        told = station("test", "SKV-0001", "--works", works.folder, *OPERATOR)
    assert told.code == STATION_FAULT
    assert address in told.err
    assert "nobody answers at this address" in told.err


def test_a_folder_that_is_no_works_says_how_to_make_one(tmp_path: Path, station) -> None:
    told = station("orders", "--works", tmp_path)
    assert told.code == MISTAKE
    assert "station create" in told.err


def test_a_folder_in_use_is_not_overwritten(works: Works, station) -> None:
    before = works.bench.read_text()
    for words in (
        ("create", works.folder, "--name", "X", "--address", "Y"),
        ("demo", "--folder", works.folder),
    ):
        told = station(*words)
        assert told.code == MISTAKE
        assert "is not empty" in told.err
    assert works.bench.read_text() == before


def test_a_locked_database_is_a_station_fault_and_says_so(works: Works, station) -> None:
    with sqlite3.connect(works.folder / "records.sqlite", isolation_level=None) as other:
        other.execute("BEGIN EXCLUSIVE")
        told = station("import", works.folder / "orders.csv", "--works", works.folder)
        other.execute("ROLLBACK")
    other.close()
    assert told.code == STATION_FAULT
    assert "locked" in told.err or "in use" in told.err


@pytest.fixture
def passed(works: Works, hands, station) -> Works:
    """A works in which SKV-0001 has passed."""
    from station.desk import open_desk

    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as session:
        session.test("SKV-0001")
    return works


def test_a_wrong_passphrase_makes_no_certificate(passed: Works, station) -> None:
    (passed.keys / "passphrase").write_text("wrong")
    told = station("certify", "SKV-0001", "--works", passed.folder)
    assert told.code == MISTAKE
    assert "passphrase" in told.err
    assert list(passed.certificates.iterdir()) == []


def test_an_expired_key_makes_no_certificate(passed: Works, station) -> None:
    passed.key.unlink()
    passed.key.with_suffix(".pem").unlink()
    make_key(passed, lambda: "salt-water-9", datetime.now(UTC) - timedelta(days=800), years=2)
    told = station("certify", "SKV-0001", "--works", passed.folder)
    assert told.code == MISTAKE
    assert "ran out on" in told.err
    assert list(passed.certificates.iterdir()) == []


def test_a_key_is_never_overwritten(works: Works, station) -> None:
    before = works.key.read_bytes()
    told = station("key", "--works", works.folder)
    assert told.code == MISTAKE
    assert works.key.read_bytes() == before


def test_a_failed_unit_asks_for_no_certificate_and_an_untested_one_says_what_to_do(
    works: Works, station
) -> None:
    told = station("certify", "SKV-0002", "--works", works.folder)
    assert told.code == MISTAKE
    assert "station test SKV-0002" in told.err


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (lambda pdf: pdf[:-1] + bytes([pdf[-1] ^ 1]), "Altered"),
        (lambda pdf: pdf.replace(b"SKV-0001", b"SKV-0002", 1), "Altered"),
        (lambda pdf: pdf + b"\n% more\n", "Altered"),
        (lambda pdf: pdf[: len(pdf) // 2], "Unreadable"),
        (lambda pdf: b"hello", "Not a PDF"),
    ],
    ids=["last byte", "a serial", "appended", "cut", "no PDF"],
)
def test_a_pdf_that_is_not_as_we_signed_it_does_not_verify(
    passed: Works, station, make: Callable[[bytes], bytes], said: str
) -> None:
    issued = json.loads(station("certify", "SKV-0001", "--works", passed.folder, "--json").out)
    good = Path(issued["path"])
    assert station("verify", good, "--works", passed.folder).code == 0
    changed = good.with_name("changed.pdf")
    changed.write_bytes(make(good.read_bytes()))
    told = station("verify", changed, "--works", passed.folder)
    assert told.code == FAIL
    assert said in told.out


def test_a_certificate_of_another_works_is_not_ours(passed: Works, station, tmp_path: Path) -> None:
    station("certify", "SKV-0001", "--works", passed.folder)
    certificate = passed.certificates / "SKV-0001-1.pdf"
    stranger = station("verify", certificate)
    assert (stranger.code, "Not ours" in stranger.out) == (FAIL, True)
    trusting = station("verify", certificate, "--trust", passed.key.with_suffix(".pem"))
    assert trusting.code == 0


def test_a_file_that_is_not_there_is_the_users_mistake(works: Works, station) -> None:
    for words in (("verify", "nothing.pdf"), ("import", "nothing.csv"), ("check", "nothing.yaml")):
        told = station(*words, "--works", works.folder)
        assert told.code == MISTAKE
        assert "nothing." in told.err + told.out


def test_a_missing_key_is_told_before_the_first_hook_up(works: Works, station) -> None:
    works.key.unlink()
    told = station("test", "SKV-0001", "--works", works.folder, *OPERATOR)
    assert told.code == STATION_FAULT
    assert "station key" in told.err


def test_what_two_files_have_against_each_other_is_told_where_it_is_written(works: Works, station) -> None:
    edit(works.limits / "SK-V4.yaml", "  tx_loss:", "  tx_lss:")
    told = station("check", "--works", works.folder)
    at = [line.removeprefix(f"{works.folder}/") for line in told.out.splitlines() if "SK-V4" in line]
    assert len(at) == 2
    assert at[0].startswith("recipes/SK-V4.yaml:11:3: has no limit in limit table SK-V4")
    assert at[1].startswith("limits/SK-V4.yaml:7:3: a limit for 'tx_lss', which is not measured")
    alone = station("check", works.limits / "SK-V4.yaml", "--works", works.folder)
    assert (alone.code, len(alone.out.splitlines())) == (MISTAKE, 2)


def test_an_order_whose_channels_cannot_be_tested_is_refused_on_the_way_in(works: Works, station) -> None:
    orders = works.folder / "slip.csv"
    orders.write_text(
        "order,customer,model,tx,rx,serials,due\nSKO-9,Somebody,SK-V4,156.6 MHz,900 MHz,SKV-0900,2026-12-18\n"
    )
    told = station("import", orders, "--works", works.folder)
    assert told.code == MISTAKE
    assert "order SKO-9 cannot be tested, nothing was taken in" in told.err
    assert "with TX 156.6 and RX 900 MHz a hook-up would be swept at 30011 points" in told.err
    assert station("check", "--works", works.folder).code == 0


def test_check_finds_what_a_file_names_and_what_is_not_there(works: Works, station) -> None:
    edit(works.bench, "dialect: linear-single", "dialect: linear-singel")
    edit(works.folder / "works.yaml", "trusted: []", "trusted: [keys/nobody.pem]")
    (works.keys / "passphrase").unlink()
    told = station("check", "--works", works.folder)
    assert told.code == MISTAKE
    assert "bench.yaml:5:12: unknown dialect 'linear-singel'; did you mean 'linear-single'?" in told.out
    assert "keys/nobody.pem, which does not exist" in told.out
    assert "keys/passphrase, which does not exist" in told.out


def test_a_dialect_is_not_tried_while_a_unit_is_tested(works: Works, hands, station) -> None:
    from station.desk import open_desk

    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append):
        told = station("try-dialect", "--works", works.folder)
    assert told.code == STATION_FAULT
    assert "in use by another program" in told.err
