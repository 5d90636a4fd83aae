"""Keys of random numbers: the same parts give the same key on every machine and in every process."""

from __future__ import annotations

import hashlib


def key_of(*parts: object) -> int:
    """64 bits that stand for all of `parts`."""
    digest = hashlib.blake2b(repr(parts).encode(), digest_size=8).digest()
    return int.from_bytes(digest, "little")
