"""The proof that one record is as the works entered and signed it, for somebody who has no other record of the works.

A file of JSON: what the record says, its line in the chain, the link before that line, the digests of the lines from
there to a signed one, and the signature. Nothing in it tells what other records say.
"""

from __future__ import annotations

import base64
import binascii
import json
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Any

from reports import wording
from reports.canonical import digest_of
from reports.chain import Entry, Head, Mark, linked, moment_text
from reports.errors import NotAProof

FORM = 1
HEX = 64


@dataclass(frozen=True, slots=True)
class Proof:
    """What shows one record."""

    record: dict[str, Any]
    """What it says; packed data and sweeps by their SHA-256."""

    entry: Entry
    before: str
    """The link of the line before."""

    after: tuple[str, ...]
    """Digests of the lines after it, up to the signed one."""

    head: Head


class ProofStatus(StrEnum):
    """The bottom line of a check."""

    VALID = "valid"
    UNKNOWN_SIGNER = "signer unknown"
    ALTERED = "altered"


@dataclass(frozen=True, slots=True)
class ProofVerification:
    """What a check found. `status` and `sentence` are derived."""

    proof: Proof
    record_agrees: bool
    """Whether the record is what the line holds the digest of."""

    chain_agrees: bool
    """Whether the line leads to the signed link."""

    intact: bool
    """Whether that link is what was signed."""

    trusted: bool
    signer: str
    fingerprint: str

    @property
    def status(self) -> ProofStatus:
        """The gravest thing found."""
        if not (self.record_agrees and self.chain_agrees and self.intact):
            return ProofStatus.ALTERED
        return ProofStatus.VALID if self.trusted else ProofStatus.UNKNOWN_SIGNER

    @property
    def sentence(self) -> str:
        """The bottom line in words, for a person."""
        entry, head = self.proof.entry, self.proof.head
        name = f"{entry.kind} {entry.key}"
        if self.status is ProofStatus.ALTERED:
            return f"Altered: this is not {name} as it was entered; {self._broken}."
        who = f"{self.signer} on {wording.moment(head.made)}"
        late = f" It {entry.late}." if entry.late else ""
        line = f"line {entry.number} of {entry.station}"
        whole = f"{name} is as it was entered on {wording.moment(entry.made)} ({line})"
        if self.status is ProofStatus.VALID:
            return f"Valid: {whole} and signed for by {who}.{late}"
        key = wording.digest(self.fingerprint)
        return f"Not ours: {whole}, but signed for by somebody unknown ({who}, key {key})."

    @property
    def _broken(self) -> str:
        if not self.record_agrees:
            return "the record does not have the digest in its line"
        return (
            "its line does not lead to the signed link"
            if not self.chain_agrees
            else "the signature is not over this"
        )


def check(proof: Proof, trusted: tuple[bytes, ...]) -> ProofVerification:
    """Check a proof against the signers' certificates one trusts (DER). Needs no database and no clock."""
    from reports.verifying import verify_text

    head = proof.head
    link = linked(proof.before, proof.entry.digest)
    for digest in proof.after:
        link = linked(link, digest)
    end = Mark(proof.entry.station, proof.entry.number + len(proof.after), link)
    signed = verify_text(head.text, head.signature, trusted, head.made)
    return ProofVerification(
        proof=proof,
        record_agrees=digest_of(proof.record) == proof.entry.content,
        chain_agrees=end == head.mark,
        intact=signed.intact and signed.fingerprint == head.fingerprint,
        trusted=signed.trusted,
        signer=signed.signer,
        fingerprint=signed.fingerprint,
    )


def to_text(proof: Proof) -> str:
    """The file."""
    head = proof.head
    facts = {
        "form": FORM,
        "record": proof.record,
        "line": proof.entry.facts,
        "link before": proof.before,
        "digests after": list(proof.after),
        "signed": {
            "station": head.mark.station,
            "number": head.mark.number,
            "link": head.mark.link,
            "made": moment_text(head.made),
            "key": head.fingerprint,
            "signature": base64.b64encode(head.signature).decode(),
        },
    }
    return json.dumps(facts, ensure_ascii=False, indent=1) + "\n"


def from_text(text: str) -> Proof:
    """Raises NotAProof for what is none."""
    try:
        facts = json.loads(text)
        if facts["form"] != FORM:
            raise NotAProof(f"it is of form {facts['form']}; this station reads form {FORM}")
        line, signed = dict(facts["line"]), facts["signed"]
        made = datetime.fromisoformat(line.pop("made"))
        entry = Entry(made=made, **line)
        if type(entry.number) is not int:
            raise ValueError("expected a number")
        mark = Mark(signed["station"], signed["number"], _digest(signed["link"]))
        signature = base64.b64decode(signed["signature"], validate=True)
        head = Head(mark, datetime.fromisoformat(signed["made"]), signature, _digest(signed["key"]))
        after = tuple(_digest(each) for each in facts["digests after"])
        proof = Proof(facts["record"], entry, _digest(facts["link before"]), after, head)
        _ = (proof.entry.digest, proof.head.text, digest_of(proof.record))
    except (ValueError, LookupError, TypeError, AttributeError, RecursionError, binascii.Error) as error:
        raise NotAProof(
            f"this file is no proof of a record ({type(error).__name__}); ask for it again"
        ) from error
    return proof


def _digest(value: object) -> str:
    if not isinstance(value, str) or len(value) != HEX or set(value) - set("0123456789abcdef"):
        raise ValueError("expected 64 hexadecimal digits")
    return value
