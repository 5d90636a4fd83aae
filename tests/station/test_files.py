"""Files are written whole or not at all, and never readable by others when private, not even for a moment."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from pathlib import Path

import pytest

from station.errors import StoreFault
from station.files import write_whole

OLD, NEW = b"old" * 1000, b"new" * 100_000


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def mode(path: Path) -> int:
    return path.stat().st_mode & 0o777


def like_anybody() -> None:
    """In a child: take from root the right to write where permissions forbid it."""
    drop_from_bounding_set = 24
    for dac_override_or_read_search in (1, 2):
        ctypes.CDLL(None).prctl(drop_from_bounding_set, dac_override_or_read_search, 0, 0, 0)


def told(body: str, path: Path) -> str:
    """What a program of its own says last when it writes new bytes to a path as anybody."""
    text = f"import resource, sys\nfrom pathlib import Path\nfrom station.files import write_whole\n{body}"
    child = subprocess.run(
        [sys.executable, "-c", text + f"\nwrite_whole(Path(sys.argv[1]), b'new' * {len(NEW) // 3})", path],
        capture_output=True, text=True, check=False, timeout=60, preexec_fn=like_anybody,
    )  # fmt: skip
    return (child.stderr.splitlines() or ["nothing"])[-1].removeprefix("station.errors.StoreFault: ")


def test_what_is_written_is_there_alone_even_in_a_folder_that_was_not_there(tmp_path):
    write_whole(tmp_path / "a" / "b" / "file.pdf", NEW)
    assert (tmp_path / "a" / "b" / "file.pdf").read_bytes() == NEW
    assert names(tmp_path / "a" / "b") == ["file.pdf"]


@pytest.mark.parametrize(("private", "allowed"), [(True, 0o600), (False, 0o644)])
@pytest.mark.parametrize("before", [None, 0o666, 0o400])
def test_who_may_read_it_does_not_depend_on_what_was_there(tmp_path, private, allowed, before):
    path = tmp_path / "file"
    if before is not None:
        path.write_bytes(OLD)
        path.chmod(before)
    write_whole(path, NEW, private=private)
    assert (path.read_bytes(), mode(path)) == (NEW, allowed)


def test_a_private_file_is_closed_to_others_before_anything_is_in_it(tmp_path, monkeypatch):
    """Looked at when its bytes go to the disk, which is before it has its name."""
    seen = []
    sound = os.fsync

    def look(handle: int) -> None:
        status = os.fstat(handle)
        seen.append((status.st_mode & 0o777, status.st_size))
        sound(handle)

    monkeypatch.setattr(os, "fsync", look)
    old = os.umask(0)
    try:
        write_whole(tmp_path / "key", b"secret", private=True)
    finally:
        os.umask(old)
    assert seen[0] == (0o600, 6)


def test_who_has_the_old_file_open_goes_on_reading_the_old_one(tmp_path):
    """It is another file that takes the name, in one step; the old one is not written over."""
    path = tmp_path / "file"
    path.write_bytes(OLD)
    with path.open("rb") as reader:
        first = reader.read(3)
        write_whole(path, NEW)
        assert first + reader.read() == OLD
    assert path.read_bytes() == NEW


def test_the_name_is_on_the_disk_as_well_when_it_is_done(tmp_path, monkeypatch):
    """The file's bytes first, then its name, which is kept in the folder."""
    order = []
    sound_sync, sound_replace = os.fsync, Path.replace
    monkeypatch.setattr(
        os,
        "fsync",
        lambda handle: (order.append(str(Path(f"/proc/self/fd/{handle}").readlink())), sound_sync(handle))[1],
    )
    monkeypatch.setattr(Path, "replace", lambda self, to: (order.append("named"), sound_replace(self, to))[1])
    write_whole(tmp_path / "file", NEW)
    assert [order[1], order[2]] == ["named", str(tmp_path)]
    assert order[0].startswith(f"{tmp_path}/.")
    assert len(order) == 3


def test_a_disk_that_fills_leaves_the_old_file_and_nothing_else(tmp_path):
    """A limit on the size of files stands in for the disk."""
    path = tmp_path / "file"
    path.write_bytes(OLD)
    fault = told("resource.setrlimit(resource.RLIMIT_FSIZE, (5000, 5000))", path)
    assert fault.startswith(f"{path} cannot be written: ")
    assert (path.read_bytes(), names(tmp_path)) == (OLD, ["file"])


def test_a_place_that_may_not_be_written_is_told_as_such(tmp_path):
    (tmp_path / "closed").mkdir()
    (tmp_path / "closed" / "file").write_bytes(OLD)
    (tmp_path / "closed").chmod(0o555)
    fault = told("", tmp_path / "closed" / "file")
    (tmp_path / "closed").chmod(0o755)
    what = f"{tmp_path}/closed/file cannot be written: {tmp_path}/closed may not be written"
    assert fault == f"{what}; change its permissions or choose another place"
    assert (tmp_path / "closed" / "file").read_bytes() == OLD


def test_a_folder_or_a_file_in_the_way_is_named_and_stays(tmp_path):
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").touch()
    with pytest.raises(StoreFault, match=f"^{tmp_path}/folder cannot be written: Is a directory"):
        write_whole(tmp_path / "folder", NEW)
    with pytest.raises(StoreFault, match=f"^{tmp_path}/file/deeper cannot be written: "):
        write_whole(tmp_path / "file" / "deeper", NEW)
    assert names(tmp_path) == ["file", "folder"]


def test_a_name_may_be_as_long_as_the_disk_allows(tmp_path):
    write_whole(tmp_path / ("n" * 255), NEW)
    assert names(tmp_path) == ["n" * 255]


def test_a_name_that_is_none_is_told(tmp_path):
    with pytest.raises(StoreFault, match="cannot be written"):
        write_whole(tmp_path / "a\0b", NEW)


def test_a_stop_in_the_middle_leaves_nothing_beside_the_old_file(tmp_path, monkeypatch):
    (tmp_path / "file").write_bytes(OLD)

    def stopped(_handle: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_whole(tmp_path / "file", NEW)
    assert ((tmp_path / "file").read_bytes(), names(tmp_path)) == (OLD, ["file"])
