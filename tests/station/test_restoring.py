"""A works put back: all of it as it was, into an empty place, or not at all and one clear word why."""

from __future__ import annotations

import random
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from station import settings
from station.backup import back_up
from station.database.store import Store
from station.desk import open_desk
from station.errors import StoreFault, UserMistake
from station.restoring import Restored, restore
from station.settings import Works

NOW = datetime(2026, 11, 25, 16, 0, tzinfo=UTC)
CHILD = """
import resource, sys
from pathlib import Path
from station.restoring import Restored, restore
from station.errors import StationError
resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))
try:
    restore(Path(sys.argv[1]), Path(sys.argv[2]))
except StationError as error:
    print(error)
"""


@pytest.fixture(params=["backup", "backup.zip"])
def backup(request: pytest.FixtureRequest, small_works: Works, tmp_path: Path) -> Path:
    """A backup of the small works, as a folder and as one file."""
    with Store.open(small_works.database) as store:
        back_up(small_works, store, tmp_path / request.param, NOW)
    return tmp_path / request.param


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def dump(file: Path) -> list[str]:
    """Every row as SQL; not the tables, in whose text the order of constraints means nothing."""
    with closing(sqlite3.connect(file)) as connection:
        return sorted(line for line in connection.iterdump() if line.startswith("INSERT"))


def flip(path: Path, at: int) -> None:
    data = bytearray(path.read_bytes())
    data[at] ^= 1 << (at % 8)
    path.write_bytes(data)


def test_the_works_is_as_it_was(backup, small_works, tmp_path):
    restored = restore(backup, tmp_path / "new")
    assert dump(tmp_path / "new" / "records.sqlite") == dump(small_works.folder / "records.sqlite")
    for name in ("works.yaml", "bench.yaml", "tx.s1p", "recipes/SK-V4.yaml", "certificates/SKV-0101-1.pdf"):
        assert (tmp_path / "new" / name).read_bytes() == (small_works.folder / name).read_bytes()
    assert restored.rows["run"] == 3
    assert (restored.certificates, restored.other_certificates) == (3, ())
    assert restored.manifest.left_out == ("keys/passphrase", "keys/signing.p12")


def test_the_station_works_on_in_it(backup, tmp_path, fill):
    restore(backup, tmp_path / "new")
    with open_desk(tmp_path / "new") as desk:
        assert [each.passed for each in desk.orders()] == [2, 1]
        assert len(desk.stored_run("SKV-0201").sweeps) == 3
    with closing(sqlite3.connect(tmp_path / "new" / "records.sqlite")) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    assert (tmp_path / "new" / "keys").stat().st_mode & 0o777 == 0o700


def test_without_a_place_it_is_only_proved(backup, tmp_path):
    before = names(tmp_path)
    assert restore(backup, None).certificates == 3
    assert names(tmp_path) == before


def test_nothing_is_ever_replaced(backup, small_works, tmp_path):
    before = dump(small_works.folder / "records.sqlite")
    with pytest.raises(UserMistake, match="is not empty"):
        restore(backup, small_works.folder)
    assert dump(small_works.folder / "records.sqlite") == before


def test_records_at_another_place_are_not_replaced_either(small_works, tmp_path):
    file = small_works.folder / settings.FILE
    elsewhere = tmp_path / "disk" / "records.sqlite"
    elsewhere.parent.mkdir()
    shutil.copy(small_works.folder / "records.sqlite", elsewhere)
    file.write_text(file.read_text().replace("sqlite:///records.sqlite", f"sqlite:///{elsewhere}"))
    works = settings.load(small_works.folder)
    with Store.open(works.database) as store:
        back_up(works, store, tmp_path / "backup", NOW)
    before = dump(elsewhere)
    with pytest.raises(UserMistake, match=r"there are records at .* already"):
        restore(tmp_path / "backup", tmp_path / "new")
    assert (dump(elsewhere), (tmp_path / "new").exists()) == (before, False)
    elsewhere.unlink()
    restore(tmp_path / "backup", tmp_path / "new")
    assert dump(elsewhere) == before


