"""The keys of a works as a list with what has become of each, and the revoking of one."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from limits.formwords import nearest
from limits.yamlfile import read_bytes
from station.errors import UserMistake
from station.files import write_whole
from station.keyring import (
    Ask,
    certificates_in,
    former_certificates,
    is_there,
    lists_in,
    open_root,
    own_certificate,
    own_certificates,
    own_lists,
    revoked_list,
    root_certificate,
)
from station.settings import Works

if TYPE_CHECKING:
    from reports.authority import Cause


@dataclass(frozen=True, slots=True)
class KnownKey:
    """A key of the works as its certificate tells it."""

    path: Path
    name: str
    fingerprint: str
    serial: int
    is_root: bool
    issuer: str
    valid_from: datetime
    valid_until: datetime
    revoked: datetime | None
    cause: str
    """Why it was revoked; empty where it was not."""

    is_present: bool
    """False for one that was replaced."""

    @property
    def stands(self) -> str:
        """In a word or two, for a table."""
        if self.revoked is not None:
            return f"revoked, {self.cause}"
        return "in use" if self.is_present else "former"


def known_keys(works: Works) -> tuple[KnownKey, ...]:
    """The root, the signing key, then those they replaced, newest first."""
    present = [path for path in (root_certificate(works), own_certificate(works)) if is_there(path)]
    known = [
        _known(works, path, der, is_present=True) for path in present for der in certificates_in((path,))
    ]
    former = [
        _known(works, path, der, is_present=False)
        for path in former_certificates(works)
        for der in certificates_in((path,))
    ]
    return (*known, *sorted(former, key=lambda each: each.valid_from, reverse=True))


def revoke(works: Works, fingerprint: str, word: str, passphrase: Ask, now: datetime) -> KnownKey:
    """Put one of the works' keys on the root's list of revoked ones.

    `fingerprint` may be the beginning of it. Raises UserMistake where no key or several begin so, where no root
    stands behind it, and where it is revoked already.
    """
    from reports.authority import Revocation, issued_by, revocation_list, revocation_lists, revocations

    cause = _cause(word)
    found = _named(known_keys(works), fingerprint)
    if found.is_root:
        raise UserMistake("a root is not revoked: tell your customers, and make a new one")
    if found.revoked is not None:
        raise UserMistake(f"that key was revoked already, on {found.revoked:%Y-%m-%d} ({found.cause})")
    root = open_root(works, passphrase, now)
    if not issued_by(certificates_in((found.path,))[0], root):
        raise UserMistake(
            f"the present root did not sign that key, so no list of it can name it; take {found.path.name} away and "
            "tell those who have it to do the same"
        )
    (present,) = revocation_lists(read_bytes(revoked_list(works)))
    entries = (*revocations(present), Revocation(found.serial, now, cause))
    write_whole(revoked_list(works), revocation_list(root, entries, now))
    return _named(known_keys(works), found.fingerprint)


def _cause(word: str) -> Cause:
    """Raises UserMistake that names the causes there are."""
    from reports.authority import Cause

    causes = {cause.word: cause for cause in Cause}
    if word not in causes:
        raise UserMistake(f"a key is revoked as {', '.join(causes)}, not '{word}'{nearest(word, causes)}")
    return causes[word]


def _known(works: Works, path: Path, der: bytes, *, is_present: bool) -> KnownKey:
    from reports.authority import facts_of, revocation_of

    facts = facts_of(der)
    issuers, lists = certificates_in(own_certificates(works)), lists_in(own_lists(works))
    revoked = None if facts.is_root else revocation_of(der, issuers, lists)
    return KnownKey(
        path=path,
        name=facts.name,
        fingerprint=facts.fingerprint,
        serial=facts.serial,
        is_root=facts.is_root,
        issuer=facts.issuer,
        valid_from=facts.valid_from,
        valid_until=facts.valid_until,
        revoked=revoked.revoked if revoked else None,
        cause=revoked.cause.word if revoked else "",
        is_present=is_present,
    )


def _named(known: Iterable[KnownKey], beginning: str) -> KnownKey:
    wanted = beginning.replace(" ", "").lower()
    found = {each.fingerprint: each for each in known if wanted and each.fingerprint.startswith(wanted)}
    if len(found) != 1:
        how_many = "several keys begin" if found else "no key of this works begins"
        raise UserMistake(f"{how_many} with '{beginning}'; `station keys` lists their fingerprints")
    return next(iter(found.values()))
