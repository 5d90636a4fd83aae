"""A backup of a works: its records as they stood at one moment, and its own files, while the station works on.

The manifest comes last, and the backup gets its name in the end: what has its name is whole.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from station import manifest as manifests
from station.database.copying import url_of
from station.database.schema import HEAD
from station.database.store import Store
from station.files import write_whole
from station.manifest import RECORDS, WORKS, Kept, Manifest
from station.placing import new_place
from station.settings import Works
from station.workfiles import work_files


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
    with new_place(target, works.folder, "backup", last=manifests.FILE, private=with_keys) as built:
        (built / WORKS).mkdir()
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
    return Backup(target, manifest, rows, hashlib.sha256(told).hexdigest(), keys)


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
