"""The check of a signed test certificate: bytes in, a frozen status out, a bottom line derived from its parts.

What comes in may be anything at all: a PDF of somebody else, a torn file, a picture. Each gets a clear status
and none a traceback. Nothing is fetched from a network and nothing reads the clock.
"Certificate" alone is the document here; that of a key (X.509) is always called the signer's certificate.
"""

from __future__ import annotations

import asyncio
import io
import logging
import struct
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from asn1crypto import x509 as asn1_x509
from asn1crypto.cms import ContentInfo
from cryptography import x509
from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives import serialization
from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import SigningError
from pyhanko.sign.validation import (
    EmbeddedPdfSignature,
    async_validate_detached_cms,
    async_validate_pdf_signature,
)
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.status import SignatureCoverageLevel, TimestampSignatureStatus
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.errors import PathError, ValidationError

from reports.attached import files_in, names_on_page, twin_in
from reports.authority import Cause, revocation_of
from reports.cms_form import is_as_written
from reports.errors import BadCertificateFile, NoTwin, OtherForm
from reports.evidence import Evidence, evidence_in, token_of, vouched_for
from reports.verification import Level, Verification

MOST_LEAD_IN = 1024
"""Readers look for `%PDF-` in so many first bytes (ISO 32000-1, annex H.3)."""

CLOCK_TOLERANCE = timedelta(minutes=10)
"""How far ahead of ours a signer's clock may be."""

END_MARK = b"%%EOF"
MOST_TAIL = 1024
"""Readers look for the end mark in so many last bytes (ISO 32000-1, annex H.3)."""

SIGNATURE_UNREADABLE = (
    SigningError,
    SignatureValidationError,
    ValidationError,
    PathError,
    UnsupportedAlgorithm,
)

UNREADABLE = (
    PdfError,
    *SIGNATURE_UNREADABLE,
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    ArithmeticError,
    NotImplementedError,
    RecursionError,
    AssertionError,
    OSError,
    struct.error,
    zlib.error,
)
"""What the libraries for PDF and signatures may raise on bytes that somebody has damaged. The list is wide, because
the bytes may be anybody's; in trials with 50,000 damaged certificates nothing else came out."""


def certificates(data: bytes) -> tuple[bytes, ...]:
    """The signers' certificates of a file, PEM (one or several) or DER, each as DER. Raises BadCertificateFile."""
    try:
        found = (
            x509.load_pem_x509_certificates(data)
            if b"-----BEGIN" in data
            else [x509.load_der_x509_certificate(data)]
        )
    except ValueError as error:
        raise BadCertificateFile(
            "no signer's certificate can be read here; give the .pem file that the works hands to its customers"
        ) from error
    return tuple(certificate.public_bytes(serialization.Encoding.DER) for certificate in found)


@dataclass(frozen=True, slots=True)
class Known:
    """What whoever checks a signature knows beforehand, each as DER."""

    signers: tuple[bytes, ...] = ()
    """Certificates of signers, or of roots behind them, that one trusts to sign."""

    services: tuple[bytes, ...] = ()
    """Certificates of timestamp services, or of roots behind them, that one trusts to tell the time, and no more."""

    lists: tuple[bytes, ...] = ()
    """Lists of revoked keys."""


def verify(
    pdf: bytes,
    trusted: tuple[bytes, ...],
    now: datetime,
    *,
    services: tuple[bytes, ...] = (),
    lists: tuple[bytes, ...] = (),
) -> Verification:
    """Check a signed PDF against the signers' certificates one trusts; for the others see `Known`.

    Never raises for what is in `pdf`. A signature stays valid after its key has run out, as long as it claims
    to have been made before; without a timestamp from a third party that claim is the signer's own. Must not
    be called from inside a running event loop.
    """
    found = Verification(is_pdf=b"%PDF-" in pdf[:MOST_LEAD_IN])
    if not found.is_pdf:
        return found
    try:
        with _quiet():
            return _checked(found, pdf, Known(trusted, services, lists), now)
    except UNREADABLE as error:
        return replace(found, readable=False, detail=_stumble(pdf, error))


