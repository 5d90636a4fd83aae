"""Timestamps (RFC 3161): a question to a service of time, and the check of its answer before it is signed along.

The transport is not here: a service is asked through a callable that takes the bytes of a question and gives those of
an answer.
"""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import ClassVar

from asn1crypto import cms, core, tsp
from asn1crypto import x509 as asn1_x509
from pyhanko.sign.timestamps import TimeStamper
from pyhanko.sign.validation.generic_cms import validate_tst_signed_data
from pyhanko_certvalidator import ValidationContext

from reports import wording
from reports.errors import ClockDoubtful, TimestampRefused

Ask = Callable[[bytes], bytes]

ACCEPTED = ("granted", "granted_with_mods")
"""The statuses of an answer that holds a token (RFC 3161, 2.4.2)."""

SPARE = 256
"""Bytes by which one token of a service may be longer than another: serial number, time and signature vary."""

CLOCK_TOLERANCE = timedelta(minutes=10)
"""How far this computer's clock may be from the service's."""


@dataclass(frozen=True, slots=True)
class TimestampService:
    """A service that has answered once, so that one knows what its tokens are like."""

    ask: Ask
    certificates: tuple[bytes, ...]
    """What it sends along, as DER: its own certificate first."""

    size: int
    """Of a token, in bytes."""

    lists: tuple[bytes, ...] = ()
    """Lists of revoked keys (DER) that go into the document, for its chain and the signer's."""

    def with_lists(self, lists: tuple[bytes, ...]) -> TimestampService:
        """The same with these lists."""
        return replace(self, lists=lists)


def first_look(ask: Ask) -> TimestampService:
    """Ask a service for a token over nothing, to learn its certificates and the size of its tokens.

    Raises TimestampRefused, and whatever `ask` raises.
    """
    token = _token(ask, hashlib.sha256(b"").digest(), "sha256")
    signed = token["content"]
    own = _signer_of(signed)
    others = [each.chosen.dump() for each in signed["certificates"] if each.chosen.dump() != own]
    return TimestampService(ask, (own, *others), len(token.dump()))


class Stamper(TimeStamper):
    """A service as the PDF library wants it, held to the time that the signature claims."""

    def __init__(self, service: TimestampService, claimed: datetime) -> None:
        super().__init__()  # type: ignore[no-untyped-call]
        self._service = service
        self._claimed = claimed

    async def async_timestamp(self, message_digest: bytes, md_algorithm: str) -> cms.ContentInfo:
        """A sound token over this digest. Raises TimestampRefused or ClockDoubtful."""
        token = _token(self._service.ask, message_digest, md_algorithm)
        told = token["content"]["encap_content_info"]["content"].parsed["gen_time"].native
        await _refuse_unsound(token, message_digest)
        if abs(told - self._claimed) > CLOCK_TOLERANCE:
            raise ClockDoubtful(
                f"this computer's clock says {wording.moment(self._claimed)}, the timestamp service "
                f"{wording.moment(told)}; set the clock, then try again"
            )
        if _signer_of(token["content"]) not in self._service.certificates:
            raise TimestampRefused("the service signs with another key than a moment ago")
        return token


class _Answer(core.Sequence):  # type: ignore[misc]
    """As RFC 3161, 2.4.2 has it: a refusal brings no token, which the library's own form wants."""

    _fields: ClassVar = [
        ("status", tsp.PKIStatusInfo),
        ("time_stamp_token", cms.ContentInfo, {"optional": True}),
    ]


def _token(ask: Ask, digest: bytes, algorithm: str) -> cms.ContentInfo:
    nonce = secrets.randbits(63) | 1
    imprint = tsp.MessageImprint({"hash_algorithm": {"algorithm": algorithm}, "hashed_message": digest})
    question = tsp.TimeStampReq({"version": 1, "message_imprint": imprint, "nonce": nonce, "cert_req": True})
    try:
        answer = _Answer.load(ask(question.dump()), strict=True)
        status = answer["status"]["status"].native
        if status not in ACCEPTED:
            said = "; ".join(answer["status"]["status_string"].native or ())
            raise TimestampRefused(f"the service answered '{status}'{': ' * bool(said)}{said}")
        token = answer["time_stamp_token"]
        told = token["content"]["encap_content_info"]["content"].parsed
        if told["message_imprint"].dump() != imprint.dump() or told["nonce"].native != nonce:
            raise TimestampRefused("the service answered another question than ours")
        _signer_of(token["content"])
    except (ValueError, TypeError, LookupError, AttributeError) as error:
        raise TimestampRefused("what the service answered is no timestamp (RFC 3161)") from error
    return token


def _signer_of(signed: cms.SignedData) -> bytes:
    """The certificate the token is signed with, as DER. Raises LookupError where the service left it out."""
    wanted = signed["signer_infos"][0]["sid"].chosen
    for each in signed["certificates"]:
        found: asn1_x509.Certificate = each.chosen
        if found.serial_number == wanted["serial_number"].native and found.issuer == wanted["issuer"].untag():
            return bytes(found.dump())
    raise LookupError("no certificate of the signer")


async def _refuse_unsound(token: cms.ContentInfo, digest: bytes) -> None:
    """Whether the token is signed by the key it names; whether that is trusted is for whoever verifies."""
    own = asn1_x509.Certificate.load(_signer_of(token["content"]))
    context = ValidationContext(trust_roots=[own], allow_fetching=False)
    found = await validate_tst_signed_data(token["content"], context, lambda algorithm: digest)
    if not (found["intact"] and found["valid"]):
        raise TimestampRefused("the signature of the service's answer is not sound")