def test_the_records_move_to_the_other_engine_and_back(small_works, backup, tmp_path, postgresql_url):
    restore(backup, tmp_path / "on server", postgresql_url)
    works = settings.load(tmp_path / "on server")
    assert works.database == postgresql_url
    assert "# The works: who it is" in (tmp_path / "on server" / settings.FILE).read_text()
    with Store.open(works.database) as store:
        back_up(works, store, tmp_path / "second", NOW)
    restore(tmp_path / "second", tmp_path / "back", "sqlite:///records.sqlite")
    assert dump(tmp_path / "back" / "records.sqlite") == dump(small_works.folder / "records.sqlite")


def test_a_server_that_holds_records_is_left_as_it_is(backup, tmp_path, postgresql_url):
    restore(backup, tmp_path / "first", postgresql_url)
    with pytest.raises(UserMistake, match="holds records already"):
        restore(backup, tmp_path / "second", postgresql_url)
    assert not (tmp_path / "second").exists()
    with open_desk(tmp_path / "first") as desk:
        assert len(desk.orders()) == 2


@pytest.mark.parametrize("url", ["mysql://u:s3cret@h/d", "nonsense"])
def test_a_url_of_no_database_is_refused_before_anything_is_done(backup, tmp_path, url):
    with pytest.raises(UserMistake, match="database"):
        restore(backup, tmp_path / "new", url)
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize("content", [None, b"", b"%PDF-1.7", b"PK\x03\x04 no more"])
def test_what_is_no_backup_is_told_from_one(tmp_path, content):
    if content is not None:
        (tmp_path / "thing").write_bytes(content)
    with pytest.raises(UserMistake, match=r"there is no backup|is no backup, or one that was cut off"):
        restore(tmp_path / "thing", tmp_path / "new")
    assert not (tmp_path / "new").exists()


def test_one_that_was_cut_off_is_refused(backup, tmp_path):
    if backup.is_dir():
        backup.joinpath("manifest.json").unlink()
    else:
        backup.write_bytes(backup.read_bytes()[:-3000])
    with pytest.raises(UserMistake, match="cut off"):
        restore(backup, tmp_path / "new")
    assert not (tmp_path / "new").exists()


def a_file_is_missing(folder: Path) -> None:
    (folder / "works" / "bench.yaml").unlink()


def a_file_is_cut_off(folder: Path) -> None:
    file = folder / "records.sqlite"
    file.write_bytes(file.read_bytes()[:5000])


def a_file_is_another_one(folder: Path) -> None:
    (folder / "works" / "bench.yaml").write_text("bench: other\n")


def the_manifest_is_cut_off(folder: Path) -> None:
    file = folder / "manifest.json"
    file.write_text(file.read_text()[:-20])


def the_manifest_tells_another_day(folder: Path) -> None:
    file = folder / "manifest.json"
    file.write_text(file.read_text().replace("2026-11-25", "2026-11-24"))


def the_manifest_is_of_a_later_form(folder: Path) -> None:
    file = folder / "manifest.json"
    file.write_text(file.read_text().replace('"form": 1', '"form": 2'))


@pytest.mark.parametrize(
    ("damage", "said"),
    [
        (a_file_is_missing, r"works/bench\.yaml is missing"),
        (a_file_is_cut_off, r"records\.sqlite is cut off: 5000 of \d+ bytes"),
        (a_file_is_another_one, r"works/bench\.yaml (is cut off|was changed)"),
        (the_manifest_is_cut_off, r"manifest\.json is cut off or was changed"),
        (the_manifest_tells_another_day, r"manifest\.json was changed since it was written"),
        (the_manifest_is_of_a_later_form, r"manifest\.json is of form 2, .*update this station"),
    ],
)
@pytest.mark.parametrize("backup", ["backup"], indirect=True)
def test_damage_is_told_and_nothing_restored(
    backup: Path, tmp_path: Path, damage: Callable[[Path], None], said: str
) -> None:
    damage(backup)
    with pytest.raises(StoreFault, match=f"^backup .* is damaged: {said}"):
        restore(backup, tmp_path / "new")
    assert names(tmp_path) == ["backup", "works"]


