"""Backup, restore and export as a user types them: what is printed, what a program reads, how they end."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from station.database.entries import DocumentKind, RunHead, RunState, StoredText
from station.database.store import Store
from station.orders import Serial
from station.settings import Works


@pytest.fixture
def run_in(works: Works) -> Callable[[datetime], None]:
    """Enters a run that began at some time."""

    def enter(began: datetime) -> None:
        text = StoredText.of(DocumentKind.RECIPE, "SK-V4", "A", b"")
        head = RunHead(Serial("SKV-0001"), "Signe", "final test 1", began, text, text, text, None, ())
        with Store.open(works.database) as store:
            store.break_off(store.begin(head).run_id, RunState.STOPPED, "", began)

    return enter


def test_a_backup_is_made_proved_and_restored(works: Works, station, tmp_path: Path) -> None:
    made = station("backup", "--to", tmp_path / "safe", "--works", works.folder)
    assert made.code == 0
    assert "3 orders" in made.out
    assert "Not in it, to be kept apart: keys/passphrase, keys/signing.p12." in made.out

    proved = station("restore", tmp_path / "safe")
    assert proved.code == 0
    assert "Nothing was restored" in proved.out
    (digest,) = (line.strip() for line in made.out.splitlines() if len(line.strip()) == 64)
    assert digest in proved.out

    restored = station("restore", tmp_path / "safe", "--to", tmp_path / "new", "--json")
    assert json.loads(restored.out)["rows"]["work_order"] == 3
    assert (
        station("orders", "--works", tmp_path / "new").out == station("orders", "--works", works.folder).out
    )


def test_mistakes_end_with_2_and_damage_with_5(works: Works, station, tmp_path: Path) -> None:
    place = ("--to", tmp_path / "safe", "--works", works.folder)
    assert station("backup", *place).code == 0
    for words, code, said in (
        (("backup", *place), 2, "exists already"),
        (("restore", tmp_path / "nothing", "--to", tmp_path / "new"), 2, "there is no backup"),
        (("restore", tmp_path / "safe", "--to", works.folder), 2, "is not empty"),
        (("restore", tmp_path / "safe", "--database", "sqlite:///x.sqlite"), 2, "give --to DIR too"),
    ):
        told = station(*words)
        assert (told.code, said in told.err, told.err.count("\n")) == (code, True, 1)
    with (tmp_path / "safe" / "works" / "bench.yaml").open("ab") as stream:
        stream.write(b"#")
    told = station("restore", tmp_path / "safe", "--to", tmp_path / "new")
    assert (told.code, "was changed since the backup was made" in told.err) == (5, True)
    assert not (tmp_path / "new").exists()


def test_records_are_given_away_in_open_forms(works: Works, station, tmp_path: Path) -> None:
    done = station("export", "--to", tmp_path / "out", "--works", works.folder, "--order", "SKO-1")
    assert (done.code, "1 order, 4 units, 0 runs" in done.out) == (0, True)
    assert (tmp_path / "out" / "tables" / "unit.csv").read_bytes().count(b"SKV-") == 8
    assert (tmp_path / "out" / "dictionary.md").exists()

    for words, said in (
        (("--order", "SKO-9"), "there is no work order SKO-9"),
        (("--form", "csw"), "did you mean 'csv'?"),
    ):
        told = station("export", "--to", tmp_path / "more", "--works", works.folder, *words)
        assert (told.code, said in told.err, told.err.count("\n")) == (2, True, 1)
    assert not (tmp_path / "more").exists()


def test_runs_that_are_older_than_records_are_kept_are_told_and_stay(
    works: Works, station, tmp_path: Path, run_in
) -> None:
    run_in(datetime(2010, 5, 1, tzinfo=UTC))
    settings = works.folder / "works.yaml"
    for term, said in (
        ("", False),
        ("keep_records: for ever\n", False),
        ("keep_records: 60 years\n", False),
        ("keep_records: 10 years\n", True),
    ):
        text = settings.read_text().partition("keep_records")[0]
        settings.write_text(text + term)
        made = station("backup", "--to", tmp_path / f"safe {term.strip()[13:]}", "--works", works.folder)
        assert made.code == 0
        told = "1 run is older than the 10 years for which works.yaml keeps records; it stays" in made.out
        assert told is said
    again = station("export", "--to", tmp_path / "out", "--works", works.folder, "--json")
    assert (json.loads(again.out)["older_runs"], json.loads(again.out)["rows"]["run"]) == (1, 1)