@dataclass(frozen=True, slots=True)
class TextVerification:
    """What a check of a signed text found."""

    intact: bool
    """Whether the text is what was signed, and the signature belongs to the signer's key."""

    trusted: bool = False
    """Whether the signer's certificate is one of those given, or was issued by one of them."""

    signer: str = ""
    fingerprint: str = ""
    """SHA-256 of the signer's certificate, 64 hexadecimal digits."""


def verify_text(
    text: str, signature: bytes, trusted: tuple[bytes, ...], signed_at: datetime
) -> TextVerification:
    """Check a detached signature over a text against the signers' certificates one trusts (DER).

    Never raises for what is in `signature`. `signed_at` is when the signer's certificate must have held.
    """
    try:
        with _quiet():
            return _checked_text(text, signature, trusted, signed_at)
    except UNREADABLE:
        return TextVerification(intact=False)


def _checked_text(
    text: str, signature: bytes, trusted: tuple[bytes, ...], signed_at: datetime
) -> TextVerification:
    context = _context(trusted, signed_at)
    signed = ContentInfo.load(signature, strict=True)["content"]
    status = asyncio.run(async_validate_detached_cms(text.encode(), signed, context))
    certificate = status.signing_cert
    return TextVerification(
        intact=bool(status.intact and status.valid),
        trusted=bool(certificate.dump() in trusted or status.trusted),
        signer=_name(certificate),
        fingerprint=bytes(certificate.sha256).hex(),
    )


def _context(
    trusted: tuple[bytes, ...], moment: datetime, beside: tuple[bytes, ...] = ()
) -> ValidationContext:
    return ValidationContext(
        trust_roots=[asn1_x509.Certificate.load(root) for root in trusted],
        other_certs=[asn1_x509.Certificate.load(each) for each in beside],
        allow_fetching=False,
        moment=moment,
    )


def _name(certificate: asn1_x509.Certificate) -> str:
    return str(certificate.subject.native.get("common_name", certificate.subject.human_friendly))


def _stumble(pdf: bytes, error: Exception) -> str:
    """What is wrong, for somebody who knows neither the file format nor the libraries."""
    if END_MARK not in pdf[-MOST_TAIL:]:
        return "the end of the file is missing"
    if isinstance(error, SIGNATURE_UNREADABLE):
        return "its signature cannot be read"
    return "its parts do not fit together"


def _checked(found: Verification, pdf: bytes, known: Known, now: datetime) -> Verification:
    reader = PdfFileReader(io.BytesIO(pdf))
    signatures = reader.embedded_regular_signatures
    found = replace(found, readable=True, signatures=len(signatures))
    if not signatures:
        return found
    evidence = evidence_in(reader)
    found = _judged(found, signatures[0], pdf, known, evidence, now)
    found = _with_revocation(found, signatures[0].signer_cert.dump(), known, evidence)
    return _with_twin(found, pdf) if found.intact and found.covers_whole_file else found


def _with_twin(found: Verification, pdf: bytes) -> Verification:
    """Whether what it carries for programs belongs together and is what its page names."""
    if not files_in(pdf):
        return replace(found, twin_note="It carries no data for programs: the first forms had none.")
    try:
        twin = twin_in(pdf)
    except OtherForm as error:
        return replace(found, twin_note=f"Its data for programs was not compared: {error}.")
    except NoTwin as error:
        return replace(found, contradiction=str(error))
    if not names_on_page(pdf, twin.digest):
        told = f"its page does not show the digest of the data that it carries as {twin.said['number']}.json"
        return replace(found, twin=twin.digest, contradiction=told)
    files = " and ".join(files_in(pdf))
    return replace(
        found, twin=twin.digest, twin_note=f"What it carries for programs is what its page names: {files}."
    )


def _as_written(signature: EmbeddedPdfSignature, pdf: bytes) -> bool:
    """Whether the signature itself, which no signature covers, stands in the file as a signer writes it.

    It is hexadecimal digits of one case with zeros behind them. A reader takes others for the same, so a change
    there would go unseen.
    """
    _, end, begin_again, _ = (int(each) for each in signature.sig_object["/ByteRange"])
    written = ContentInfo.load(signature.pkcs7_content).dump()
    digits = written.hex().encode()
    expected = b"<" + digits.ljust(begin_again - end - 2, b"0") + b">"
    in_place = pdf[end:begin_again] in (expected, expected.upper())
    return in_place and is_as_written(written, signature.signed_data, signature.signer_cert)


