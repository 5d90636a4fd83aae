"""The ledger at a desk: signing its end, looking through all of it, and proving one record."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from limits.yamlfile import read_bytes
from reports import wording
from reports.chain import Head
from reports.errors import NotAProof
from station.database.audit import Finding, Tally
from station.database.store import Store
from station.errors import UserMistake

if TYPE_CHECKING:
    from reports.proof import Proof, ProofVerification
    from reports.signing import SigningKey

AT_MOST_EVERY = timedelta(minutes=1)
"""So that many certificates in a row do not each wait for a second signature."""


def sign_end(store: Store, key: SigningKey, now: datetime) -> Head | None:
    """Sign for all that this station has entered; None where there is nothing new to sign for."""
    from reports.signing import sign_text

    mark, newest = store.ledger.end()
    if mark.number == 0 or (newest is not None and newest.mark == mark):
        return None
    head = Head(mark, now, b"", key.fingerprint)
    head = replace(head, signature=sign_text(head.text, key, now))
    store.ledger.keep_head(head)
    return head


def sign_now_and_then(store: Store, key: SigningKey, now: datetime) -> None:
    """Sign for all that was entered, unless that was done just before."""
    _, newest = store.ledger.end()
    if newest is None or not timedelta(0) <= now - newest.made < AT_MOST_EVERY:
        sign_end(store, key, now)


@dataclass(frozen=True, slots=True)
class Look:
    """What a look through the ledger finds; `tally` is complete when `findings` are read to their end."""

    findings: Iterator[Finding]
    tally: Tally = field(default_factory=Tally)


def look_through(store: Store, trusted: tuple[Path, ...]) -> Look:
    """Everything in every ledger that is not as it was entered; `trusted` are files of signers' certificates."""
    from reports.verifying import certificates, verify_text

    known = tuple(each for file in trusted for each in certificates(read_bytes(file)))

    def check(head: Head) -> str:
        found = verify_text(head.text, head.signature, known, head.made)
        if not found.intact or found.fingerprint != head.fingerprint:
            return "the signature is not over this place"
        if not found.trusted:
            who = f"{found.signer}, key {wording.digest(found.fingerprint)}"
            return f"signed by somebody this works does not know ({who}); name that certificate in works.yaml"
        return ""

    tally = Tally()
    return Look(store.ledger.audit(check, tally), tally)


def prove(store: Store, key: str) -> Proof:
    """The proof of a record, by the key people know it by; where it was entered more than once, the first one."""
    asked = " ".join(key.split())
    if lines := store.ledger.lines(asked):
        return store.ledger.proof(lines[0])
    near = store.ledger.keys(asked)
    known = (
        ", ".join(f"'{each}'" for each in near)
        if near
        else "such as 'SKV-0101 run 1' or a certificate's number"
    )
    raise UserMistake(f"no record is known as {asked!r}; there {'are' if near else 'may be ones'} {known}")


def check_file(path: Path, trusted: tuple[Path, ...]) -> ProofVerification:
    """What a file of a proof shows. Raises NotAProof, with the file's name."""
    from reports.proof import check, from_text
    from reports.verifying import certificates

    known = tuple(each for file in trusted for each in certificates(read_bytes(file)))
    try:
        return check(from_text(read_bytes(path).decode("utf-8", errors="replace")), known)
    except NotAProof as error:
        raise NotAProof(f"{path}: {error}") from error
