"""One program at a bench at a time: two would re-cable and sweep into each other's runs."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from station.errors import StationFault


@contextmanager
def alone(path: Path, what: str) -> Iterator[None]:
    """Hold the lock file at `path`; it is let go when the program ends, however it ends.

    Raises StationFault when another program holds it, or when it cannot be made.
    """
    lock = FileLock(path)
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        raise StationFault(f"{what} is in use by another program; end that one first") from error
    except OSError as error:
        raise StationFault(f"{path} cannot be made: {error.strerror or error}") from error
    try:
        yield
    finally:
        lock.release()
