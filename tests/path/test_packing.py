"""Whole orders: their certificates in one go, and the data pack that the customer gets."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import subprocess
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pytest

from limits.verdict import Outcome, Verdict
from reports.attached import twin_in
from reports.certificate import certificate
from station.desk import Desk, open_desk
from station.errors import StoreFault, UserMistake
from station.issuing import Issued, source_of
from station.issuing_many import issue_many, standing_of
from station.keyring import open_key
from station.orders import Serial, WorkOrder
from station.packing import LIST, SIGNATURE
from station.settings import Works

NOW = datetime(2026, 12, 1, 9, 30, tzinfo=UTC)
LARGE, SMALL = "SKO-70", "SKO-71"


def at_desk(works: Works) -> Any:
    return open_desk(works.folder, lambda: NOW)


def key_of(desk: Desk) -> Any:
    return open_key(desk.works, "salt-water-9", NOW)


@pytest.fixture
def measured(works: Works, hands: Any) -> Works:
    """One unit tested at the bench, and others whose runs are copies of its run: all good but one."""
    with open_desk(works.folder) as desk, desk.bench(hands, hands.events.append) as bench:
        assert bench.test("SKV-0001").verdict.outcome is Outcome.PASS
    with open_desk(works.folder) as desk:
        run = desk.stored_run("SKV-0001")
        for number, count, first in ((LARGE, 8, 100), (SMALL, 3, 200)):
            serials = tuple(Serial(f"SKV-{first + place:04}") for place in range(count))
            order = WorkOrder(number, "Far Skerries", "SK-V4", 156.6e6, 157.4e6, serials, date(2027, 1, 8))
            desk.store.add_orders([order])
            for serial in serials[:-1]:
                begun = desk.store.begin(replace(run.head, serial=serial))
                for sweep in run.sweeps:
                    desk.store.keep_sweep(begun.run_id, sweep)
                verdict = run.verdict if serial != serials[1] else _spoilt(run.verdict)
                desk.store.finish(begun.run_id, run.readings, verdict, run.finished)
    return works


def _spoilt(verdict: Verdict) -> Verdict:
    first, *rest = verdict.decisions
    return Verdict((replace(first, outcome=Outcome.FAIL), *rest))


def certify(works: Works, number: str) -> tuple[list[Issued], dict[str, str]]:
    with at_desk(works) as desk:
        found, made = desk.certify_order(number, lambda: key_of(desk))
        return list(made), dict(found.others)


@pytest.mark.parametrize("processes", [1, 2])
def test_every_unit_that_passed_gets_its_certificate_whoever_draws_it(
    processes: int, measured: Works
) -> None:
    """The same bytes up to the signature, in the order of the units."""
    with at_desk(measured) as desk:
        found = standing_of(desk.store, LARGE)
        issued = list(issue_many(measured, desk.store, found.good, NOW, key_of(desk), processes))
    others = dict(found.others)
    serials = [f"SKV-{100 + place:04}" for place in range(8)]
    assert [each.entry.number for each in issued] == [f"{s}-1" for s in serials if s not in others]
    assert others == {serials[1]: "failed", serials[-1]: "not tested"}
    with at_desk(measured) as desk:
        for each in (issued[0], issued[-1]):
            run = desk.store.run(each.entry.run_id)
            unsigned = certificate(source_of(measured, desk.store, run).record, NOW)
            pdf = each.path.read_bytes()
            assert pdf.startswith(unsigned)
            assert hashlib.sha256(pdf).hexdigest() == each.entry.sha256


def test_what_was_made_before_is_only_found(measured: Works) -> None:
    with at_desk(measured) as desk:
        desk.certify("SKV-0102", None, lambda: key_of(desk))
    first, _ = certify(measured, LARGE)
    assert [each.entry.number for each in first if not each.is_new] == ["SKV-0102-1"]
    again, _ = certify(measured, LARGE)
    assert not any(each.is_new for each in again)
    assert [each.entry for each in again] == [each.entry for each in first]


def test_one_that_was_altered_stops_it_and_what_was_made_stays(measured: Works) -> None:
    issued, _ = certify(measured, SMALL)
    issued[0].path.write_bytes(b"%PDF-1.7\n")
    with pytest.raises(StoreFault, match="missing or altered"):
        certify(measured, SMALL)


@pytest.fixture
def packed(measured: Works, tmp_path: Path) -> Path:
    certify(measured, SMALL)
    with at_desk(measured) as desk:
        desk.pack(SMALL, tmp_path / "pack.zip", lambda: key_of(desk))
    return tmp_path / "pack.zip"


def contents(path: Path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def test_a_pack_holds_each_certificate_and_what_is_attached_to_it(packed: Path, measured: Works) -> None:
    files = contents(packed)
    assert sorted(files) == sorted(
        [
            LIST,
            SIGNATURE,
            "certificates/SKV-0200-1.pdf",
            "cover.txt",
            "data/SKV-0200-1.json",
            "summary.csv",
            "touchstone/SKV-0200-1.s3p",
        ]
    )
    pdf = (measured.certificates / "SKV-0200-1.pdf").read_bytes()
    twin = twin_in(pdf)
    assert files["certificates/SKV-0200-1.pdf"] == pdf
    assert files["data/SKV-0200-1.json"] == twin.data
    assert files["touchstone/SKV-0200-1.s3p"] == twin.network.encode()
    cover = files["cover.txt"].decode()
    for wanted in (
        "Far Skerries",
        "SKV-0200-1, issued on 1 December 2026",
        "SKV-0201, failed",
        "SKV-0202, not tested",
    ):
        assert wanted in cover


def test_its_table_holds_every_reading_as_the_certificate_has_it(packed: Path) -> None:
    files = contents(packed)
    rows = list(csv.DictReader(io.StringIO(files["summary.csv"].decode(), newline="")))
    said = json.loads(files["data/SKV-0200-1.json"])["characteristics"]
    assert [row["characteristic"] for row in rows] == [each["name"] for each in said]
    assert [float(row["value"]) for row in rows] == [each["value"] for each in said]
    assert [row["limit"] for row in rows] == [
        each["decision"]["limit"] if each["decision"] else "" for each in said
    ]


def test_its_list_is_signed_and_covers_every_file(
    packed: Path, measured: Works, need: Callable[[str], str], tmp_path: Path
) -> None:
    folder = tmp_path / "unpacked"
    with zipfile.ZipFile(packed) as archive:
        archive.extractall(folder)
    check = ["sha256sum", "--check", "--strict", LIST]
    assert subprocess.run(check, cwd=folder, capture_output=True).returncode == 0
    listed = {line.split("  ")[1] for line in (folder / LIST).read_text().splitlines()}
    assert listed == set(contents(packed)) - {LIST, SIGNATURE}
    words = ["cms", "-verify", "-binary", "-inform", "DER", "-in", SIGNATURE, "-content", LIST]
    trust = ["-CAfile", measured.key.with_suffix(".pem"), "-out", tmp_path / "signed", "-purpose", "any"]
    done = subprocess.run([need("openssl"), *words, *trust], cwd=folder, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    (folder / LIST).write_text((folder / LIST).read_text().replace("summary", "zummary"))
    done = subprocess.run([need("openssl"), *words, *trust], cwd=folder, capture_output=True, text=True)
    assert done.returncode != 0


def test_the_same_records_at_the_same_moment_give_the_same_pack_but_for_the_signature(
    packed: Path, measured: Works, tmp_path: Path
) -> None:
    with at_desk(measured) as desk:
        desk.pack(SMALL, tmp_path / "again.zip", lambda: key_of(desk))
    one, other = contents(packed), contents(tmp_path / "again.zip")
    assert {**one, SIGNATURE: b""} == {**other, SIGNATURE: b""}
    assert list(one) == list(other)
    for path in (packed, tmp_path / "again.zip"):
        with zipfile.ZipFile(path) as archive:
            assert {each.date_time for each in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


@pytest.mark.parametrize(
    ("number", "said"),
    [
        ("SKO-99", "there is no order SKO-99; `station orders` lists them"),
        ("SKO-2", "no unit of order SKO-2 has passed yet"),
        (SMALL, "1 unit of order SKO-71 passed and has no certificate yet, SKV-0200 first; make them with"),
    ],
)
def test_a_pack_that_cannot_be_made_says_why(number: str, said: str, measured: Works, tmp_path: Path) -> None:
    with at_desk(measured) as desk, pytest.raises(UserMistake, match=said):
        desk.pack(number, tmp_path / "pack.zip", lambda: key_of(desk))
    assert not (tmp_path / "pack.zip").exists()


def test_the_command_line_makes_certificates_and_pack(measured: Works, station: Callable[..., Any]) -> None:
    made = station("certify-order", SMALL, "--works", measured.folder)
    assert (made.code, made.out.splitlines()[0]) == (0, "1 certificate made, 0 there already.")
    assert "Without a certificate: SKV-0201, failed" in made.out
    told = station("pack", SMALL, "--to", "pack.zip", "--works", measured.folder, "--json")
    assert json.loads(told.out)["certificates"] == 1
    assert station("pack", "SKO-99", "--to", "pack.zip", "--works", measured.folder).code == 2
