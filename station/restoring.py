"""A works put back from a backup, into an empty place only; and what that proves.

Everything is built and proved beside the place first. Without a place the backup is only proved.
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import struct
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import IO

from station import manifest as manifests
from station import settings
from station.database import copying
from station.database.address import database_url, file_of
from station.database.audit import Tally
from station.database.store import Store
from station.errors import StoreFault, UserMistake
from station.keyring import own_certificates
from station.ledgers import look_through
from station.manifest import RECORDS, WORKS, Kept, Manifest

_CHUNK = 1 << 20
_DATABASE_LINE = re.compile(r"^database:.*$", re.MULTILINE)
_BUILDING = f".{RECORDS}"
_SHOWN = 20
_DAMAGES = (
    OSError, EOFError, KeyError, ValueError, NotImplementedError, RuntimeError,
    zipfile.BadZipFile, zlib.error, struct.error,
)  # fmt: skip
"""What reading a damaged file or archive raises."""

Source = Callable[[str], IO[bytes]]
"""Opens a file of a backup by its name."""


@dataclass(frozen=True, slots=True)
class Restored:
    """What was put back, and what was proved of it."""

    manifest: Manifest
    sha256: str
    """Of the manifest's bytes, as told when the backup was made."""

    rows: dict[str, int]
    """Of each table."""

    certificates: int
    """So many files are, to the byte, what the records say was issued."""

    other_certificates: tuple[str, ...]
    """Those that the records name, but whose file is missing or another one."""

    ledger: Tally
    """What was looked at in the ledger."""

    findings: tuple[str, ...]
    """What the ledger says was changed, each in a sentence; the first ones of them."""

    finding_count: int


def restore(backup: Path, folder: Path | None, database: str | None = None) -> Restored:
    """Prove a backup and make the works `folder` of it; `database` is the URL of another home for its records.

    Raises UserMistake when `backup` is none, or `folder` or the database holds anything; StoreFault when the backup
    is damaged. Nothing is left behind then.
    """
    if database is not None:
        database_url(database)
    with _opened(backup) as source:
        manifest, sha256 = _manifest(backup, source)
        with settings.building(folder) if folder else _nowhere() as built:
            settings.make_folders(built)
            records = built / _BUILDING
            for kept in manifest.files:
                target = records if kept.name == RECORDS else built / kept.name.removeprefix(f"{WORKS}/")
                _take(backup, source, kept, target)
            restored = _proved(backup, manifest, sha256, records, built)
            if folder is not None:
                if database is not None:
                    _name_database(built / settings.FILE, database)
                _place_records(built, records)
                _close_keys(built)
    return restored


@contextmanager
def _nowhere() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="backup-") as folder:
        yield Path(folder) / "works"


@contextmanager
def _opened(backup: Path) -> Iterator[Source]:
    if backup.is_dir():
        yield lambda name: (backup / name).open("rb")
        return
    if not backup.exists():
        raise UserMistake(f"there is no backup {backup}")
    try:
        archive = zipfile.ZipFile(backup)
    except _DAMAGES as error:
        raise UserMistake(
            f"{backup} is no backup, or one that was cut off ({error}); take another one"
        ) from error
    with archive:
        yield archive.open


def _manifest(backup: Path, source: Source) -> tuple[Manifest, str]:
    try:
        with source(manifests.FILE) as stream:
            data = stream.read()
    except (FileNotFoundError, KeyError) as error:
        what = f"{backup} is no backup, or one that was cut off: there is no {manifests.FILE} in it"
        raise UserMistake(f"{what}; take another one") from error
    except _DAMAGES as error:
        raise _damaged(backup, manifests.FILE, f"cannot be read ({error})") from error
    try:
        return manifests.read(data), hashlib.sha256(data).hexdigest()
    except ValueError as error:
        raise _damaged(backup, manifests.FILE, str(error)) from error


def _take(backup: Path, source: Source, kept: Kept, target: Path) -> None:
    """Copy one file of the backup, if it is what the manifest says."""
    target.parent.mkdir(parents=True, exist_ok=True)
    digest, size = hashlib.sha256(), 0
    with target.open("xb") as to:
        for chunk in _chunks(backup, source, kept.name):
            digest.update(chunk)
            size += len(chunk)
            to.write(chunk)
    if size < kept.size:
        raise _damaged(backup, kept.name, f"is cut off: {size} of {kept.size} bytes")
    if (size, digest.hexdigest()) != (kept.size, kept.sha256):
        raise _damaged(backup, kept.name, "was changed since the backup was made")


def _chunks(backup: Path, source: Source, name: str) -> Iterator[bytes]:
    """Reading apart from writing, so that a full disk here is not taken for damage there."""
    try:
        with source(name) as stream:
            while chunk := stream.read(_CHUNK):
                yield chunk
    except (FileNotFoundError, KeyError) as error:
        raise _damaged(backup, name, "is missing") from error
    except _DAMAGES as error:
        raise _damaged(backup, name, f"cannot be read ({error})") from error


def _damaged(backup: Path, name: str, what: str) -> StoreFault:
    return StoreFault(f"backup {backup} is damaged: {name} {what}; take another backup, nothing was restored")


def _proved(backup: Path, manifest: Manifest, sha256: str, records: Path, built: Path) -> Restored:
    if what := copying.unsound(records):
        raise _damaged(backup, RECORDS, f"was not sound when it was copied ({what})")
    with Store.open(copying.url_of(records)) as store:
        entries = store.all_certificates()
        missing = tuple(
            entry.number for entry in entries if not _is_as_issued(built / entry.file, entry.sha256)
        )
        look = look_through(store, own_certificates(settings.load(built)))
        shown = tuple(finding.sentence for finding in islice(look.findings, _SHOWN))
        return Restored(
            manifest=manifest,
            sha256=sha256,
            rows=store.counts(),
            certificates=len(entries) - len(missing),
            other_certificates=missing,
            ledger=look.tally,
            findings=shown,
            finding_count=len(shown) + sum(1 for _ in look.findings),
        )


def _is_as_issued(file: Path, sha256: str) -> bool:
    if not file.is_file():
        return False
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest() == sha256


def _name_database(file: Path, url: str) -> None:
    """Write another home of the records into the settings, and leave every other line as it was."""
    line = f"database: {json.dumps(url)}"
    text, found = _DATABASE_LINE.subn(lambda _: line, file.read_text(encoding="utf-8"))
    file.write_text(text if found else f"{text.rstrip()}\n{line}\n", encoding="utf-8")


def _place_records(built: Path, records: Path) -> None:
    """Put the records where the settings say: a file, or a server's database that holds none."""
    url = settings.load(built).database
    file = file_of(database_url(url))
    if file is None:
        with Store.open(url, create=True) as there, Store.open(copying.url_of(records)) as here:
            there.fill_from(here)
        records.unlink()
        return
    if file.exists():
        raise UserMistake(f"there are records at {file} already; name another place with --database URL")
    file.parent.mkdir(parents=True, exist_ok=True)
    copying.ready_for_use(Path(shutil.move(records, file)))


def _close_keys(built: Path) -> None:
    """Only the owner may read what signs."""
    works = settings.load(built)
    for key in (works.key, works.root):
        if key.is_relative_to(built) and key.exists():
            key.chmod(0o600)
