"""Which files of a works folder are the works' own, and which of them are secrets.

The database, what lies beside it, locks and hidden files are none of them.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from station.errors import UserMistake
from station.settings import Works

_SECRET_ENDINGS = (".p12", ".pfx", ".key")
_SECRET_WORDS = b"PRIVATE KEY-----"
_TEXT_ENDINGS = (".pem", ".crt", ".cer", ".crl")
_NEVER = (".lock",)
_BESIDE = ("", "-wal", "-shm", "-journal")


@dataclass(frozen=True, slots=True)
class WorkFiles:
    """The files of a works folder, by their paths in it, in order."""

    plain: tuple[str, ...]
    keys: tuple[str, ...]
    """Whoever has one of these can sign in the works' name, once its passphrase is known."""

    passphrases: tuple[str, ...]
    """The files that passphrases of keys are read from, where they lie in the folder."""


def work_files(works: Works, database: Path | None) -> WorkFiles:
    """All files of a works folder; `database` is the file of its records, where they are in one.

    Raises UserMistake where a folder may not be looked into.
    """
    beside = {f"{database}{ending}" for ending in _BESIDE} if database else set()
    sources = (works.passphrase.file, works.root_passphrase.file)
    secrets = {works.folder / source for source in sources if source}
    plain: list[str] = []
    keys: list[str] = []
    passphrases: list[str] = []
    for path in _walk(works.folder):
        if str(path) in beside or path.suffix in _NEVER:
            continue
        kind = passphrases if path in secrets else keys if _is_secret(path, works) else plain
        kind.append(path.relative_to(works.folder).as_posix())
    return WorkFiles(tuple(sorted(plain)), tuple(sorted(keys)), tuple(passphrases))


def _walk(folder: Path) -> Iterator[Path]:
    """Every file, also in folders that are links; a link back to where one came from is not followed."""

    def refuse(error: OSError) -> None:
        raise UserMistake(f"{error.filename} may not be looked into; change its permissions") from error

    seen = set()
    for place, folders, files in os.walk(folder, onerror=refuse, followlinks=True):
        real = os.path.realpath(place)
        folders[:] = [] if real in seen else [each for each in folders if not each.startswith(".")]
        if real in seen:
            continue
        seen.add(real)
        yield from (Path(place, each) for each in files if not each.startswith("."))


def _is_secret(path: Path, works: Works) -> bool:
    """By its name, its place or its words: what a certificate is not, in the folder of the keys, counts as one."""
    if path in (works.key, works.root) or path.suffix.lower() in _SECRET_ENDINGS:
        return True
    if path.suffix.lower() in _TEXT_ENDINGS:
        return _SECRET_WORDS in path.read_bytes()
    return works.keys in path.parents
