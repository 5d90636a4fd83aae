"""Writing files so that they are whole or not there at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from station.errors import StoreFault


def write_whole(path: Path, data: bytes, *, private: bool = False) -> None:
    """Put the bytes at `path`, replacing what was there; only the owner may read them when `private`.

    Raises StoreFault, with nothing half-written, when the place cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
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
    except OSError as error:
        raise StoreFault(
            f"{path} cannot be written: {error.strerror or error}; free the place or choose another, and try again"
        ) from error
