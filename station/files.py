"""Writing files so that they are whole or not there at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from station.errors import StoreFault, UserMistake


def write_whole(path: Path, data: bytes, *, private: bool = False) -> None:
    """Put the bytes at `path`, replacing what was there; only the owner may read them when `private`.

    When it returns, bytes and name are on the disk. Raises StoreFault, with nothing half-written, when the place
    cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        # Born closed to others. Not named after the file, whose name may be as long as names can be.
        handle, name = tempfile.mkstemp(prefix=".", dir=path.parent)
        nearby = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
                stream.flush()
                os.fsync(stream.fileno())
            nearby.chmod(0o600 if private else 0o644)
            nearby.replace(path)
        finally:
            nearby.unlink(missing_ok=True)
        keep_names(path.parent)
    except PermissionError as error:
        what = f"{path} cannot be written: {path.parent} may not be written"
        raise StoreFault(f"{what}; change its permissions or choose another place") from error
    except (OSError, ValueError) as error:
        why = (error.strerror if isinstance(error, OSError) else None) or error
        raise StoreFault(
            f"{path} cannot be written: {why}; free the place or choose another, and try again"
        ) from error


def write_given(path: Path, data: bytes) -> None:
    """Put the bytes where a person said. Raises UserMistake when the place cannot be written."""
    try:
        write_whole(path, data)
    except StoreFault as error:
        raise UserMistake(str(error)) from error


def keep_names(folder: Path) -> None:
    """Have the folder itself on the disk: a file's name is kept there, and would be lost with the power."""
    handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
