"""A works where nothing may be written, such as a backup: everything can be read, nothing is left behind."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from urllib.parse import quote

import pytest

from station.database.schema import HEAD
from station.database.store import Store

READ = """
try:
    with Store.open(url) as store:
        print(len(store.orders()), [line.run_number for line in store.runs("SKV-0101")])
except StoreFault as fault:
    print(fault)
"""

READ_TWICE = """
with Store.open(url) as store:
    for _ in range(2):
        print([line.run_number for line in store.runs("SKV-0101")], flush=True)
        sys.stdin.readline()
"""

WRITE = """
try:
    with Store.open(url, wait_s=0.1) as store:
        store.begin(make.head())
        print("stored")
except StoreFault as fault:
    print(fault)
"""

OF_A_NEWER_FORM = "from station.database import opening; opening.HEAD = '9999'"

SEEN = "1 [1]\n"


def url_of(folder: Path) -> str:
    return f"sqlite:///{quote(str(folder))}/records.sqlite"


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.fixture
def folder(tmp_path: Path, make) -> Path:
    """A folder whose name a URI would take for more than a name, with a database that was closed well."""
    folder = tmp_path / "back up? #1 50%25"
    folder.mkdir()
    with Store.open(url_of(folder), create=True) as store:
        store.add_orders([make.order()])
        store.begin(make.head())
    assert names(folder) == ["records.sqlite"]
    return folder


@pytest.fixture
def close() -> Iterator[Callable[[Path, int], None]]:
    """Take away the right to write, until the test is over."""
    closed: list[tuple[Path, int]] = []

    def take(path: Path, mode: int) -> None:
        closed.append((path, path.stat().st_mode))
        path.chmod(mode)

    yield take
    for path, mode in reversed(closed):
        path.chmod(mode)


@pytest.fixture(params=["file", "folder", "both"])
def closed(folder: Path, close, request) -> Path:
    """The same, where the file, its folder or both may not be written."""
    if request.param != "folder":
        close(folder / "records.sqlite", 0o444)
    if request.param != "file":
        close(folder, 0o555)
    return folder


def test_what_may_not_be_written_can_be_read_and_is_left_as_it_was(closed, said):
    before = (closed / "records.sqlite").read_bytes()
    assert said(READ, url_of(closed)) == SEEN
    assert names(closed) == ["records.sqlite"]
    assert (closed / "records.sqlite").read_bytes() == before


def test_writing_there_says_why_it_cannot_be(closed, said):
    what = "it may not be written; check the permissions of the file and of its folder"
    assert said(WRITE, url_of(closed)).startswith(f"database {closed}/records.sqlite: {what}")


def test_a_link_to_a_place_that_may_not_be_written(closed, said, tmp_path):
    (tmp_path / "link").mkdir()
    (tmp_path / "link" / "records.sqlite").symlink_to(closed / "records.sqlite")
    assert said(READ, url_of(tmp_path / "link")) == SEEN
    assert names(closed) == ["records.sqlite"]


def test_what_another_program_writes_meanwhile_is_read_as_well(folder, close, start, make):
    """Its last records are in the write-ahead log only, which a reader must not overlook."""
    close(folder, 0o555)
    child = start(READ_TWICE, url_of(folder))
    assert child.stdout.readline() == "[1]\n"
    with Store.open(url_of(folder)) as writer:
        writer.begin(make.head())
        assert (folder / "records.sqlite-wal").stat().st_size
        child.stdin.write("\n")
        child.stdin.flush()
        assert child.stdout.readline() == "[1, 2]\n"


def test_what_another_program_has_just_opened_can_be_read(folder, close, said):
    with Store.open(url_of(folder)) as other:
        other.orders()
        assert (folder / "records.sqlite-wal").stat().st_size == 0
        close(folder, 0o555)
        assert said(READ, url_of(folder)) == SEEN


@pytest.fixture
def torn(folder: Path, make) -> Path:
    """A copy made while the database was in use, with a run that is in the write-ahead log only."""
    with Store.open(url_of(folder)) as store:
        store.begin(make.head())
        return Path(shutil.copytree(folder, folder.with_name("copy")))


def test_a_copy_of_a_database_in_use_is_read_to_its_last_record(torn, close, said):
    assert len(names(torn)) == 3
    close(torn, 0o555)
    assert said(READ, url_of(torn)) == "1 [1, 2]\n"


def test_a_copy_that_cannot_be_read_whole_is_not_read_in_part(torn, close, said):
    (torn / "records.sqlite-shm").unlink()
    close(torn, 0o555)
    told = said(READ, url_of(torn))
    assert told.startswith(
        f"database {torn}/records.sqlite: its newest records are still in records.sqlite-wal"
    ), told
    assert "copy both files" in told


@pytest.mark.parametrize("beside", ["-wal", "-shm"])
def test_a_file_that_holds_nothing_beside_it_does_not_matter(folder, close, said, beside):
    (folder / f"records.sqlite{beside}").touch()
    close(folder, 0o555)
    assert said(READ, url_of(folder)) == SEEN


def test_an_older_form_is_not_brought_up_to_date_where_nothing_may_be_written(closed, said):
    told = said(OF_A_NEWER_FORM + READ, url_of(closed))
    assert f"an older station made it (form {HEAD}, this one needs 9999)" in told, told
    assert "open it once where it may be written" in told


def test_a_newer_form_is_told_as_such(folder, close, said):
    with contextlib.closing(sqlite3.connect(folder / "records.sqlite")) as other, other:
        other.execute("UPDATE alembic_version SET version_num = '0999'")
    close(folder / "records.sqlite", 0o444)
    assert "a newer station made it (form 0999" in said(READ, url_of(folder))


def test_an_empty_file_that_may_not_be_written_is_no_database(tmp_path, close, said):
    (tmp_path / "records.sqlite").touch()
    close(tmp_path / "records.sqlite", 0o444)
    assert "it is empty" in said(READ, url_of(tmp_path))