def _judged(
    found: Verification,
    signature: EmbeddedPdfSignature,
    pdf: bytes,
    known: Known,
    evidence: Evidence,
    now: datetime,
) -> Verification:
    certificate = signature.signer_cert
    signed_at = signature.self_reported_timestamp
    token = token_of(signature.signer_info)
    context = _context(known.signers, signed_at or now)
    stamp_context = _context(known.services, _time_in(token) or now, evidence.certificates)
    status = asyncio.run(
        async_validate_pdf_signature(signature, context, ts_validation_context=stamp_context, skip_diff=True)
    )
    begin, end = certificate.not_valid_before, certificate.not_valid_after
    sure = (*known.signers, *evidence.certificates)
    found = replace(
        found,
        intact=bool(status.intact and status.valid)
        and _as_written(signature, pdf)
        and vouched_for(signature.signed_data, certificate, sure, with_root=False),
        covers_whole_file=status.coverage is SignatureCoverageLevel.ENTIRE_FILE,
        signer=_name(certificate),
        fingerprint=bytes(certificate.sha256).hex(),
        signed_at=signed_at,
        reason=str(signature.sig_object.get("/Reason", "")),
        trusted=bool(certificate.dump() in known.signers or status.trusted),
        key_valid_when_signed=signed_at is not None and begin <= signed_at <= end,
        claimed_in_future=signed_at is not None and signed_at > now + CLOCK_TOLERANCE,
        level=Level.BASIC,
    )
    if token is None or status.timestamp_validity is None:
        return replace(found, intact=found.intact and not evidence.promises_a_timestamp)
    return _with_stamp(found, token, status.timestamp_validity, certificate.dump(), known, evidence)


def _with_stamp(
    found: Verification,
    token: ContentInfo,
    stamp: TimestampSignatureStatus,
    signer: bytes,
    known: Known,
    evidence: Evidence,
) -> Verification:
    """What the timestamp adds. A broken one means that the signature was changed after it was made."""
    service = stamp.signing_cert
    told = stamp.timestamp
    sure = (*known.services, *evidence.certificates)
    revoked = revocation_of(service.dump(), sure, (*known.lists, *evidence.lists))
    spoilt = revoked is not None and (revoked.cause is Cause.STOLEN or told >= revoked.revoked)
    trusted = not spoilt and bool(service.dump() in known.services or stamp.trusted)
    whole = all(
        evidence.is_complete_for(each, anchors)
        for each, anchors in ((signer, known.signers), (service.dump(), known.services))
    )
    return replace(
        found,
        level=(Level.LONG_TERM if whole else Level.TIMESTAMPED) if trusted else Level.BASIC,
        intact=found.intact
        and bool(stamp.intact and stamp.valid)
        and vouched_for(token["content"], service, sure, with_root=True)
        and is_as_written(token.dump(), token["content"], service),
        stamped_at=told,
        stamped_by=_name(service),
        stamp_trusted=trusted,
        stamp_agrees=found.signed_at is not None and abs(told - found.signed_at) <= CLOCK_TOLERANCE,
    )


def _with_revocation(
    found: Verification, certificate: bytes, known: Known, evidence: Evidence
) -> Verification:
    """Whether the signer's key was revoked."""
    issuers = (*known.signers, *evidence.certificates)
    revoked = revocation_of(certificate, issuers, (*known.lists, *evidence.lists))
    if revoked is None:
        return found
    return replace(found, revoked=revoked.revoked, revoked_as=revoked.cause.word)


def _time_in(token: ContentInfo | None) -> datetime | None:
    """The time a timestamp tells, whether or not it can be believed."""
    if token is None:
        return None
    told: datetime = token["content"]["encap_content_info"]["content"].parsed["gen_time"].native
    return told


@contextmanager
def _quiet() -> Iterator[None]:
    """The libraries' warnings about a bad signature go to whoever listens, and not to the terminal by default."""
    silent = logging.NullHandler()
    loggers = [logging.getLogger(name) for name in ("pyhanko", "pyhanko_certvalidator")]
    for logger in loggers:
        logger.addHandler(silent)
    try:
        yield
    finally:
        for logger in loggers:
            logger.removeHandler(silent)