@pytest.mark.parametrize("backup", ["backup"], indirect=True)
def test_one_flipped_bit_anywhere_is_found(backup, tmp_path):
    rng = random.Random(7)
    paths = sorted(path for path in backup.rglob("*") if path.is_file())
    for path in [*paths, *rng.choices(paths, k=40)]:
        whole = path.read_bytes()
        flip(path, rng.randrange(len(whole)))
        with pytest.raises(StoreFault, match=f"{path.name} "):
            restore(backup, None)
        path.write_bytes(whole)
    assert restore(backup, None).certificates == 3


@pytest.mark.parametrize("backup", ["backup.zip"], indirect=True)
def test_a_flipped_bit_in_a_packed_one_is_found_or_does_no_harm(backup, tmp_path):
    """Some bytes of an archive say nothing of its content, such as the times of its files."""
    rng = random.Random(8)
    whole, sound = backup.read_bytes(), restore(backup, None)
    tail = range(len(whole) - 3000, len(whole))
    found = 0
    for at in [*rng.sample(range(len(whole)), 60), *rng.sample(tail, 60)]:
        flip(backup, at)
        try:
            assert restore(backup, None) == sound
        except (StoreFault, UserMistake):
            found += 1
        backup.write_bytes(whole)
    assert found > 60


def test_a_manifest_that_leads_out_of_the_folder_is_refused(small_works, tmp_path):
    from station.manifest import Kept, Manifest

    (tmp_path / "backup").mkdir()
    outside = Manifest("Skerry Works", NOW.isoformat(), "0002", (Kept("works/../../x", 1, "0"),), ())
    (tmp_path / "backup" / "manifest.json").write_text(outside.text())
    with pytest.raises(StoreFault, match="cannot be a file of a backup"):
        restore(tmp_path / "backup", tmp_path / "new")


def test_where_there_is_no_room_nothing_is_left(backup, tmp_path):
    before = names(tmp_path)
    command = [sys.executable, "-c", CHILD, str(backup), str(tmp_path / "new")]
    out = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout
    assert len(out.splitlines()) == 1
    assert any(words in out for words in ("too large", "full", "no room"))
    assert names(tmp_path) == before


def test_the_ledger_is_looked_through_and_tells_what_was_changed_before_the_backup(small_works, tmp_path):
    def proved(name: str) -> Restored:
        with Store.open(small_works.database) as store:
            back_up(small_works, store, tmp_path / name, NOW)
        return restore(tmp_path / name, tmp_path / f"from {name}")

    sound = proved("sound")
    assert (sound.findings, sound.finding_count) == ((), 0)
    assert sound.ledger.lines == sound.rows["ledger_entry"] >= 8
    with closing(sqlite3.connect(small_works.folder / "records.sqlite")) as careless, careless:
        careless.execute("UPDATE reading SET value = 1.0 WHERE run_id = 2")
    changed = proved("changed")
    assert changed.finding_count == 1
    assert "SKV-0102 run 1" in changed.findings[0]


def test_certificates_that_are_not_as_issued_are_named(small_works, tmp_path):
    (small_works.certificates / "SKV-0101-1.pdf").unlink()
    (small_works.certificates / "SKV-0102-1.pdf").write_bytes(b"%PDF of another")
    with Store.open(small_works.database) as store:
        back_up(small_works, store, tmp_path / "backup", NOW)
    assert restore(tmp_path / "backup", None).other_certificates == ("SKV-0101-1", "SKV-0102-1")
