"""What is put down for good, such as a backup or an export: a folder, or one file where the name ends with `.zip`.

It is built under another name beside its place and renamed in the end: what has its name is whole.
"""

from __future__ import annotations

import os
import tempfile
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from station.errors import StoreFault, UserMistake
from station.files import keep_names

PACKED = ".zip"


@contextmanager
def new_place(
    target: Path, works: Path, what: str, *, last: str = "", private: bool = False
) -> Iterator[Path]:
    """A folder to fill, which becomes `target` when all went well; otherwise nothing is left of it.

    `what` is what messages call it; of one file, `last` is the name that comes last in it. Raises UserMistake for a
    place that cannot be used, StoreFault when it cannot be written.
    """
    target = target.absolute()
    _refuse_place(target, works, what)
    with (
        clear_fault(target, what),
        tempfile.TemporaryDirectory(prefix=f".{what}-", dir=target.parent) as nearby,
    ):
        built = Path(nearby) / what
        built.mkdir()
        yield built
        _place(built, target, last, private=private)


def _refuse_place(target: Path, works: Path, what: str) -> None:
    if target.resolve().is_relative_to(works.resolve()):
        why = f"{target} lies in the works folder, which a {what} is there to outlive"
        raise UserMistake(f"{why}; name a place outside, best on another disk")
    if os.path.lexists(target):
        raise UserMistake(f"{target} exists already; a {what} never replaces anything, so name a new place")
    if not target.parent.is_dir():
        raise UserMistake(f"there is no folder {target.parent}; make it first")


@contextmanager
def clear_fault(target: Path, what: str) -> Iterator[None]:
    """Turn what the file system says into StoreFault."""
    try:
        yield
    except OSError as error:
        about = f" ({error.filename})" if error.filename else ""
        why = f"the {what} {target} cannot be made: {error.strerror or error}{about}"
        raise StoreFault(f"{why}; nothing of it is left, choose another place and try again") from error


def _place(built: Path, target: Path, last: str, *, private: bool) -> None:
    """Give it its name, when all of it is on the disk."""
    if target.suffix.lower() == PACKED:
        packed = built.with_suffix(PACKED)
        _pack(built, packed, last)
        built = packed
    else:
        for folder, _, _ in os.walk(built, topdown=False):
            keep_names(Path(folder))
    if private:
        built.chmod(0o700 if built.is_dir() else 0o600)
    built.rename(target)
    keep_names(target.parent)


def _pack(built: Path, packed: Path, last: str) -> None:
    names = sorted(path for path in built.rglob("*") if path.is_file())
    names.sort(key=lambda path: path == built / last)
    with packed.open("xb") as stream:
        with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            for path in names:
                archive.write(path, path.relative_to(built).as_posix())
        stream.flush()
        os.fsync(stream.fileno())
