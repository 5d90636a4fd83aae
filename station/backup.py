"""A backup of a works: its records as they stood at one moment, and its own files, while the station works on.

It is built under another name beside its place, the manifest last, and renamed in the end: what has its name is
whole. It is a folder, or one file where the name ends with `.zip`.
"""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from station import manifest as manifests
from station.database.copying import url_of
from station.database.schema import HEAD
from station.database.store import Store
from station.errors import StoreFault, UserMistake
from station.files import keep_names, write_whole
from station.manifest import RECORDS, WORKS, Kept, Manifest
from station.settings import Works
from station.workfiles import work_files

PACKED = ".zip"


@dataclass(frozen=True, slots=True)
class Backup:
    """A backup that was made."""

    path: Path
    manifest: Manifest
    rows: dict[str, int]
    """Of each table."""

    sha256: str
    """Of the manifest's bytes. Noted elsewhere, it shows later that this is the very backup."""

    keys: tuple[str, ...]
    """Signing keys that are in it, because somebody asked for that."""


def back_up(works: Works, store: Store, target: Path, now: datetime, *, with_keys: bool = False) -> Backup:
    """Make a backup at `target`, which must not be there yet; signing keys only `with_keys`, a passphrase never.

    Raises UserMistake for a place that cannot be used, StoreFault when it cannot be written; then nothing is there.
    """
    target = target.absolute()
    _refuse_place(works, target)
    with _clear_fault(target), tempfile.TemporaryDirectory(prefix=".backup-", dir=target.parent) as nearby:
        built = Path(nearby) / "backup"
        (built / WORKS).mkdir(parents=True)
        # The records first: every certificate that they name is then among the files.
        store.copy_to(built / RECORDS)
        with Store.open(url_of(built / RECORDS)) as copy:
            rows = copy.counts()
        files = work_files(works, store.file)
        keys = files.keys if with_keys else ()
        names = [RECORDS, *(f"{WORKS}/{name}" for name in sorted({*files.plain, *keys}))]
        for name in names[1:]:
            _copy(works.folder / name.removeprefix(f"{WORKS}/"), built / name)
        manifest = Manifest(
            works=works.name,
            made=now.astimezone(UTC).isoformat(),
            database_form=HEAD,
            files=tuple(_kept(built, name) for name in names),
            left_out=tuple(sorted({*files.keys, *files.passphrases} - {*keys})),
        )
        told = manifest.text().encode()
        write_whole(built / manifests.FILE, told)
        _place(built, target, private=with_keys)
    return Backup(target, manifest, rows, hashlib.sha256(told).hexdigest(), keys)


def _refuse_place(works: Works, target: Path) -> None:
    real = target.resolve()
    if real.is_relative_to(works.folder.resolve()):
        what = f"{target} lies in the works folder, which a backup is there to outlive"
        raise UserMistake(f"{what}; name a place outside, best on another disk")
    if os.path.lexists(target):
        raise UserMistake(f"{target} exists already; a backup never replaces anything, so name a new place")
    if not target.parent.is_dir():
        raise UserMistake(f"there is no folder {target.parent}; make it first")


@contextmanager
def _clear_fault(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        about = f" ({error.filename})" if error.filename else ""
        what = f"the backup {target} cannot be made: {error.strerror or error}{about}"
        raise StoreFault(f"{what}; nothing of it is left, choose another place and try again") from error


def _copy(source: Path, target: Path) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    with source.open("rb") as from_, target.open("xb") as to:
        shutil.copyfileobj(from_, to)
        to.flush()
        os.fsync(to.fileno())
    shutil.copystat(source, target)


def _kept(built: Path, name: str) -> Kept:
    """From what was written, so that a manifest is never of other bytes than the backup's."""
    with (built / name).open("rb") as stream:
        return Kept(name, (built / name).stat().st_size, hashlib.file_digest(stream, "sha256").hexdigest())


def _place(built: Path, target: Path, *, private: bool) -> None:
    """Give it its name, when all of it is on the disk."""
    if target.suffix.lower() == PACKED:
        packed = built.with_suffix(PACKED)
        _pack(built, packed)
        built = packed
    else:
        for folder, _, _ in os.walk(built, topdown=False):
            keep_names(Path(folder))
    if private:
        built.chmod(0o700 if built.is_dir() else 0o600)
    built.rename(target)
    keep_names(target.parent)


def _pack(built: Path, packed: Path) -> None:
    """The manifest comes last here too."""
    names = sorted(path for path in built.rglob("*") if path.is_file())
    names.sort(key=lambda path: path == built / manifests.FILE)
    with packed.open("xb") as stream:
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            for path in names:
                archive.write(path, path.relative_to(built).as_posix())
        stream.flush()
        os.fsync(stream.fileno())
