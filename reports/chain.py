"""A chain of lines, one for each record, so that none can be changed, taken out or exchanged unseen. Pure.

Each station has a chain of its own. Its lines are numbered from 1; each holds the SHA-256 of what its record says, in
the one form of RFC 8785, and has a link:

    digest of line n = SHA-256 of {"station", "number", "kind", "key", "made", "late", "content"} by RFC 8785
    link n           = SHA-256 of link n-1 and the digest of line n, 32 bytes each; link 0 is 32 zero bytes

So a link depends on every line and record before it, and a signature over one link (`Head`) on all of them. That a
record belongs to a signed link can be shown without any other record (`proof`).

Common practice (hash chains after Haber and Stornetta, 1991, from memory).
"""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from reports.canonical import digest_of

BEGINNING = "0" * 64
"""The link before the first line."""


def moment_text(moment: datetime) -> str:
    """UTC to the microsecond, e.g. `2026-11-25T08:30:00.123456Z`."""
    return f"{moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec='microseconds')}Z"


@dataclass(frozen=True, slots=True)
class Entry:
    """A line of the ledger."""

    station: str
    number: int
    """1 for the first line of its station."""

    kind: str
    key: str
    """How people know the record."""

    made: datetime
    """When the line was entered."""

    late: str
    """Why it was not entered together with its record; empty for nearly all."""

    content: str
    """SHA-256 of what the record says, 64 hexadecimal digits."""

    @property
    def digest(self) -> str:
        """SHA-256 of the line."""
        return digest_of(self.facts)

    @property
    def facts(self) -> dict[str, Any]:
        """As JSON can say it."""
        return {
            "station": self.station,
            "number": self.number,
            "kind": self.kind,
            "key": self.key,
            "made": moment_text(self.made),
            "late": self.late,
            "content": self.content,
        }


@dataclass(frozen=True, slots=True)
class Mark:
    """A place in a chain: a line's number and link; number 0 is the place before the first line."""

    station: str
    number: int
    link: str


@dataclass(frozen=True, slots=True)
class Head:
    """A signed place in a chain."""

    mark: Mark
    made: datetime
    signature: bytes
    """Detached CMS (RFC 5652) over `text`, DER, with the signer's certificate inside."""

    fingerprint: str
    """SHA-256 of the signer's certificate, 64 hexadecimal digits."""

    @property
    def text(self) -> str:
        """What is signed."""
        return head_text(self.mark, self.made, self.fingerprint)


def head_text(mark: Mark, made: datetime, fingerprint: str) -> str:
    """What a signature over a place in a chain is made of. Form 1: whoever changes it must keep this one too."""
    facts = {
        "form": 1,
        "station": mark.station,
        "number": mark.number,
        "link": mark.link,
        "made": moment_text(made),
        "key": fingerprint,
    }
    return json.dumps(facts, ensure_ascii=False, indent=1)


def linked(before: str, digest: str) -> str:
    """The link of a line, from the link before and the line's digest."""
    return hashlib.sha256(bytes.fromhex(before) + bytes.fromhex(digest)).hexdigest()
